"""Offer the simulated gauges of a scenario on ports of this machine, for any program to read.

Each gauge has a port of its own: a pseudo-terminal, or a loopback connection where there are none.
They go on at a person's pace until Ctrl-C. A gauge with a button is pressed every few seconds, and
whenever its mark is typed, followed by Enter. One that waits to be asked answers when it is asked.
The sizes are those of the scenario's invented head, place after place. A mark and a 0 put the gauge
on its master, for a check of its zero; one without a button stays there until its mark is typed.

With --bench a bench file for these gauges is written, so that `gaugelink bench` can be tried on
them in another window. With --every 0 no button is pressed unless its mark is typed: what comes
while the bench asks for something else lands in its tray.

With --json the table is one JSON document on the first line, and the gauges go on all the same.

Exit status: 0 ended by Ctrl-C; 2 scenario, sheet or the bench file's name are bad.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
import sys
import threading
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TextIO

from gaugelink import content
from gaugelink.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping

    from gaugelink.head import Position
    from gaugelink.simulate.gauges import BenchGauge
    from gaugelink.simulate.pace import Pace
    from gaugelink.simulate.scenario import Scenario
    from gaugelink.simulate.workpiece import Workpiece

PRESS_EVERY_S: Final = 4.0
ROCKS: Final = 5
REST_S: Final = 2.0


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("scenario", metavar="SCENARIO", help="one that ships, or a .toml file")
    parser.add_argument("--seed", type=int, metavar="N", help="the same seed gives the same head")
    parser.add_argument("--every", type=float, metavar="SECONDS", default=PRESS_EVERY_S,
                        help="time between two presses of a button (default: 4); 0: only when "
                        "its mark is typed")  # fmt: skip
    parser.add_argument("--bench", metavar="FILE", type=Path,
                        help="write a bench file for these gauges")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Offer the gauges until Ctrl-C.

    Raises:
        InputError: scenario or sheet are bad.
    """
    from gaugelink import sheetfile  # noqa: PLC0415  heavy, and only wanted here
    from gaugelink.head import zero_check_of  # noqa: PLC0415
    from gaugelink.plan import plan_for  # noqa: PLC0415
    from gaugelink.simulate import scenario as scenarios  # noqa: PLC0415
    from gaugelink.simulate.faults import Spoiler  # noqa: PLC0415
    from gaugelink.simulate.gauges import BenchGauge  # noqa: PLC0415
    from gaugelink.simulate.pace import PersonPace  # noqa: PLC0415
    from gaugelink.simulate.workpiece import Workpiece  # noqa: PLC0415

    if not args.every >= 0:
        raise InputError(f"found {args.every:g}, accepted: 0 or more", field="--every")
    if args.bench is not None and args.bench.exists():
        what = "this file exists; give the bench file another name"
        raise InputError(what, file=str(args.bench), field="--bench")
    text, file = content.read("sim", args.scenario)
    scenario = scenarios.load(text, file)
    sheet = sheetfile.load(*content.read("sim/sheets", scenario.scenario.sheet))
    scenarios.check_against(scenario, sheet, file)
    seed = scenario.scenario.seed if args.seed is None else args.seed
    workpiece = Workpiece(scenario, sheet.head, seed)
    pace = PersonPace()
    gauges = {}
    for about in scenario.gauge:
        faults = [fault for fault in scenario.fault if fault.gauge == about.id]
        spoiler = Spoiler(faults, workpiece.chance("faults", about.id)) if faults else None
        gauges[about.id] = BenchGauge(about, pace, spoiler)
    places = {
        mark: [
            step.position
            for step in plan_for(sheet)
            if step.gauge_kind == gauge.about.kind and not zero_check_of(step.position)
        ]
        for mark, gauge in gauges.items()
    }
    with contextlib.suppress(KeyboardInterrupt):  # that is how it ends
        asyncio.run(_offer(args, scenario, gauges, Hands(workpiece, pace, places)))
    return 0


class Hands:
    """Sets the gauges on one place after the other, for ever.

    Args:
        workpiece: the head.
        pace: how time passes.
        places: the places that each gauge measures, by its mark.
    """

    def __init__(
        self, workpiece: Workpiece, pace: Pace, places: Mapping[str, list[Position]]
    ) -> None:
        self._workpiece = workpiece
        self._pace = pace
        self._rounds: dict[str, Iterator[Position]] = {
            mark: itertools.cycle(found) for mark, found in places.items() if found
        }
        self._count = itertools.count()
        self._on_master: set[str] = set()

    def set_on_master(self, gauge: BenchGauge) -> None:
        """Set a gauge on what its zero is checked on; one that has no button rests there."""
        self._on_master.add(gauge.about.id)
        gauge.touch(self._workpiece.scenario.sizes.masters.get(gauge.about.kind, 0.0))

    def take_off_master(self, gauge: BenchGauge) -> bool:
        """Let a gauge go on to its places; tell whether it was on its master."""
        was = gauge.about.id in self._on_master
        self._on_master.discard(gauge.about.id)
        return was

    async def set_on_next(self, gauge: BenchGauge) -> None:
        """Set a gauge on its next place; where that is rocked, and it can follow, rock it."""
        mark = gauge.about.id
        if mark not in self._rounds:
            return  # the plan has no place for this gauge: it shows nothing but zero
        position = next(self._rounds[mark])
        chance = self._workpiece.chance("sim", position, next(self._count))
        if position.method == "rock":
            from gaugelink.simulate.hand import rock  # noqa: PLC0415

            travel = self._workpiece.travel_um(position.valve, position.direction)
            await gauge.follow(rock(travel, gauge.about.per_second, ROCKS, chance))
        else:
            gauge.touch(self._workpiece.size_um(position) + chance.gauss(0, gauge.about.noise))

    async def press_every(self, gauge: BenchGauge, seconds: float) -> None:
        """Measure and press the button, for ever; with no seconds never."""
        while seconds:
            await self._pace.sleep(seconds)
            await self.set_on_next(gauge)
            gauge.press()

    async def go_on(self, gauge: BenchGauge) -> None:
        """Move a gauge that needs no button from place to place, for ever."""
        while True:
            if gauge.about.id in self._on_master:
                self.set_on_master(gauge)  # it may just have followed a path
            else:
                await self.set_on_next(gauge)
            await self._pace.sleep(REST_S)


async def _offer(
    args: argparse.Namespace,
    scenario: Scenario,
    gauges: Mapping[str, BenchGauge],
    hands: Hands,
) -> None:
    async with contextlib.AsyncExitStack() as stack:
        rows: list[dict[str, Any]] = []
        for mark, gauge in gauges.items():
            port = await gauge.connect()
            stack.push_async_callback(gauge.unplug)
            about = gauge.about
            rows.append({"gauge": mark, "title": about.title, "port": port,
                         "driver": about.driver, "speaks": about.speaks,
                         "asked_with": _asked_with(gauge), "faults": gauge.troubles})  # fmt: skip
            gauge.plugged_in = partial(_tell_of_port, mark)
            gauge.switch_on()
            gauge.pick_up()
        if args.bench is not None:
            _write_bench(args.bench, scenario, {row["gauge"]: row["port"] for row in rows})
        _print(rows, as_json=args.json)
        tasks = [
            asyncio.create_task(
                hands.press_every(gauge, args.every)
                if gauge.about.speaks == "when pressed"
                else hands.go_on(gauge),
                name=f"hand on {mark}",
            )
            for mark, gauge in gauges.items()
        ]
        tasks.append(asyncio.create_task(_typed(gauges, hands, sys.stdin), name="typed"))
        try:
            await asyncio.gather(*tasks)
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)


def _write_bench(path: Path, scenario: Scenario, ports: Mapping[str, str]) -> None:
    from gaugelink.commands.sim_bench import bench_text  # noqa: PLC0415  rarely wanted

    try:
        path.write_text(bench_text(scenario, ports), encoding="utf-8")
    except OSError as fault:
        what = f"cannot be written ({fault.strerror})"
        raise InputError(what, file=str(path), field="--bench") from None


def _asked_with(gauge: BenchGauge) -> str:
    """Write what makes a gauge answer that waits to be asked; nothing for any other."""
    from gaugelink.wire.base import printable  # noqa: PLC0415
    from gaugelink.wire.driver import load_driver  # noqa: PLC0415

    if gauge.about.speaks != "when asked":
        return ""
    request = load_driver(*content.read("drivers", gauge.about.driver)).request
    return printable(request or b"")


async def _typed(gauges: Mapping[str, BenchGauge], hands: Hands, keyboard: TextIO) -> None:
    """Press the button of each gauge whose mark is typed; go on for ever, input or none."""
    loop = asyncio.get_running_loop()
    lines: asyncio.Queue[str] = asyncio.Queue()

    def read() -> None:
        with contextlib.suppress(RuntimeError, OSError, ValueError):  # closed, or the loop is
            for line in keyboard:
                loop.call_soon_threadsafe(lines.put_nowait, line.strip())

    # A thread that nobody waits for: a read from a keyboard cannot be broken off.
    threading.Thread(target=read, name="keyboard", daemon=True).start()
    while True:
        typed = await lines.get()
        word, _, what = typed.partition(" ")
        mark = next((one for one in gauges if one.lower() == word.lower()), word)
        gauge = gauges.get(mark)
        if gauge is None:
            words = f"found {mark!r}, accepted: {', '.join(gauges)}"
        elif what.strip() not in {"", "0"}:
            words = f"found {typed!r}, accepted: {mark}, or {mark} 0 for its master"
        else:
            words = await _touched(gauge, hands, on_master=bool(what))
        print(words, file=sys.stderr, flush=True)


async def _touched(gauge: BenchGauge, hands: Hands, *, on_master: bool) -> str:
    """Do what was typed about a gauge, and say it."""
    mark, has_button = gauge.about.id, gauge.about.speaks == "when pressed"
    if on_master:
        hands.set_on_master(gauge)
    elif has_button:
        await hands.set_on_next(gauge)
    elif hands.take_off_master(gauge):
        return f"{mark} goes on from place to place"
    else:
        return f"{mark} has no button: it speaks {gauge.about.speaks}"
    shown = gauge.display()
    figure = f"{'-' if shown.counts < 0 else ''}{shown.digits} {shown.unit}"
    if not has_button:
        return f"{mark} rests on its master at {figure}; type {mark}, and it goes on"
    gauge.press()
    return f"{mark} pressed at {figure}"


def _tell_of_port(mark: str, name: str) -> None:
    print(f"{mark} is back on {name}", file=sys.stderr, flush=True)


def _print(rows: list[dict[str, Any]], *, as_json: bool) -> None:
    if as_json:
        print(json.dumps({"gauges": rows}, ensure_ascii=False), flush=True)
        return
    columns = ("gauge", "title", "port", "driver", "speaks")
    widths = {key: max(len(key), *(len(row[key]) for row in rows)) for key in columns}
    for row in [{key: key for key in widths}, *rows]:
        print("  ".join(row[key].ljust(width) for key, width in widths.items()).rstrip())
    for row in rows:
        if row["faults"]:
            print(f"{row['gauge']} goes wrong: {', '.join(row['faults'])}")
        if row["asked_with"]:
            print(f"{row['gauge']} is asked with {row['asked_with']}")
    print(
        "All figures are invented. Any program can open these ports; what one reads, no other gets."
    )
    print(
        "Type a gauge's mark and Enter to press it, with a 0 behind to do so on its master; "
        "Ctrl-C ends it.",
        flush=True,
    )

"""Measure a simulated head from start to report.

Every gauge speaks its own wire format over a real byte stream of the operating system, and
everything goes through decoding, capture, judging, record and report as on a real bench. All
figures are invented.

With --through the cheapest plan is taken as the work order and carried out, by a machine that is
never quite where its dial says and at one place far from it. What the work touched is measured
again, and the head is released.

Exit status: 0 every verdict is within, and with --through the head is released; 1 something is
outside or undecided, as it is on the shipped head before the work, or stands against the release;
2 it could not be done.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink import content
from gaugelink.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import AsyncIterator, Callable

    from gaugelink.commands.demo_bench import Outcome

STORE = "record.sqlite"
REPORT = "report.pdf"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("--out", metavar="DIR", help="folder for record and report (default: the "
                        "first free one of gaugelink-demo, gaugelink-demo-2, ...)")  # fmt: skip
    parser.add_argument("--scenario", metavar="NAME", default="demo-head",
                        help="a scenario that ships, or a .toml file")  # fmt: skip
    parser.add_argument("--seed", type=int, metavar="N",
                        help="the same seed gives the same head and the same readings")  # fmt: skip
    parser.add_argument("--through", action="store_true",
                        help="do the work that is planned too, measure again, and release the head",
                        )  # fmt: skip
    parser.add_argument("--pace", action="store_true", help="run as slowly as a person works")
    parser.add_argument("--serve", action="store_true",
                        help="show the dashboard, and leave it up at the end")  # fmt: skip
    parser.add_argument("--port", type=int, default=0, metavar="N",
                        help="port of the dashboard (default: a free one)")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Run the demonstration.

    Raises:
        InputError: scenario, sheet or folder are bad.
        PortError: the dashboard's port is taken; nothing was written.
    """
    from gaugelink import sheetfile  # noqa: PLC0415  heavy, and only wanted here
    from gaugelink.commands.plan_file import load_prices  # noqa: PLC0415
    from gaugelink.simulate import scenario as scenarios  # noqa: PLC0415

    text, file = content.read("sim", args.scenario)
    scenario = scenarios.load(text, file)
    sheet = sheetfile.load(*content.read("sim/sheets", scenario.scenario.sheet))
    scenarios.check_against(scenario, sheet, file)
    prices = scenario.scenario.prices
    shop = (
        load_prices(*content.read("sim/prices", prices), kinds=sheet.head.kinds) if prices else None
    )
    if scenario.fault:
        what = "found [[fault]], accepted here: none; offer its gauges with gaugelink sim"
        raise InputError(what, file=file, field="fault")
    if args.through and shop is None:
        what = "the field is missing, and without prices there is no plan to go by with --through"
        raise InputError(what, file=file, field="scenario.prices")
    if not 0 <= args.port <= 65535:
        raise InputError(f"found {args.port}, accepted: 0 to 65535", field="--port")
    folder, is_new = _make_folder(args.out)

    from gaugelink.commands.demo_bench import Demonstration  # noqa: PLC0415

    demonstration = Demonstration(
        scenario, sheet, folder / STORE, folder / REPORT, seed=args.seed, at_pace=args.pace,
        shop=shop,
    )  # fmt: skip
    try:
        outcome = asyncio.run(_show(args, demonstration))
    except BaseException:
        if is_new:
            with contextlib.suppress(OSError):
                folder.rmdir()  # only if nothing was written into it
        raise
    done = outcome.released or not args.through
    return 0 if done and not outcome.outside and not outcome.undecided else 1


async def _show(args: argparse.Namespace, demonstration: Any) -> Outcome:
    """Run the demonstration with whatever shows it: a page, the terminal, or nothing."""
    async with contextlib.AsyncExitStack() as stack:
        url = ""
        if args.serve:
            url = await stack.enter_async_context(demonstration.running.page(args.port))
            print(f"The dashboard is at {url}", file=sys.stderr, flush=True)
        await stack.enter_async_context(demonstration.bench())
        async with contextlib.AsyncExitStack() as drawing:
            if not args.json:
                await drawing.enter_async_context(_drawn(demonstration.running.view.state))
            await demonstration.work()
            if args.through:
                await demonstration.through()
        outcome: Outcome = await demonstration.finish()
        if args.json:
            print(json.dumps(outcome.document(), ensure_ascii=False), flush=True)
        else:
            _print(outcome)
        if args.serve:
            print(f"The dashboard stays at {url}  (Ctrl-C ends it)", file=sys.stderr, flush=True)
            with contextlib.suppress(asyncio.CancelledError):
                await asyncio.Event().wait()
    return outcome


def _make_folder(out: str | None) -> tuple[Path, bool]:
    """Make the folder, and tell whether it is new."""
    if out is None:
        number = 1
        while (folder := Path(f"gaugelink-demo{f'-{number}' if number > 1 else ''}")).exists():
            number += 1
    else:
        folder = Path(out)
    for name in (STORE, REPORT):
        if (folder / name).exists():
            raise InputError(
                f"the folder holds a {name} already, and a record is never overwritten; give "
                "another folder with --out",
                file=str(folder),
            )
    is_new = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / ".gaugelink-probe"
        probe.touch()
        probe.unlink()
    except OSError as fault:
        raise InputError(
            f"cannot be written to ({fault.strerror}); give another folder with --out",
            file=str(folder),
        ) from None
    return folder, is_new


@contextlib.asynccontextmanager
async def _drawn(state: Callable[[], dict[str, Any]]) -> AsyncIterator[None]:
    """Draw the state in the terminal, a few times a second, while the body runs."""
    from rich.console import Console  # noqa: PLC0415

    from gaugelink.commands.demo_screen import DemoScreen  # noqa: PLC0415

    console = Console(stderr=True, highlight=False)
    console.print(f"{state()['job']['head']}: all figures are invented.", style="bold")

    async def draw() -> None:
        while True:
            screen.show(state())
            await asyncio.sleep(0.15)

    with DemoScreen(console) as screen:
        task = asyncio.create_task(draw(), name="terminal")
        try:
            yield
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)


def _print(outcome: Outcome) -> None:
    from rich.console import Console  # noqa: PLC0415

    from gaugelink.commands.demo_screen import closing_table, order_table  # noqa: PLC0415
    from gaugelink.view.advice import advice_lines  # noqa: PLC0415

    console = Console(highlight=False, markup=False)
    document = outcome.report_document
    if document["order"] is not None:
        console.print(f"The work order, {document['order']['cost']}, and what came of it:\n")
        console.print(order_table(document["order"]))
        console.print()
    if outcome.outside or outcome.undecided:
        console.print(closing_table(document))
        console.print()
    console.print(
        f"{outcome.readings} readings and {outcome.sweeps} rock sweeps: {outcome.within} within, "
        f"{outcome.outside} outside, {outcome.undecided} undecided."
    )
    for item in document["not_measured"]:
        why = f" ({item['why']})" if item["why"] else ""
        console.print(f"Not measured: {item['valve'] or 'head'} {item['characteristic']}{why}")
    if document["order"] is not None:
        console.print(f"The head is {document['release']['sentence']}")
        for group in document["release"]["groups"]:
            for row in group["rows"]:
                console.print(f"  {' '.join([*row['valves'], row['what']])}: {row['why']}")
    if (advice := document["advice"]) is not None and not outcome.released:
        console.print()
        for line in advice_lines(advice, console.width):
            console.print(line)
        console.print()
    print(f"Report  {outcome.report}")
    print(f"Record  {outcome.store}  ({outcome.size} entries, root {outcome.root[:16]})")
    print(f"Check   gaugelink verify {outcome.store}")

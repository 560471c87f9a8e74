"""The simulated operator: looks at what is asked for, sets the gauge on it, and presses.

Like a person, it knows the bench only by what it shows: the place that is asked for, and the
changes it sees. Its slips are scripted in the scenario, so that the demonstration shows what
becomes of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from gaugelink.simulate.hand import rock

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from random import Random

    from gaugelink.head import Position
    from gaugelink.simulate.gauges import BenchGauge
    from gaugelink.simulate.pace import Pace
    from gaugelink.simulate.scenario import Inspection, Slip
    from gaugelink.simulate.workpiece import Workpiece

FULL_ROCKS = 5
TOO_FEW_ROCKS = 2


class Screen(Protocol):
    """What an operator can see and press."""

    def asked_for(self) -> tuple[Position, str] | None:
        """Give the place that is asked for, and the kind of gauge; None when there is none."""
        ...

    def question(self) -> tuple[int, int] | None:
        """Give the value that is asked about, and the step it was sent for; None when none is."""
        ...

    def version(self) -> int:
        """Tell how often the screen has changed."""
        ...

    async def next_change(self, seen: int) -> int:
        """Wait for the screen to change."""
        ...

    async def press(self, **action: object) -> None:
        """Press a button of the page."""
        ...


@dataclass(slots=True)
class Operator:
    """Somebody who works through a measuring plan.

    Args:
        screen: what the operator sees.
        gauges: the gauges by kind.
        workpiece: the head on the bench.
        slips: what goes wrong, each once.
        pace: how time passes.
        looks: what is found by looking, at the end.
        loads: what springs show on a spring tester, each with valve, load and the tester's
            uncertainty.
    """

    screen: Screen
    gauges: Mapping[str, BenchGauge]
    workpiece: Workpiece
    slips: list[Slip]
    pace: Pace
    looks: Sequence[Inspection] = ()
    loads: Sequence[tuple[str, str, str]] = ()
    tries: dict[Position, int] = field(default_factory=dict)

    async def work(self) -> None:
        """Measure until nothing more is asked for, test the springs and look at everything."""
        await self.measure()
        # Nobody tests a spring that is scrap.
        scrap = {look.valve for look in self.looks if look.check == "spring" and not look.sound}
        await self.test_springs(item for item in self.loads if item[0] not in scrap)
        await self.look(self.looks)

    async def measure(self) -> None:
        """Measure until nothing more is asked for."""
        while (asked := self.screen.asked_for()) is not None:
            position, kind = asked
            gauge = self._in_hand(kind)
            attempt = self.tries[position] = self.tries.get(position, 0) + 1
            chance = self.workpiece.chance("hand", position, attempt)
            slip = self._slip(position)
            if slip is not None and await self._fumble(slip, position, gauge, chance):
                continue
            if position.method == "rock":
                await self._rock(position, gauge, chance, FULL_ROCKS)
            else:
                await self._measure(position, gauge, chance)
            if await self._doubted(attempt):
                continue
            if slip is not None and slip.what in {"retake", "strike out"}:
                await self.screen.press(do="retake", reason=slip.reason)

    async def test_springs(self, loads: Iterable[tuple[str, str, str]]) -> None:
        """Tell what springs show on the tester: valve, load, and the tester's uncertainty."""
        for valve, load, u in loads:
            await self.pace.sleep(1.0)
            await self.screen.press(do="spring", valve=valve, load=load, u=u)

    async def look(self, looks: Iterable[Inspection]) -> None:
        """Tell what was found by looking."""
        for look in looks:
            await self.pace.sleep(1.0)
            valves = [look.valve] if look.valve else []
            await self.screen.press(
                do="inspect", check=look.check, valves=valves, sound=look.sound, words=look.words
            )

    async def _doubted(self, attempt: int) -> bool:
        """See whether the value is asked about: measure again once, then keep what came twice."""
        question = self.screen.question()
        if question is None:
            return False
        if attempt > 1:
            place, step = question
            await self.screen.press(
                do="assign", place=place, step=step, reason="measured twice, the same"
            )
        return True

    def _in_hand(self, kind: str) -> BenchGauge:
        for other in self.gauges.values():
            if other.about.kind != kind:
                other.lay_down()
        self.gauges[kind].pick_up()
        return self.gauges[kind]

    async def _measure(self, position: Position, gauge: BenchGauge, chance: Random) -> None:
        gauge.touch(self.workpiece.size_um(position) + chance.gauss(0, gauge.about.noise))
        # Only then wait, as a hand does: a gauge that sends all the time must first show this size.
        await self.pace.sleep(chance.uniform(1.5, 3.0))
        await self._send(gauge)

    async def _send(self, gauge: BenchGauge) -> None:
        """Have the gauge's value taken, in the way that the gauge allows, and wait to see it."""
        seen = self.screen.version()
        if gauge.about.speaks == "when pressed":
            gauge.press()
        else:
            await self.screen.press(do="take", gauge=gauge.about.id)
        await self.screen.next_change(seen)

    async def _rock(
        self, position: Position, gauge: BenchGauge, chance: Random, rocks: int
    ) -> None:
        await self.pace.sleep(2.0)
        travel = self.workpiece.travel_um(position.valve, position.direction)
        await self.screen.press(do="sweep-start")
        await gauge.follow(rock(travel, gauge.about.per_second, rocks, chance))
        await self.pace.sleep(0.2)
        await self.screen.press(do="sweep-stop")

    def _slip(self, position: Position) -> Slip | None:
        for slip in self.slips:
            if (slip.valve, slip.characteristic, slip.station, slip.direction) == (
                position.valve, position.characteristic, position.station, position.direction,
            ):  # fmt: skip
                self.slips.remove(slip)
                return slip
        return None

    async def _fumble(
        self, slip: Slip, position: Position, gauge: BenchGauge, chance: Random
    ) -> bool:
        """Make the mistake; True if the place is to be looked at again afterwards."""
        match slip.what:
            case "wrong gauge":
                other = next(
                    item for item in self.gauges.values()
                    if item is not gauge and item.about.speaks == "when pressed"
                )  # fmt: skip
                other.touch(8000.0 + chance.gauss(0, other.about.noise))
                await self._send(other)
                return True
            case "skip":
                await self.screen.press(do="skip", reason=slip.reason)
                return True
            case "short sweep":
                await self._rock(position, gauge, chance, TOO_FEW_ROCKS)
                return True
            case "hold":
                gauge.mode = "max"
                await self._measure(position, gauge, chance)
                gauge.mode = "actual"
                return True
            case "wrong unit":
                gauge.change_unit()
                await self._measure(position, gauge, chance)
                if self.screen.question() is not None:
                    gauge.change_unit()  # only the question makes the operator look at the unit
                return True
            case _:
                return False

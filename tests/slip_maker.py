"""Heads with realistic wear, and slips put into their readings, for the figures of docs/slips.md.

The distributions are common practice without a source; docs/slips.md states them too.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from gaugelink import content, sheetfile
from gaugelink.plan import plan_for
from gaugelink.quantity import PM_PER_UM, from_decimal
from gaugelink.reading import Gauge
from gaugelink.simulate import scenario as scenarios
from gaugelink.simulate.scenario import Wear
from gaugelink.simulate.workpiece import Workpiece
from gaugelink.slips import Suspicion, Taken, look

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.head import Position
    from gaugelink.limits import Sheet
    from gaugelink.quantity import Displayed

SIZES = ("stem diameter", "guide bore", "stand-down", "spring free length")
PM_PER_MICROMETRE = PM_PER_UM


@dataclass(frozen=True)
class Sent:
    """A value as a gauge sent it at a place, and its true size in micrometres, scatter included."""

    position: Position
    shown: Displayed
    gauge: Gauge
    mono_ns: int
    size_um: float
    places: int
    true_um: float
    noise: float

    def again(self, size_um: float) -> Sent:
        """The same gauge on something of another size."""
        return replace(self, shown=show(size_um, self.places), size_um=size_um)


def show(size_um: float, places: int) -> Displayed:
    """What a display in millimetres shows."""
    return from_decimal(round(size_um / 1000 * 10**places), places, "mm")


@dataclass
class Head:
    """A head, its sheet, and a clean series of readings for each characteristic."""

    sheet: Sheet
    series: dict[str, list[Sent]]
    chance: random.Random
    earlier: dict[Position, Displayed] = field(default_factory=dict)
    taken: dict[str, list[Taken]] = field(default_factory=dict)
    false: dict[str, int] = field(default_factory=dict)

    def measure(self) -> None:
        """Take all readings; what is asked about is measured again, the same, and kept."""
        for name, series in self.series.items():
            self.taken[name] = []
            self.false[name] = 0
            for sent in series:
                asked = bool(self.look(sent, self.taken[name]))
                self.false[name] += asked
                self.taken[name].append(take(sent, kept=asked))

    def look(self, sent: Sent, taken: Sequence[Taken]) -> list[Suspicion]:
        """What is asked about a value."""
        return look(sent.position, sent.shown, sent.gauge, sent.mono_ns, taken, self.sheet,
                    self.earlier)  # fmt: skip

    def first_asked(
        self, name: str, start: int, slipped: Sequence[Sent]
    ) -> tuple[int, Suspicion] | None:
        """Which of the slipped readings, that begin at `start`, is the first one asked about."""
        taken = self.taken[name][:start]
        for number, sent in enumerate(slipped):
            found = self.look(sent, taken)
            if found:
                return number, found[0]
            taken = [*taken, take(sent)]
        return None


def take(sent: Sent, *, kept: bool = False) -> Taken:
    """The value as a reading that counts."""
    return Taken(sent.position, sent.shown, sent.gauge.id, sent.mono_ns, kept)


_TEXT, _FILE = content.read("sim", "demo-head")
SCENARIO = scenarios.load(_TEXT, _FILE)
SHEET_TEXT, SHEET_FILE = content.read("sim/sheets", "demo-pump-engine")


def sheet_with(thinner_um: int) -> Sheet:
    """The demonstration's sheet with exhaust stems thinner than intake stems by so much."""
    text = SHEET_TEXT
    fewer = thinner_um - 15  # the sheet itself has 15 um
    for printed in (7.945, 7.960):
        old = f'new_m{"in" if printed == 7.945 else "ax"} = "{printed:.3f} mm"'
        at = text.rindex(old)
        text = text[:at] + old.replace(f"{printed:.3f}", f"{printed - fewer / 1000:.3f}") + (
            text[at + len(old):]
        )  # fmt: skip
    old = 'service_min = ["7.920 mm", "0.3118 in"]'
    assert old in text
    text = text.replace(old, f'service_min = "{7.920 - fewer / 1000:.3f} mm"')
    return sheetfile.load(text, SHEET_FILE)


def wear(valve: str, hours: float, chance: random.Random) -> Wear:
    """What one valve has gone through, micrometres: most a little, one in seven a lot."""
    heavy = chance.random() < 0.15

    def worn(mean: float, low: float, high: float) -> float:
        return hours * chance.expovariate(1 / mean) + (chance.uniform(low, high) if heavy else 0.0)

    return Wear(
        valve=valve, stem=_mm(worn(5, 10, 40)), bore=_mm(worn(8, 15, 50)),
        bell_mouth=_mm(worn(6, 10, 40)), stand_down=_mm(worn(60, 150, 500)),
        spring_length=_mm(worn(100, 200, 900)),
    )  # fmt: skip


def _mm(um: float) -> str:
    return f"{um / 1000:.6f} mm"


def make_head(
    seed: int, number: int, *, thinner_um: int = 15, names: Sequence[str] = SIZES
) -> Head:
    """Make a head and measure it cleanly.

    Args:
        seed: of the whole run.
        number: of the head.
        thinner_um: how much thinner exhaust stems are than intake stems, micrometres.
        names: the characteristics to measure.
    """
    chance = random.Random(f"slips/{seed}/{number}/{thinner_um}")
    sheet = sheet_with(thinner_um)
    hours = chance.uniform(0.5, 2.0)
    sizes = SCENARIO.sizes.model_copy(
        update={
            "stem": {
                "intake": 7967.5 + chance.uniform(-3.5, 3.5),
                "exhaust": 7967.5 - thinner_um + chance.uniform(-3.5, 3.5),
            },
            "bore": {kind: 8007.5 + chance.uniform(-3.5, 3.5) for kind in ("intake", "exhaust")},
            "stand_down": {kind: chance.uniform(1000, 1200) for kind in ("intake", "exhaust")},
            "spring_length": chance.uniform(47800, 48200),
        }
    )
    if "face height" in names:  # bowed and twisted, up to what is scrap
        sizes = sizes.model_copy(
            update={"face_bow": chance.uniform(-100, 150), "face_twist": chance.uniform(-60, 60)}
        )
    worn = [wear(valve.name, hours, chance) for valve in sheet.head.valves()]
    scenario = SCENARIO.model_copy(update={"sizes": sizes, "worn": worn})
    workpiece = Workpiece(scenario, sheet.head, chance.randrange(10**9))
    series: dict[str, list[Sent]] = {name: [] for name in names}
    now_ns = 0
    for step in plan_for(sheet):
        if step.position.characteristic not in series or step.sweep:
            continue
        about = scenario.gauge_for(step.gauge_kind)
        gauge = Gauge(about.id, about.kind, about.title, about.serial, about.driver,
                      round(about.u * PM_PER_UM), about.calibration_due)  # fmt: skip
        now_ns += round(chance.uniform(2, 10) * 1e9)
        true_um = workpiece.size_um(step.position)
        size = true_um + chance.gauss(0, about.noise)
        sent = Sent(step.position, show(size, about.places), gauge, now_ns, size, about.places,
                    true_um, about.noise)  # fmt: skip
        series[step.position.characteristic].append(sent)
    head = Head(sheet, series, chance)
    head.measure()
    return head


# ---- slips ------------------------------------------------------------------------------------

Caught = tuple[int, Suspicion] | None


def wrong_unit(head: Head, way: str) -> Caught:
    """One reading in the other unit: "inches as mm", "mm as inches", or "unit told"."""
    name, at = _anywhere(head)
    sent = head.series[name][at]
    places = sent.places + 1 + (sent.places == 3)  # 0.01 mm goes with 0.001 in, 0.001 with 0.00005
    step = 5 if sent.places == 3 else 1
    if way == "mm as inches":
        digits = round(sent.size_um / 1000 * 10**sent.places)
        shown = from_decimal(digits, sent.places, "in")
        # A gauge that does not tell its unit cannot change it either: all is taken as inches.
        taken = [replace(item, shown=replace(item.shown, unit="in"))
                 for item in head.taken[name][:at]]  # fmt: skip
        found = head.look(replace(sent, shown=shown), taken)
        return (0, found[0]) if found else None
    digits = round(sent.size_um / 25400 * 10**places / step) * step
    shown = from_decimal(digits, places, "in" if way == "unit told" else "mm")
    # A first reading in another unit, told, is right; then it is the next one that is asked about.
    after = head.series[name][at + 1 : at + 2]
    return head.first_asked(name, at, [replace(sent, shown=shown), *after])


def decimal_shift(head: Head) -> Caught:
    """One reading with its decimal sign one or two places off."""
    name, at = _anywhere(head)
    sent = head.series[name][at]
    digits = round(sent.size_um / 1000 * 10**sent.places)
    ways = [way for way in (-2, -1, 1, 2) if sent.places + way >= 0]
    shown = from_decimal(digits, sent.places + head.chance.choice(ways), "mm")
    return head.first_asked(name, at, [replace(sent, shown=shown)])


def sign(head: Head) -> Caught:
    """One reading with the wrong sign."""
    name, at = _anywhere(head)
    sent = head.series[name][at]
    return head.first_asked(name, at, [sent.again(-sent.size_um)])


def zero(head: Head, name: str, offset: tuple[float, float], *, from_start: bool) -> Caught:
    """A zero that is off from a reading on; the sign of it by chance.

    Args:
        head: the head.
        name: the characteristic.
        offset: least and most of it, micrometres; drawn evenly on a scale of ratios.
        from_start: forgotten before the first reading, or changed at any later one.
    """
    series = head.series[name]
    off = math.exp(head.chance.uniform(*map(math.log, offset))) * head.chance.choice((-1, 1))
    at = 0 if from_start else head.chance.randrange(1, len(series))
    return head.first_asked(name, at, [sent.again(sent.size_um + off) for sent in series[at:]])


def double_send(head: Head) -> Caught:
    """The value of a reading once more, 50 to 500 ms later, at the next place."""
    name = head.chance.choice(SIZES)
    series = head.series[name]
    at = head.chance.randrange(1, len(series))
    late_ns = round(head.chance.uniform(0.05, 0.5) * 1e9)
    twice = replace(series[at], shown=series[at - 1].shown,
                    mono_ns=series[at - 1].mono_ns + late_ns)  # fmt: skip
    return head.first_asked(name, at, [twice])


def frozen(head: Head, name: str, least_left: int) -> Caught:
    """A display that stands still from a reading on, to the end of the series."""
    series = head.series[name]
    at = head.chance.randrange(1, len(series) - least_left)
    still = series[at - 1].shown
    return head.first_asked(name, at, [replace(sent, shown=still) for sent in series[at:]])


def swap(head: Head) -> Caught:
    """One valve's stem places measured on a stem of the other kind, of the same cylinder."""
    series = head.series["stem diameter"]
    valve = head.chance.choice([item.name for item in head.sheet.head.valves()])
    other = valve.translate(str.maketrans("IE", "EI"))
    at = next(n for n, sent in enumerate(series) if sent.position.valve == valve)
    sizes = [sent.size_um for sent in series if sent.position.valve == other]
    slipped = [sent.again(size) for sent, size in zip(series[at:], sizes, strict=False)]
    return head.first_asked("stem diameter", at, slipped)


def _anywhere(head: Head) -> tuple[str, int]:
    name = head.chance.choice(SIZES)
    return name, head.chance.randrange(len(head.series[name]))

"""Slips caught before a reading is recorded: what a value looks like that is not what it should be.

A value is held against what is known: the limits, the same valve's other places, the other valves,
and what the same gauge sent just before. Nothing is changed or dropped here; a suspicion says what
the value looks like and what to do, and a person answers. docs/slips.md explains each rule and
gives the figures that benchmarks/slip_figures.py measures.

Lengths are whole picometres, or fractions of them; nothing here knows a clock or a record.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from gaugelink.head import CHARACTERISTICS, parse_valve, zero_check_of
from gaugelink.quantity import PM_PER_UM, exact_text, micrometres_text
from gaugelink.slips.bounds import Bounds, bounds_for
from gaugelink.slips.display import digits_changed, stands_still
from gaugelink.slips.face import off_the_face
from gaugelink.slips.rounds import since_last_round
from gaugelink.slips.suspicion import Suspicion, Taken
from gaugelink.slips.zero import zero_off

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from gaugelink.head import Position
    from gaugelink.limits import Sheet
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Gauge

REARM_NS: Final = 800_000_000
"""Nobody sets a gauge on another place sooner; bounces come after 50 to 500 ms (common practice,
no source)."""
SURE_U: Final = 3
"""A good part passes the edge of its new range by scatter alone in about 1 of 1000 readings at
three standard uncertainties (normal distribution), and then it is only asked about."""
ZERO_PM: Final = 20 * PM_PER_UM
"""Shared by all places of a valve, more than a maker's new range usually leaves, and well below
the 0.05 mm that must be found even if the part is at the favourable end of that range."""
STEP_PM: Final = 40 * PM_PER_UM
"""More than a worn guide differs between neighbouring places: a bell-mouth flares by 0.03 to 0.10
over 5 to 10 mm (from memory), of which a station some 5 mm inside sees the smaller part."""
GROSS_PM: Final = 1000 * PM_PER_UM
"""A zero that is off by more shows on the display before anybody measures; then it is rather the
gauge that does not sit (common practice, no source)."""
FAR: Final = 10
"""Without limits: scaled deviations from the median. Warped faces are far from normal."""


def look(
    position: Position,
    shown: Displayed,
    gauge: Gauge,
    mono_ns: int,
    taken: Sequence[Taken],
    sheet: Sheet,
    earlier: Mapping[Position, Displayed] = MappingProxyType({}),
) -> list[Suspicion]:
    """Say what a value looks like that is about to be recorded; nothing where it looks right.

    Args:
        position: the place that is asked for.
        shown: the value.
        gauge: the gauge that sent it, with its uncertainty.
        mono_ns: when it came, bench clock.
        taken: the readings that count, oldest first.
        sheet: the limits.
        earlier: what places gave in the round before, as far as it can be compared.

    Returns:
        Suspicions, the likeliest first.
    """
    others = [item for item in taken if item.position != position]
    return _Look(position, shown, gauge, mono_ns, others, sheet, earlier).all()


@dataclass(frozen=True, slots=True)
class _Look:
    position: Position
    shown: Displayed
    gauge: Gauge
    mono_ns: int
    taken: Sequence[Taken]
    sheet: Sheet
    earlier: Mapping[Position, Displayed]

    def all(self) -> list[Suspicion]:
        if self._doubled():
            words = (
                f"the same value came from {self.gauge.title} less than 0.8 s before; "
                "one press, so it counts once"
            )
            return [Suspicion("double send", words, strong=True)]
        if check := zero_check_of(self.position):
            off = zero_off(self.shown, self.gauge, self.sheet.zero_of(self.gauge.kind), check[1])
            return [off] if off else []
        rules = (self._unit_changed, self._misread, self._digits, self._off_side, self._shared,
                 self._last_round, self._off_face, self._far)  # fmt: skip
        found = (rule() for rule in rules)
        sure = next((item for item in found if item is not None), None)
        still = stands_still(self.position, self.shown, self.gauge, self.taken, alone=sure is None)
        return [item for item in (still, sure) if item is not None]

    # ---- what the gauge sent before -------------------------------------------------------------

    def _series(self) -> list[Taken]:
        return [item for item in self.taken if item.gauge == self.gauge.id]

    def _doubled(self) -> bool:
        series = self._series()
        if not series:
            return False
        passed_ns = self.mono_ns - series[-1].mono_ns
        return 0 <= passed_ns < REARM_NS and series[-1].shown == self.shown

    def _unit_changed(self) -> Suspicion | None:
        series = self._series()
        if not series or series[-1].shown.unit == self.shown.unit:
            return None
        words = (
            f"{self.gauge.title} shows {_unit(self.shown.unit)} now, and showed "
            f"{_unit(series[-1].shown.unit)} before; set the unit back and measure again"
        )
        return Suspicion("wrong unit", words, strong=True)

    # ---- the size itself ------------------------------------------------------------------------

    def _bounds(self, characteristic: str = "", valve: str = "") -> Bounds | None:
        place = self.position
        name = characteristic or place.characteristic
        limits = [item for item in self.sheet.of(name, valve or place.valve)
                  if characteristic or item.takes(place.station, place.direction)]  # fmt: skip
        return bounds_for(limits)

    @property
    def _slack(self) -> int:
        return SURE_U * self.gauge.u_pm + self.shown.step_pm

    def _misread(self) -> Suspicion | None:
        """Ask about a value that no wear explains: another unit, another decimal, another thing."""
        near = self._range()
        if near is None or near.holds(self.shown.pm, self._slack) or self._kept(same_valve=True):
            return None
        centre = Fraction(near.new_low + near.new_high, 2)
        fits: list[tuple[Fraction, Suspicion]] = []
        for factor, suspicion in self._factors():
            value = self.shown.pm * factor
            # The digits that the other unit or decimal would have shown are not known.
            if near.holds(value, self.shown.step_pm * abs(factor) / 2):
                fits.append((abs(value - centre), suspicion))
        if fits:
            off_centre, fit = min(fits, key=lambda item: item[0])
            other = self._other_characteristic(new=True)
            # As another thing it would be new, as this one with a shifted sign it would be worn.
            if not other or 2 * off_centre <= near.new_high - near.new_low:
                return fit
        if self.shown.pm == 0:
            words = "exactly 0: zeroed on the part; set the zero on its master and measure again"
            return Suspicion("zero", words, strong=True)
        if other := self._other_characteristic(new=False):
            words = f"{self.shown} fits the {other}; see what is being measured, and measure again"
            return Suspicion("wrong characteristic", words)
        return None

    def _far(self) -> Suspicion | None:
        """Ask about what is left: a value that nothing explains."""
        near = self._range()
        if near is None or near.holds(self.shown.pm, self._slack) or self._kept(same_valve=True):
            return None
        words = (
            f"{self.shown} is far from what it can be, {_mm(near.low)} to {_mm(near.high)} mm even "
            "with heavy wear; see the zero and how the gauge sits, then measure again"
        )
        return Suspicion("implausible", words)

    def _digits(self) -> Suspicion | None:
        return digits_changed(self.shown, self.gauge, self.taken)

    def _last_round(self) -> Suspicion | None:
        return since_last_round(self.position, self.shown, self.gauge, self.taken, self.earlier)

    def _off_face(self) -> Suspicion | None:
        return off_the_face(self.position, self.shown, self.gauge, self.taken)

    def _range(self) -> Bounds | None:
        """The plausible range: from the limits, or from what was measured elsewhere."""
        found = self._bounds()
        if found is not None:
            return found
        peers = sorted(item.shown.pm for item in self._peers(self._kind, anywhere=True))
        if len(peers) < 5:
            return None
        middle = _median(peers)
        scaled = Fraction(14826, 10000) * _median(sorted(abs(pm - middle) for pm in peers))
        floor = max(scaled, Fraction(self._slack))
        low, high = int(middle - FAR * floor), int(middle + FAR * floor)
        return Bounds(low, high, low, high, 0)

    def _factors(self) -> Iterable[tuple[Fraction, Suspicion]]:
        inch = Fraction(254, 10)
        for factor, is_unit in ((inch, "inches"), (1 / inch, "millimetres")):
            words = (
                f"{self.shown} would fit in {is_unit}; see which unit {self.gauge.title} shows "
                "and its driver expects, and measure again"
            )
            yield factor, Suspicion("wrong unit", words, strong=True)
        words = f"{self.shown} would fit without its sign; see the zero and which way it counts"
        yield Fraction(-1), Suspicion("sign", words, strong=True)
        for power in (-2, -1, 1, 2):
            words = (
                f"{self.shown} would fit with the decimal sign {abs(power)} to the "
                f"{'right' if power > 0 else 'left'}; see the gauge's display, and measure again"
            )
            yield Fraction(10) ** power, Suspicion("decimal shift", words, strong=True)

    def _other_characteristic(self, *, new: bool) -> str:
        """Name another thing that the same kind of gauge measures, and that is of this size."""
        own = CHARACTERISTICS[self.position.characteristic]
        for other in CHARACTERISTICS.values():
            if other.gauge == own.gauge and other.name != own.name:
                bounds = self._bounds(other.name)
                if bounds is None:
                    continue
                ends = (bounds.new_low, bounds.new_high) if new else (bounds.low, bounds.high)
                if ends[0] <= self.shown.pm <= ends[1]:
                    return other.name
        return ""

    def _off_side(self) -> Suspicion | None:
        """Ask about a size on the side that wear cannot reach: thicker than new, narrower bore."""
        near = self._bounds()
        if near is None or near.wear == 0 or self._kept(same_valve=True):
            return None
        edge = near.new_high if near.wear < 0 else near.new_low
        past = (edge - self.shown.pm) * near.wear
        if not self._slack < past <= GROSS_PM:
            return None
        if other := self._other_kind([self.shown.pm]):
            return self._wrong_valve(other)
        if self._kept(same_valve=False):
            return None
        words = (
            f"{self.shown} is {micrometres_text(past)} um "
            f"{'above' if near.wear < 0 else 'below'} the new range, where wear does not lead; set "
            f"the zero of {self.gauge.title} on its master and measure again"
        )
        return Suspicion("zero", words)

    def _wrong_valve(self, other: str) -> Suspicion:
        words = (
            f"{self.shown} fits the {other} valves better than {self.position.valve}; see which "
            "valve is in the hand, and measure again"
        )
        return Suspicion("wrong valve", words)

    def _other_kind(self, sizes: Sequence[int]) -> str:
        """Name the other kind of valve if its new range holds the least worn of these sizes."""
        for valve in self.sheet.head.valves():
            if not self.position.valve or valve.kind == self._kind:
                continue
            bounds = self._bounds(valve=valve.name)
            if bounds is not None and bounds.wear:
                least = max(sizes) if bounds.wear < 0 else min(sizes)
                if bounds.new_low - self._slack <= least <= bounds.new_high + self._slack:
                    return valve.kind
        return ""

    # ---- what all places of a valve share -------------------------------------------------------

    def _shared(self) -> Suspicion | None:
        """Ask about what wear cannot share out so evenly: the same amount at every place.

        Stems and guides wear most where they slide most. An amount that all places of a valve have
        in common belongs to the zero, or to another valve.
        """
        near = self._bounds()
        here = self._here()
        if near is None or near.wear == 0:
            return None
        edge = near.new_low if near.wear < 0 else near.new_high
        past = [(pm - edge) * near.wear for pm in [*here.values(), self.shown.pm]]
        even = max(past) - min(past)
        stations = {place.station for place in here} | {self.position.station}
        if len(past) >= 3 and len(stations) >= 2 and not self._kept(same_valve=True):
            other = self._other_kind([*here.values(), self.shown.pm])
            room = max(min(past), 4 * self._slack) // 2
            if other and min(past) > self._slack and even <= room:
                return self._wrong_valve(other)
        if self._kept(same_valve=False):
            return None
        shifts: list[Sequence[int | Fraction]] = [past, self._against_peers(near.wear)]
        if len(past) >= 4 and len(stations) >= 2:
            for shift in shifts:
                if len(shift) == len(past) and min(shift) > ZERO_PM and (
                    2 * (max(shift) - min(shift)) <= min(shift)
                ):  # fmt: skip
                    return self._zero(min(shift), "at every place of this valve alike")
        return self._stepped(near.wear)

    def _stepped(self, wear: int) -> Suspicion | None:
        """Ask about a step since the place before, in a valve that was even until then."""
        here = list(self._here().values())
        if not here:
            return None
        step = (self.shown.pm - here[-1]) * wear
        if step > STEP_PM + self._slack + max(here) - min(here):
            return self._zero(step, "more than at the place before")
        return None

    def _zero(self, amount: int | Fraction, how: str) -> Suspicion:
        words = (
            f"{micrometres_text(amount)} um off {how}, which wear does not do; "
            f"check {self.gauge.title} on its master, set the zero, and measure again"
        )
        return Suspicion("zero", words)

    def _here(self) -> dict[Position, int]:
        """What the other places of this valve gave, oldest first."""
        place = self.position
        return {
            item.position: item.shown.pm
            for item in self.taken
            if place.valve
            and (item.position.valve, item.position.characteristic)
            == (place.valve, place.characteristic)
        }

    def _against_peers(self, wear: int) -> list[Fraction]:
        """How far each place of this valve is from the other valves' median at that place."""
        sizes = {**self._here(), self.position: self.shown.pm}
        found = []
        for place, pm in sizes.items():
            peers = sorted(
                item.shown.pm
                for item in self._peers(self._kind)
                if (item.position.station, item.position.direction)
                == (place.station, place.direction)
            )
            if len(peers) >= 3:
                found.append((pm - _median(peers)) * wear)
        return found

    # ---- whom it is compared with ---------------------------------------------------------------

    @property
    def _kind(self) -> str:
        return _kind_of(self.position.valve)

    def _peers(self, kind: str, *, anywhere: bool = False) -> list[Taken]:
        """Readings of the same characteristic at the other valves of a kind, or on the head."""
        return [
            item
            for item in self.taken
            if item.position.characteristic == self.position.characteristic
            and (anywhere or item.position.valve != self.position.valve)
            and _kind_of(item.position.valve) == kind
        ]

    def _kept(self, *, same_valve: bool) -> bool:
        """Tell whether a person was asked already, at this valve or anywhere in the series."""
        return any(
            item.kept
            and item.position.characteristic == self.position.characteristic
            and (item.position.valve == self.position.valve
                 or (not same_valve and item.gauge == self.gauge.id))
            for item in self.taken
        )  # fmt: skip


@cache
def _kind_of(valve: str) -> str:
    return parse_valve(valve).kind if valve else ""


def _median(ordered: Sequence[int | Fraction]) -> Fraction:
    count = len(ordered)
    return Fraction(ordered[(count - 1) // 2] + ordered[count // 2], 2)


def _mm(pm: int) -> str:
    return exact_text(pm, "mm", most_places=4)


def _unit(unit: str) -> str:
    return {"mm": "millimetres", "in": "inches"}[unit]

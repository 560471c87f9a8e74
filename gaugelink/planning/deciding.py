"""What would decide a verdict that is undecided: more readings, or another gauge.

A reading is the size, plus an error that stays from reading to reading (gauge, master,
temperature), plus one that does not. The second has the standard deviation *s*, the gauge's
repeatability; both together are its *u*. The mean of *n* readings of one place has

    u_n^2 = u^2 - s^2 + s^2 / n

(JCGM 100:2008, 4.2.3 and 5.1.2; the first error is common to all of them). So more readings decide
only what s keeps undecided. Of what is reckoned from several readings, such as bore less stem, all
are repeated: s^2 is the sum of theirs. For a rock, s is the scatter of its ends, through the factor
from travel to clearance, and further sweeps lessen that alone.

Another gauge puts its own u in the place of that of the gauge that was used. Everything supposes
that the value stays where it is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from itertools import product
from math import isqrt
from typing import TYPE_CHECKING, Final

from gaugelink.fitness import kinds_of
from gaugelink.judging import ACROSS
from gaugelink.metrology.conformity import GUARD_FACTOR
from gaugelink.metrology.risk import more_readings
from gaugelink.metrology.rock import factor
from gaugelink.quantity import PM_PER_UM, decimal_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from gaugelink.judging import Judged
    from gaugelink.limits import Limit, Sheet
    from gaugelink.reading import Gauge

_MOST_NAMED: Final = 4


@dataclass(frozen=True, slots=True)
class Register:
    """The gauges of a bench, and what is known of the readings.

    Attributes:
        gauges: all of them.
        taken_with: the gauge of each reading or sweep, by its place in record or file.
        scatter_pm: how far the travel of a sweep is uncertain by the scatter of its ends.
    """

    gauges: Sequence[Gauge]
    taken_with: Mapping[int, Gauge] = field(default_factory=dict)
    scatter_pm: Mapping[int, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Decider:
    """What would decide one verdict.

    Attributes:
        judged: the verdict.
        u_needed_pm: standard uncertainty at which the value would be decided; 0: it lies on its
            limit, and nothing decides it.
        more: so many more readings, of each place; None: no number of them, or not known.
        scatter_known: whether it is known how readings scatter.
        u_gauge_pm: standard uncertainty that a gauge needs, where one kind measures it: 0 where
            what else is uncertain is too much for any; None where two kinds do, or nobody knows.
        gauges: those of the bench that can, two together as ``M2 with B1``.
        of: what is to be repeated.
    """

    judged: Judged
    u_needed_pm: int
    more: int | None = None
    scatter_known: bool = False
    u_gauge_pm: int | None = None
    gauges: tuple[str, ...] = ()
    of: tuple[str, str] = ("readings", "of the same place")

    @property
    def words(self) -> str:
        """Say it to a person."""
        if not self.u_needed_pm:
            return "it lies on its limit: nothing can decide it"
        noun, where = self.of
        if self.more is not None:
            many = noun if self.more > 1 else noun.removesuffix("s")
            words = (
                f"{self.more} more {many} {where} would decide it, if the mean stays where it is"
            )
            return f"{words}; so would {self._named}" if self.gauges else words
        words = f"more {noun} cannot decide it"
        if not self.scatter_known:
            words = f"how many more {noun} would decide it is not known: no repeatability is told"
        if self.u_gauge_pm == 0:
            return f"{words}; no gauge can, what else is uncertain is too much"
        needed = f"a gauge with u of {_at_most(self.u_gauge_pm or 0)} um or less can"
        if self.u_gauge_pm is None:
            needed = f"a u of {_at_most(self.u_needed_pm)} um or less in all can"
        return f"{words}; {needed}: {self._named or 'the bench has none'}"

    @property
    def _named(self) -> str:
        rest = len(self.gauges) - _MOST_NAMED
        named = ", ".join(self.gauges[:_MOST_NAMED])
        return f"{named} and {rest} more" if rest > 0 else named


def deciders(sheet: Sheet, judged: Iterable[Judged], register: Register) -> list[Decider]:
    """Say of every verdict that only its uncertainty keeps undecided what would decide it.

    Args:
        sheet: the limits.
        judged: the verdicts.
        register: the gauges.
    """
    limits = {limit.line: limit for limit in (*sheet.limits, *sheet.oversizes)}
    return [
        _One(limits[item.line], item, register).find()
        for item in judged
        if item.verdict == "undecided" and item.u_pm and ACROSS in item.reason
    ]


@dataclass(frozen=True, slots=True)
class _One:
    limit: Limit
    item: Judged
    register: Register

    def find(self) -> Decider:
        item = self.item
        assert item.u_pm is not None
        ends = [end for end in (item.lower_pm, item.upper_pm) if end is not None]
        value_pm = Fraction(item.value_pm)
        away_pm = min(abs(value_pm - end) for end in ends)
        # Rounded down to whole picometres: with this u it is decided, by the exact rule too.
        needed_pm = int(away_pm / GUARD_FACTOR)
        if not needed_pm:
            return Decider(item, 0)
        scatter_sq = self._scatter_sq()
        more = None
        if scatter_sq is not None:
            steady_sq = max(Fraction(0), Fraction(item.u_pm**2) - scatter_sq)
            found = more_readings(
                float(away_pm / PM_PER_UM),
                float(steady_sq) ** 0.5 / PM_PER_UM,
                float(scatter_sq) ** 0.5 / PM_PER_UM,
            )
            more = None if found.total is None else max(1, found.total - 1)
        return Decider(item, needed_pm, more, scatter_sq is not None,
                       self._u_gauge_pm(needed_pm), self._able(needed_pm), self._of())  # fmt: skip

    @property
    def _kinds(self) -> list[str]:
        """The kinds of gauge whose readings make the figure, each as often as it enters.

        Here a limit on the spread of readings counts both ends of it.
        """
        return kinds_of(self.limit) * (2 if self.limit.judge == "range" else 1)

    @property
    def _share(self) -> Fraction:
        """How much of a gauge's error is in the value: less than all for a clearance by rock."""
        limit = self.limit
        if limit.method != "rock" or limit.figure == "travel":
            return Fraction(1)
        assert limit.guide_length is not None
        assert limit.reach is not None
        return 1 / factor(limit.guide_length.pm, limit.reach.pm)

    def _used(self) -> dict[str, Gauge] | None:
        """Give the least certain gauge of each kind that was used; None where it is not known."""
        used: dict[str, Gauge] = {}
        for place in self.item.places:
            gauge = self.register.taken_with.get(place)
            if gauge is None:
                return None
            if gauge.kind not in used or gauge.u_pm > used[gauge.kind].u_pm:
                used[gauge.kind] = gauge
        return used if {*self._kinds} <= used.keys() else None

    def _scatter_sq(self) -> Fraction | None:
        if self.limit.method == "rock":
            known = self.register.scatter_pm
            if not all(place in known for place in self.item.places):
                return None
            return (self._share * max(known[place] for place in self.item.places)) ** 2
        used = self._used()
        if used is None:
            return None
        total = Fraction(0)
        for kind in self._kinds:
            if (scatter_pm := used[kind].repeatability_pm) is None:
                return None
            total += scatter_pm**2
        assert self.item.u_pm is not None
        return total if total <= self.item.u_pm**2 else None

    def _rest_sq(self) -> Fraction | None:
        """Give the part of u^2 that is not the gauges'; None where nobody knows."""
        used = self._used()
        if used is None:
            return None if self.limit.method == "rock" else Fraction(0)
        assert self.item.u_pm is not None
        own = sum(used[kind].u_pm ** 2 for kind in self._kinds) * self._share**2
        # Roots are cut to whole picometres, so that a difference of theirs is none.
        rest = self.item.u_pm**2 - own
        return Fraction(0) if abs(rest) <= 4 * self.item.u_pm else max(Fraction(0), rest)

    def _u_gauge_pm(self, needed_pm: int) -> int | None:
        rest, kinds = self._rest_sq(), self._kinds
        if rest is None or len({*kinds}) != 1:
            return None
        left = (needed_pm**2 - rest) / (len(kinds) * self._share**2)
        return isqrt(int(left)) if left > 0 else 0

    def _able(self, needed_pm: int) -> tuple[str, ...]:
        rest = self._rest_sq()
        if rest is None:
            return ()
        kinds = list(dict.fromkeys(self._kinds))
        choices = [[gauge for gauge in self.register.gauges if gauge.kind == kind]
                   for kind in kinds]  # fmt: skip
        able = []
        for chosen in product(*choices):
            own = sum(self._kinds.count(gauge.kind) * gauge.u_pm**2 for gauge in chosen)
            if rest + own * self._share**2 <= needed_pm**2:
                able.append(" with ".join(gauge.id for gauge in chosen))
        return tuple(able)

    def _of(self) -> tuple[str, str]:
        if self.limit.method == "rock":
            return "sweeps", "in each direction" if len(self.item.places) > 1 else "of the valve"
        if self.limit.characteristic == "head-face flatness":
            return "readings", "of every point of the face"
        if len({*self._kinds}) > 1:
            return "readings", "of stem and bore each"
        if self.limit.judge in {"range", "mean"}:
            return "readings", "of each place"
        return "readings", "of the same place"


def _at_most(pm: int) -> str:
    """Write an uncertainty in micrometres, rounded down: what it says is enough.

    >>> _at_most(849_000), _at_most(2_990_000), _at_most(23_000)
    ('0.84', '2.9', '0.023')
    """
    places = 1 if pm >= PM_PER_UM else 2 if pm >= PM_PER_UM // 10 else 3
    return decimal_text(pm * 10**places // PM_PER_UM, places)

"""How much can still come off or go under, and what one step does to every figure at once.

The bookkeeping of a valve in its seat, depths counted along the valve's axis:

* a cut or lapped seat, or a ground valve face, lets the valve drop: stand-down, tip height and
  installed spring height grow by the depth;
* a ground face takes as much off the margin, a ground tip off the tip height and the length;
* a skim of the fire face takes its depth off the stand-down and the head's thickness, and touches
  neither tip nor spring;
* shims take their thickness off the installed spring height.

Source: geometry. A layer n square to a seat at the angle a from the face is n / cos a deep.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import cos, radians
from typing import TYPE_CHECKING, Final, Literal, get_args

from gaugelink.metrology.conformity import GUARD_FACTOR

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gaugelink.metrology.springs import Loads

Figure = Literal[
    "stand-down",
    "tip height",
    "installed spring height",
    "margin",
    "valve length",
    "head thickness",
]
Step = Literal["cut seat", "lap", "reface valve", "grind tip", "skim", "shim"]
FIGURES: Final[tuple[Figure, ...]] = get_args(Figure)
STEPS: Final[tuple[Step, ...]] = get_args(Step)

_DROP: Final[dict[Figure, int]] = {"stand-down": 1, "tip height": 1, "installed spring height": 1}
EFFECT: Final[dict[Step, dict[Figure, int]]] = {
    "cut seat": _DROP,
    "lap": _DROP,
    "reface valve": {**_DROP, "margin": -1},
    "grind tip": {"tip height": -1, "valve length": -1},
    "skim": {"stand-down": -1, "head thickness": -1},
    "shim": {"installed spring height": -1},
}
"""What a figure changes by for a depth of one; a figure that is not named stays."""


def axial_pm(normal_pm: int, seat_angle_deg: float) -> int:
    """Turn a layer square to a seat or valve face into a depth along the valve's axis.

    Args:
        normal_pm: thickness of the layer, picometres.
        seat_angle_deg: angle of the seat from the head's face, 0 or more and below 90.

    Returns:
        The depth, rounded to a picometre: n / cos a is no fraction.

    Raises:
        ValueError: the angle is out of range.

    >>> axial_pm(100_000_000, 45), axial_pm(100_000_000, 30)  # 0.1 mm at 45 and 30 degrees
    (141421356, 115470054)
    """
    if not 0 <= seat_angle_deg < 90:
        raise ValueError(f"found an angle of {seat_angle_deg:g} degrees, needed: 0 to below 90")
    return round(normal_pm / cos(radians(seat_angle_deg)))


def guard_pm(u_pm: int) -> int:
    """Give the room that a limit needs for a standard uncertainty, rounded up to a picometre.

    >>> guard_pm(10_000_000)  # u = 0.010 mm
    16450000
    """
    return -(-GUARD_FACTOR.numerator * u_pm // GUARD_FACTOR.denominator)


@dataclass(frozen=True, slots=True)
class Bound:
    """One side of a limit on a figure.

    Attributes:
        name: what the book calls the limit; two bounds may bear on one figure, such as the
            installed height itself and the load of the spring at it.
        figure: the figure that it holds.
        side: whether the figure may not be below it or not above it.
        at_pm: the limit less its guard band, itself within, picometres.
    """

    name: str
    figure: Figure
    side: Literal["lower", "upper"]
    at_pm: int

    def room_pm(self, value_pm: int) -> int:
        """Give how far a value lies inside, below 0 where it lies beyond."""
        return value_pm - self.at_pm if self.side == "lower" else self.at_pm - value_pm


def bounds(
    name: str, figure: Figure, lower_pm: int | None, upper_pm: int | None, u_pm: int = 0
) -> tuple[Bound, ...]:
    """Make the bounds of a limit, drawn in by 1.645 standard uncertainties.

    >>> [one.at_pm for one in bounds("stand-down", "stand-down", 900, 1400, u_pm=10)]
    [917, 1383]
    """
    found: list[Bound] = []
    if lower_pm is not None:
        found.append(Bound(f"{name} min", figure, "lower", lower_pm + guard_pm(u_pm)))
    if upper_pm is not None:
        found.append(Bound(f"{name} max", figure, "upper", upper_pm - guard_pm(u_pm)))
    return tuple(found)


def height_at(spring: Loads, load_n: Fraction) -> Fraction:
    """Give the height at which a spring has a load, mm; the inverse of its `load`.

    Args:
        spring: loads at heights.
        load_n: the load, 0 or more.

    Raises:
        ValueError: the load is below 0.

    >>> from gaugelink.metrology.springs import from_rate
    >>> float(height_at(from_rate(Fraction("32.5"), Fraction(48)), Fraction("292.5")))
    39.0
    """
    if load_n < 0:
        raise ValueError(f"found a load of {float(load_n):g} N, needed: 0 or more")
    (high, less), rate = spring.points[0], spring.rates[0]
    for (next_high, next_less), next_rate in zip(spring.points, spring.rates, strict=False):
        if load_n >= next_less:
            high, less, rate = next_high, next_less, next_rate
    return high - (load_n - less) / rate


def load_bounds(
    spring: Loads,
    lowest_n: Fraction | None,
    highest_n: Fraction | None,
    *,
    lost_n: Fraction = Fraction(0),
    u_n: Fraction = Fraction(0),
    u_pm: int = 0,
) -> tuple[Bound, ...]:
    """Turn limits of the load at the installed height into bounds of that height.

    A tired spring has lost load: its curve lies lower by as much at every height.

    Args:
        spring: of a new spring.
        lowest_n: smallest load allowed, or None.
        highest_n: largest load allowed, or None.
        lost_n: what the spring has lost against a new one, N.
        u_n: standard uncertainty of the load, N.
        u_pm: standard uncertainty of the height, picometres.

    >>> from gaugelink.metrology.springs import from_rate
    >>> new = from_rate(Fraction(30), Fraction(50))
    >>> [one.at_pm for one in load_bounds(new, Fraction(270), None, lost_n=Fraction(15))]
    [40500000000]
    """
    found: list[Bound] = []
    guard = GUARD_FACTOR * u_n
    if lowest_n is not None:
        top = height_at(spring, max(Fraction(0), lowest_n + lost_n + guard)) * 10**9
        found.append(Bound("spring load min", "installed spring height", "upper",
                           top.numerator // top.denominator - guard_pm(u_pm)))  # fmt: skip
    if highest_n is not None:
        low = height_at(spring, max(Fraction(0), highest_n + lost_n - guard)) * 10**9
        found.append(Bound("spring load max", "installed spring height", "lower",
                           -(-low.numerator // low.denominator) + guard_pm(u_pm)))  # fmt: skip
    return tuple(found)


def bind_bound(lift_pm: int, solid_pm: int, least_pm: int, u_pm: int = 0) -> Bound:
    """Give the smallest installed height that leaves room before the coils touch at full lift.

    >>> bind_bound(10_000_000_000, 28_000_000_000, 1_500_000_000).at_pm / 1e9
    39.5
    """
    at = lift_pm + solid_pm + least_pm + guard_pm(u_pm)
    return Bound("coil-bind margin min", "installed spring height", "lower", at)


@dataclass(frozen=True, slots=True)
class Seated:
    """A valve in its place: what was measured, and what holds it.

    Attributes:
        figures: picometres; a figure that was not measured is absent.
        held: bounds on them, guard bands taken off.
        most: the most of a step that book or machine allows, picometres; absent: no such limit.
    """

    figures: Mapping[Figure, int]
    held: Sequence[Bound]
    most: Mapping[Step, int] = field(default_factory=dict)

    def after(self, step: Step, depth_pm: int) -> Seated:
        """Give the same place after a step; what was used up comes off what is allowed.

        A new insert lifts the valve: a seat cut below 0.

        >>> def mm(text): return round(Fraction(text) * 10**9)
        >>> now = Seated({"stand-down": mm("0.95")}, ())
        >>> now = now.after("cut seat", mm("0.15")).after("reface valve", mm("0.05"))
        >>> now.after("skim", mm("0.10")).figures["stand-down"] / 1e9
        1.05
        """
        moved = EFFECT[step]
        figures = {name: value + moved.get(name, 0) * depth_pm
                   for name, value in self.figures.items()}  # fmt: skip
        most = {name: value - (depth_pm if name == step else 0)
                for name, value in self.most.items()}  # fmt: skip
        return replace(self, figures=figures, most=most)

    def beyond(self) -> tuple[str, ...]:
        """Name the limits that are not kept, those of figures that were not measured left out."""
        return tuple(
            one.name for one in self.held
            if one.figure in self.figures and one.room_pm(self.figures[one.figure]) < 0
        )  # fmt: skip

    def unmeasured(self) -> tuple[Figure, ...]:
        """Name the figures that have a limit but no reading."""
        return tuple(dict.fromkeys(
            one.figure for one in self.held if one.figure not in self.figures))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Allowance:
    """How much of one step is left, everything else as it is.

    Attributes:
        step: the step.
        least_pm: at least so much is needed before every limit that this step moves is kept; 0
            where they are kept already.
        most_pm: more than this breaks a limit; None where nothing holds it. Below `least_pm`
            where this step alone cannot keep them all.
        needed_by: the limit that asks for `least_pm`; empty where none does.
        held_by: the limit that ends at `most_pm`; empty where none does.
        unmeasured: figures without a reading whose limits might allow less.
    """

    step: Step
    least_pm: int
    most_pm: int | None
    needed_by: str
    held_by: str
    unmeasured: tuple[Figure, ...] = ()

    @property
    def possible(self) -> bool:
        """Whether some depth, none included, keeps every limit that the step moves."""
        return self.most_pm is None or self.least_pm <= self.most_pm


def allowance(seated: Seated, step: Step) -> Allowance:
    """Say how much of a step is left, all limits together.

    >>> def mm(text): return round(Fraction(text) * 10**9)
    >>> seated = Seated(
    ...     {"stand-down": mm("0.95"), "tip height": mm("36.80"),
    ...      "installed spring height": mm("41.5")},
    ...     (*bounds("stand-down", "stand-down", mm("0.89"), mm("1.42")),
    ...      *bounds("tip height", "tip height", None, mm("37.17")),
    ...      *bounds("installed spring height", "installed spring height", None, mm("42.7"))))
    >>> found = allowance(seated, "cut seat")
    >>> found.most_pm / 1e9, found.held_by
    (0.37, 'tip height max')
    """
    moved = EFFECT[step]
    least, needed_by = 0, ""
    most, held_by = seated.most.get(step), ""
    if most is not None:
        held_by = f"most of this step ({step})"
    for one in seated.held:
        if one.figure not in moved or one.figure not in seated.figures:
            continue
        room = one.room_pm(seated.figures[one.figure])
        if (moved[one.figure] > 0) == (one.side == "upper"):  # the step eats the room
            if most is None or room < most:
                most, held_by = room, one.name
        elif -room > least:
            least, needed_by = -room, one.name
    missing = tuple(name for name in seated.unmeasured() if name in moved)
    return Allowance(step, least, most, needed_by, held_by, missing)


def allowances(seated: Seated) -> dict[Step, Allowance]:
    """Say for every step how much of it is left."""
    return {step: allowance(seated, step) for step in STEPS}


@dataclass(frozen=True, slots=True)
class Consequence:
    """What one step does.

    Attributes:
        moved_pm: figures that change, and by how much.
        figures_pm: every figure afterwards.
        load_change_n: of the spring at its installed height, N; None without spring or height.
        broken: limits that were kept and are no longer.
        mended: limits that were not kept and are now.
        left: what is left of every step afterwards.
    """

    moved_pm: Mapping[Figure, int]
    figures_pm: Mapping[Figure, int]
    load_change_n: Fraction | None
    broken: tuple[str, ...]
    mended: tuple[str, ...]
    left: Mapping[Step, Allowance]


def what_if(seated: Seated, step: Step, depth_pm: int, spring: Loads | None = None) -> Consequence:
    """Try one step and give everything that follows from it.

    >>> from gaugelink.metrology.springs import from_rate
    >>> now = Seated({"stand-down": 950_000_000, "installed spring height": 38_900_000_000},
    ...              bounds("stand-down", "stand-down", None, 1_100_000_000))
    >>> found = what_if(now, "cut seat", 200_000_000, from_rate(Fraction("32.5"), Fraction(48)))
    >>> found.moved_pm["stand-down"], float(found.load_change_n), found.broken
    (200000000, -6.5, ('stand-down max',))
    """
    then = seated.after(step, depth_pm)
    moved = {name: value - seated.figures[name] for name, value in then.figures.items()
             if value != seated.figures[name]}  # fmt: skip
    change = None
    if spring is not None and "installed spring height" in seated.figures:
        height = Fraction(seated.figures["installed spring height"], 10**9)
        change = spring.change(height, Fraction(moved.get("installed spring height", 0), 10**9))
    before, now = seated.beyond(), then.beyond()
    return Consequence(
        moved, dict(then.figures), change,
        tuple(name for name in now if name not in before),
        tuple(name for name in before if name not in now),
        allowances(then),
    )  # fmt: skip

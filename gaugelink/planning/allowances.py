"""How much can still come off or go under, and what one step does to every figure at once.

The bookkeeping of a valve in its seat, depths counted along the valve's axis:

* a cut or lapped seat, or a ground valve face, lets the valve drop: stand-down, tip height,
  installed spring height and the room from retainer to seal grow by the depth;
* a ground face takes as much off the margin, a ground tip off the tip height and the length;
* a skim of the fire face takes its depth off the stand-down and the head's thickness, and lets
  injectors and prechambers stand out as much further; it touches neither tip nor spring;
* shims take their thickness off the installed spring height.

Two figures stand for what valves have in common (`gaugelink.planning.ties`): the drop is
how far it has sunk since it was measured, whatever becomes of the face, and the chamber volume, in
cubic micrometres, grows by its head's area times that (`Seated.rates`).

A cut widens a seat by more or less than its depth: how much is a matter of the place
(`Seated.rates`).

Source: geometry. A layer n square to a seat at the angle a from the face is n / cos a deep.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import ceil, cos, radians
from typing import TYPE_CHECKING, Final, Literal, get_args

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gaugelink.metrology.springs import Loads
    from gaugelink.planning.bounds import Bound

Figure = Literal[
    "stand-down",
    "tip height",
    "installed spring height",
    "retainer-to-seal",
    "margin",
    "valve length",
    "seat width",
    "head thickness",
    "injector protrusion",
    "prechamber protrusion",
    "drop",
    "chamber volume",
]
Step = Literal["cut seat", "lap", "reface valve", "grind tip", "skim", "shim"]
FIGURES: Final[tuple[Figure, ...]] = get_args(Figure)
STEPS: Final[tuple[Step, ...]] = get_args(Step)
COMMON: Final[tuple[Figure, ...]] = ("drop", "chamber volume")
"""What a valve has in common with others; no reading of its own."""
HEIGHTS: Final[tuple[Figure, ...]] = FIGURES[:4]
"""Figures of a place that follow the valve as it drops."""
OF_VALVE: Final[tuple[Figure, ...]] = ("margin", "valve length")

_DROP: Final[dict[Figure, int]] = dict.fromkeys((*HEIGHTS, "drop"), 1)
EFFECT: Final[dict[Step, dict[Figure, int]]] = {
    "cut seat": _DROP,
    "lap": _DROP,
    "reface valve": {**_DROP, "margin": -1},
    "grind tip": {"tip height": -1, "valve length": -1},
    "skim": {"stand-down": -1, "head thickness": -1, "injector protrusion": 1,
             "prechamber protrusion": 1},
    "shim": {"installed spring height": -1},
}  # fmt: skip
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


@dataclass(frozen=True, slots=True)
class Seated:
    """A valve in its place: what was measured, and what holds it.

    Attributes:
        figures: picometres; a figure that was not measured is absent.
        held: bounds on them, guard bands taken off.
        most: the most of a step that book or machine allows, picometres; absent: no such limit.
        rates: what a figure of this place changes by for a depth of one, beside `EFFECT`.
    """

    figures: Mapping[Figure, int]
    held: Sequence[Bound]
    most: Mapping[Step, int] = field(default_factory=dict)
    rates: Mapping[Step, Mapping[Figure, Fraction]] = field(default_factory=dict)

    def moved(self, step: Step) -> Mapping[Figure, int | Fraction]:
        """Give what a step changes, and by how much for a depth of one."""
        return {**EFFECT[step], **self.rates.get(step, {})}

    def without(self, *names: Figure) -> Seated:
        """Give the same place without some figures and what holds them."""
        figures = {name: value for name, value in self.figures.items() if name not in names}
        held = tuple(one for one in self.held if one.figure not in names)
        return replace(self, figures=figures, held=held)

    def after(self, step: Step, depth_pm: int) -> Seated:
        """Give the same place after a step; what was used up comes off what is allowed.

        A new insert lifts the valve: a seat cut below 0. A change that is no whole picometre is
        rounded up, so that a seat counts as the wider.

        >>> def mm(text): return round(Fraction(text) * 10**9)
        >>> now = Seated({"stand-down": mm("0.95")}, ())
        >>> now = now.after("cut seat", mm("0.15")).after("reface valve", mm("0.05"))
        >>> now.after("skim", mm("0.10")).figures["stand-down"] / 1e9
        1.05
        """
        moved = self.moved(step)
        figures = {name: value + ceil(moved.get(name, 0) * depth_pm)
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

    >>> from gaugelink.planning.bounds import bounds
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
    moved = seated.moved(step)
    least, needed_by = 0, ""
    most, held_by = seated.most.get(step), ""
    if most is not None:
        held_by = f"most of this step ({step})"
    for one in seated.held:
        rate = moved.get(one.figure)
        if not rate or one.figure not in seated.figures:
            continue
        room = one.room_pm(seated.figures[one.figure])
        if (rate > 0) == (one.side == "upper"):  # the step eats the room
            if most is None or _within(rate, room) < most:
                most, held_by = _within(rate, room), one.name
        elif room < 0 and _reaching(rate, -room) > least:
            least, needed_by = _reaching(rate, -room), one.name
    missing = tuple(name for name in seated.unmeasured() if moved.get(name))
    return Allowance(step, least, most, needed_by, held_by, missing)


def _within(rate: int | Fraction, room: int) -> int:
    """Give the deepest step that eats no more than the room."""
    return int(room // abs(Fraction(rate)))


def _reaching(rate: int | Fraction, need: int) -> int:
    """Give the shallowest step that brings a need of 1 or more, fractions rounded up."""
    return int((need - 1) // abs(Fraction(rate))) + 1


def drop_ends(seated: Seated, names: Sequence[Figure]) -> tuple[int | None, int | None]:
    """Say how far the valve has to drop at least for some figures, and may drop at most.

    Below 0 it has to rise, or may. None where nothing holds it.

    >>> from gaugelink.planning.bounds import bounds
    >>> now = Seated({"stand-down": 950}, bounds("stand-down", "stand-down", 900, 1400))
    >>> drop_ends(now, ["stand-down"])
    (-50, 450)
    """
    moved = seated.moved("lap")
    low: list[int] = []
    high: list[int] = []
    for one in seated.held:
        if one.figure in names and one.figure in seated.figures and moved.get(one.figure):
            room = one.room_pm(seated.figures[one.figure])
            depth = _within(moved[one.figure], room)
            if one.side == "upper":
                high.append(depth)
            else:
                low.append(-depth)
    return max(low, default=None), min(high, default=None)


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
    >>> from gaugelink.planning.bounds import bounds
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

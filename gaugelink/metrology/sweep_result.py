"""What comes out of a rock sweep: the ends, what is wrong, and the travel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from fractions import Fraction

Side = Literal["high", "low"]

FlagCode = Literal[
    "no movement",
    "too few rocks",
    "short end",
    "slip",
    "spread",
    "frozen",
    "clipped",
    "unit change",
    "time",
    "gap",
    "coarse",
    "spikes",
]


class Plateau(NamedTuple):
    """One end of the rock: the stem resting at (or near) a wall.

    Attributes:
        start: index of the first reading of the rest, in the arrays given.
        end: index of its last reading, included.
        level_pm: level of the settled part, a whole or half picometre.
        side: high or low as the gauge counts.
        used: whether it counts in the travel.
        why: what was found, in words; for one left out, the reason.
    """

    start: int
    end: int
    level_pm: Fraction
    side: Side
    used: bool
    why: str


@dataclass(frozen=True, slots=True)
class Flag:
    """Something to know about a sweep.

    Attributes:
        code: a short name that does not change.
        text: a sentence that says what was seen and what to do.
        spoils: whether the travel must not be used.
    """

    code: FlagCode
    text: str
    spoils: bool


@dataclass(frozen=True, slots=True)
class Sweep:
    """The travel of a rock sweep, and what it rests on.

    Attributes:
        travel_pm: from wall to wall; 0 where no travel could be found (`usable` is then False).
        travel_u_pm: its standard uncertainty: scatter of the ends, display step and instrument.
        upper_pm: what the fuller ends agree on, at least `travel_pm`. A hand that stops short
            makes a travel too small, never too large; an upper figure well above the travel says
            that this happened.
        full_rocks: how often the stem was brought to both walls.
        step_pm: the display step used.
        plateaus: every end, in order of time.
        flags: what is wrong or worth knowing.
    """

    travel_pm: int
    travel_u_pm: int
    upper_pm: int
    full_rocks: int
    step_pm: int
    plateaus: tuple[Plateau, ...]
    flags: tuple[Flag, ...]

    @property
    def usable(self) -> bool:
        """Whether nothing that spoils the travel was found."""
        return not any(flag.spoils for flag in self.flags)

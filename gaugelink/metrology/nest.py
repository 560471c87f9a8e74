"""Springs nested in one another on one valve: their loads add, and the first to go solid counts.

The height of a nest is taken at one place, such as from the outer spring's seat to its side of the
retainer. A step of seat or retainer makes another spring shorter, or longer, by always the same.
Clearance between the coils is out of scope, as is which way they are wound: measure, and look.

Source: geometry; springs side by side carry the sum of their loads (definition).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from gaugelink.metrology.springs import bind_margin

if TYPE_CHECKING:
    from gaugelink.metrology.springs import Loads


@dataclass(frozen=True, slots=True)
class Member:
    """One spring of a nest.

    Attributes:
        name: what it is called, such as ``inner``.
        loads: what it carries at its own heights.
        step_mm: how much shorter than the nest it stands; below 0 where it stands longer.
        solid_mm: its own height with all coils touching; None where nobody knows it.
    """

    name: str
    loads: Loads
    step_mm: Fraction = Fraction(0)
    solid_mm: Fraction | None = None

    def height(self, nest_mm: Fraction) -> Fraction:
        """Give its own height where the nest has this one, mm."""
        return nest_mm - self.step_mm

    def load(self, nest_mm: Fraction) -> Fraction:
        """Give what it carries where the nest has this height, N."""
        return self.loads.load(self.height(nest_mm))

    def rate(self, nest_mm: Fraction) -> Fraction:
        """Give its rate there, N/mm; 0 where it is loose."""
        return self.loads.rate_at(self.height(nest_mm))

    def margin(self, nest_mm: Fraction, lift_mm: Fraction) -> Fraction | None:
        """Give its own room before the coils touch at full lift, mm; None: solid is not known."""
        if self.solid_mm is None:
            return None
        return bind_margin(self.height(nest_mm), lift_mm, self.solid_mm)


@dataclass(frozen=True, slots=True)
class Room:
    """The room of a nest before coils touch.

    Attributes:
        margin_mm: the least of its springs'.
        names: whose it is; more than one where they are equal, in the order of the alphabet.
    """

    margin_mm: Fraction
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Nest:
    """The springs of one valve, one or more; their order means nothing.

    >>> from gaugelink.metrology.springs import from_rate
    >>> outer = Member("outer", from_rate(Fraction(20), Fraction(50)), solid_mm=Fraction(26))
    >>> inner = Member("inner", from_rate(Fraction(10), Fraction(45)), Fraction(2), Fraction(25))
    >>> nest = Nest((outer, inner))
    >>> float(nest.load(Fraction(40)))  # 20 (50 - 40) + 10 (45 - 38)
    270.0
    >>> nest.room(Fraction(40), Fraction(10))  # inner: 38 - 10 - 25; outer: 40 - 10 - 26
    Room(margin_mm=Fraction(3, 1), names=('inner',))
    """

    members: tuple[Member, ...]

    def __post_init__(self) -> None:
        if not self.members:
            raise ValueError("found no spring, needed: one or more")
        names = [member.name for member in self.members]
        if len(set(names)) < len(names):
            raise ValueError("found two springs of one name, needed: each its own")

    @property
    def free_mm(self) -> Fraction:
        """The height of the nest at which the first of its springs begins to carry."""
        return max(member.loads.free_mm + member.step_mm for member in self.members)

    @property
    def solid_mm(self) -> Fraction | None:
        """The height of the nest at which the first goes solid; None unless all are known."""
        heights = [
            member.solid_mm + member.step_mm
            for member in self.members
            if member.solid_mm is not None
        ]
        return max(heights) if len(heights) == len(self.members) else None

    def load(self, height_mm: Fraction) -> Fraction:
        """Give the sum of the loads at a height of the nest, N."""
        return sum((member.load(height_mm) for member in self.members), start=Fraction(0))

    def rate(self, height_mm: Fraction) -> Fraction:
        """Give the joint rate at a height, N/mm: of the springs that carry there."""
        return sum((member.rate(height_mm) for member in self.members), start=Fraction(0))

    def change(self, height_mm: Fraction, by_mm: Fraction) -> Fraction:
        """Give what the sum changes by when the installed height grows, N."""
        return self.load(height_mm + by_mm) - self.load(height_mm)

    def room(self, installed_mm: Fraction, lift_mm: Fraction) -> Room | None:
        """Give the room before the first coils touch at full lift, and whose it is.

        Returns:
            None unless every spring's solid height is known: the least of some says nothing.
        """
        margins = {}
        for member in self.members:
            margin = member.margin(installed_mm, lift_mm)
            if margin is None:
                return None
            margins[member.name] = margin
        least = min(margins.values())
        return Room(least, tuple(sorted(name for name, one in margins.items() if one == least)))

"""A figure with its uncertainty and its limits, whatever its unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gaugelink.metrology.springs import load_verdict

if TYPE_CHECKING:
    from fractions import Fraction

    from gaugelink.metrology.conformity import VerdictWord

Unit = Literal["mm", "cm3", "N", ""]


@dataclass(frozen=True, slots=True)
class Amount:
    """A figure in its own unit.

    Attributes:
        name: such as ``compression ratio of cylinder 2``.
        unit: ``mm``, ``cm3``, ``N``, or empty for a ratio.
        value: now.
        u: standard uncertainty.
        lower, upper: its limits; None: none.
    """

    name: str
    unit: Unit
    value: Fraction
    u: Fraction
    lower: Fraction | None
    upper: Fraction | None

    @property
    def verdict(self) -> VerdictWord | None:
        """The figure against its limits; None where it has none.

        >>> from fractions import Fraction
        >>> one = Amount("seat runout", "mm", Fraction(7, 100), Fraction(0), None, Fraction(5, 100))
        >>> one.verdict
        'outside'
        """
        if self.lower is None and self.upper is None:
            return None
        return load_verdict(self.value, self.u, self.lower, self.upper)

    def broken(self) -> tuple[str, ...]:
        """Name the ends of its limits that are not surely kept, such as ``seat runout max``."""
        name = self.name.partition(",")[0]
        ends = (("min", self.lower, None), ("max", None, self.upper))
        return tuple(f"{name} {end}" for end, low, high in ends
                     if (low is not None or high is not None)
                     and load_verdict(self.value, self.u, low, high) != "within")  # fmt: skip


def shown(amount: Amount, value: Fraction | None = None) -> str:
    """Write a figure as people read it.

    Args:
        amount: the figure.
        value: another value of it, such as its limit; None: its own.

    >>> from fractions import Fraction
    >>> shown(Amount("compression ratio of cylinder 2", "", Fraction(1749, 100), Fraction(0),
    ...              Fraction(17), None))
    '17.49'
    """
    at = float(amount.value if value is None else value)
    places = {"mm": 3, "cm3": 2, "N": 1, "": 2}[amount.unit]
    return f"{at:.{places}f} {amount.unit}".rstrip()

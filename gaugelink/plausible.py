"""Plausible limits: what orders of magnitude a book's figures have, to find misprints.

Printed limits are now and then ten times off, or in the other unit. Where the book prints both
units the two are held against each other; where it prints one, only experience helps. The ranges
below are orders of magnitude for engines from motorcycles to ships' auxiliaries (common practice,
no source). They judge no part: a figure outside is a reason to look at the book once more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER_UM, exact_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.limits import Limit


@dataclass(frozen=True, slots=True)
class Usual:
    """What limits of one kind look like, micrometres, ends included.

    Attributes:
        low: range of the lower bounds, new and service.
        high: range of the upper bounds; None: as the lower ones.
        apart: the most that the outermost bounds of one limit are apart; None: not said.
    """

    low: tuple[int, int]
    high: tuple[int, int] | None = None
    apart: int | None = None

    def of(self, key: str) -> tuple[int, int]:
        """Give the range for a bound by its key, for example ``service_max``."""
        return self.low if key.endswith("_min") or self.high is None else self.high


USUAL: Final[dict[str, Usual]] = {
    "stem diameter": Usual((3_500, 30_000), apart=500),
    "guide bore": Usual((3_500, 30_000), apart=500),
    "guide clearance, direct": Usual((5, 300), (20, 600)),
    "guide clearance, rock": Usual((10, 600), (40, 2_000)),
    "stem runout": Usual((1, 50), (5, 250)),
    "valve face runout": Usual((1, 50), (10, 250)),
    "seat runout": Usual((1, 50), (10, 250)),
    "stand-down": Usual((-5_000, 8_000), apart=4_000),
    "guide projection": Usual((1_000, 100_000), apart=5_000),
    "tip height": Usual((3_000, 200_000), apart=10_000),
    "installed spring height": Usual((15_000, 250_000), apart=10_000),
    "retainer-to-seal": Usual((300, 15_000), apart=10_000),
    "spring free length": Usual((15_000, 300_000), apart=15_000),
    "spring squareness": Usual((1, 1_000), (200, 6_000)),
    "valve length": Usual((40_000, 600_000), apart=5_000),
    "margin": Usual((200, 8_000), (500, 10_000)),
    "seat width": Usual((300, 12_000), (500, 15_000)),
    "head thickness": Usual((40_000, 500_000), apart=5_000),
    "injector protrusion": Usual((-3_000, 12_000), apart=4_000),
    "prechamber protrusion": Usual((-1_000, 3_000), apart=1_500),
    "face height": Usual((-2_000, 2_000)),
    "head-face flatness": Usual((1, 100), (10, 600)),
}
"""By characteristic, and for guide clearance by method; common practice, no source."""


def doubts(limit: Limit) -> Iterator[InputError]:
    """Go through what is unusual about a limit: field and words, without file and line.

    A clearance printed as 0.015 mm where 0.152 mm is meant (US Army TM 9-4310-397-14, p. 294):

    >>> from gaugelink.limits import Bound, Limit
    >>> from gaugelink.quantity import parse_length
    >>> printed = parse_length("0.015 mm")
    >>> bounds = {"service_max": Bound((printed,), printed.pm)}
    >>> limit = Limit("guide clearance", (), (), (), (), "each", bounds, "", 1, "direct")
    >>> [doubt.what for doubt in doubts(limit)]
    ['found 0.015 mm, usual for guide clearance, direct: 0.02 to 0.6 mm; see its decimal sign and unit in the book']
    """  # noqa: E501  one sentence
    if limit.judge == "range":
        return  # a difference of readings has another magnitude than the readings
    name = f"{limit.characteristic}, {limit.method}" if limit.method else limit.characteristic
    usual = USUAL[name]
    found = False
    for key, bound in limit.bounds.items():
        low, high = (um * PM_PER_UM for um in usual.of(key))
        for printed in bound.printed:
            if not low <= printed.pm <= high:
                found = True
                yield InputError(
                    f"found {printed}, usual for {name}: {_mm(low)} to {_mm(high)} mm; see its "
                    "decimal sign and unit in the book",
                    field=key,
                )
    sizes = [bound.pm for bound in limit.bounds.values()]
    if not found and usual.apart is not None and sizes:
        apart = max(sizes) - min(sizes)
        if apart > usual.apart * PM_PER_UM:
            first, last = next(iter(limit.bounds)), list(limit.bounds)[-1]
            yield InputError(
                f"found {first} and {last} {_mm(apart)} mm apart, usual for {name}: at most "
                f"{_mm(usual.apart * PM_PER_UM)} mm; look at both in the book",
                field=last,
            )


def _mm(pm: int) -> str:
    return exact_text(pm, "mm", most_places=4)

"""What a plan has to know: what was measured, what is allowed, what the shop offers at what price.

Lengths are whole picometres, loads exact newtons, prices whole cents (hundredths of the currency).
Nothing here decides anything.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal, get_args

if TYPE_CHECKING:
    from collections.abc import Mapping
    from fractions import Fraction

    from gaugelink.metrology.springs import Loads
    from gaugelink.planning.chamber import Chamber
    from gaugelink.work import Operation

Deed = Literal[
    "replace guide",
    "ream guide",
    "replace valve",
    "move valve",
    "reface valve",
    "grind tip",
    "fit insert",
    "cut seat",
    "skim",
    "lap",
    "replace spring",
    "shim",
]
DEEDS: Final[tuple[Deed, ...]] = get_args(Deed)
"""In the order of the trade: guides, valves, seats, face, lap, springs."""

DONE: Final[dict[Deed, Operation]] = {
    "replace guide": "guide replaced",
    "ream guide": "guide reamed",
    "replace valve": "valve replaced",
    "move valve": "valve moved",
    "reface valve": "valve refaced",
    "grind tip": "tip ground",
    "fit insert": "insert fitted",
    "cut seat": "seat cut",
    "skim": "face skimmed",
    "lap": "seat lapped",
    "replace spring": "spring changed",
    "shim": "shim changed",
}
"""What a step of a plan is called once it is done."""

WITH_DEPTH: Final[frozenset[Deed]] = frozenset(
    ("reface valve", "grind tip", "fit insert", "cut seat", "skim")
)
"""Those that take off a depth between a least and a most. An insert's most is how far it may lift
the valve above where it sits now, before it is cut to its place."""

SPRING_LOAD: Final = "spring load"
"""What a plan calls it beside the characteristics; a load is no length, and never a reading."""

Span = tuple[int, int]
"""Smallest and largest, picometres."""


FITS: Final[Mapping[Deed, str]] = {
    "replace guide": "guide", "replace valve": "valve", "fit insert": "insert",
    "replace spring": "spring",
}  # fmt: skip
"""The part that a step fits."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A step that the shop offers.

    Attributes:
        cents: for doing it once.
        least_pm: the least depth that the machine takes; of lapping, what it takes.
        most_pm: the most.
    """

    cents: int
    least_pm: int = 0
    most_pm: int = 0


@dataclass(frozen=True, slots=True)
class Oversize:
    """A guide reamed wider, with the valve whose stem is made for it."""

    name: str
    kind: str
    bore: Span
    stem: Span
    valve_cents: int


@dataclass(frozen=True, slots=True)
class Shim:
    """A shim in stock, as often as needed."""

    thickness_pm: int
    cents: int


@dataclass(frozen=True, slots=True)
class Shop:
    """What is offered; a step that is absent is not.

    Attributes:
        currency: of all prices.
        offers: steps, without those that have no price.
        parts: prices by kind of valve and part; absent: it costs nothing.
        oversizes: sizes that guides are reamed to.
        shims: those in stock.
        most_shims_pm: the thickest stack under one spring; None: any.
        no_price: parts that have none, by kind; steps that need one are not offered at that kind.
        unpriced: all that is left out for want of a price, in words.
    """

    currency: str
    offers: Mapping[Deed, Offer]
    parts: Mapping[tuple[str, str], int] = field(default_factory=dict)
    oversizes: tuple[Oversize, ...] = ()
    shims: tuple[Shim, ...] = ()
    most_shims_pm: int | None = None
    no_price: frozenset[tuple[str, str]] = frozenset()
    unpriced: tuple[str, ...] = ()

    def offered(self, kind: str) -> Mapping[Deed, Offer]:
        """Give the steps that are offered at a kind of valve: those whose part has a price.

        >>> shop = Shop("EUR", {"replace guide": Offer(900), "lap": Offer(200)},
        ...             no_price=frozenset({("intake", "guide")}))
        >>> [*shop.offered("exhaust")], [*shop.offered("intake")]
        (['replace guide', 'lap'], ['lap'])
        """
        return {deed: offer for deed, offer in self.offers.items()
                if (kind, FITS.get(deed)) not in self.no_price}  # fmt: skip

    def part(self, kind: str, name: str) -> int:
        """Give the price of a part of a kind of valve, 0 where the file has none."""
        return self.parts.get((kind, name), 0)


@dataclass(frozen=True, slots=True)
class Range:
    """What the book allows; an end that is None is not limited."""

    lower: int | None = None
    upper: int | None = None


@dataclass(frozen=True, slots=True)
class Rules:
    """What holds for one kind of valve.

    Attributes:
        limits: by characteristic, picometres.
        u_pm: standard uncertainty by characteristic, picometres; absent: 0.
        new_stem, new_bore: smallest and largest size of new parts; None: not known, so that no new
            part can be planned.
        spring: a new spring, for limits of load.
        load: smallest and largest load at the installed height, N.
        tested_at_pm: the height at which `Place.spring_load_n` was taken.
        u_load_n: standard uncertainty of that load.
        lift_pm, solid_pm, bind_least_pm: for the coils; all three or none.
        width_per_cut: by how much a seat gets wider for a depth of one; None: a seat that is cut
            is brought to its width by its top and throat cuts, and holds no depth.
        spread_pm: how far the stand-down of two valves of the kind may lie apart.
        head_area_mm2: of a valve's head; None: not known, and then it moves no chamber's volume.
    """

    limits: Mapping[str, Range] = field(default_factory=dict)
    u_pm: Mapping[str, int] = field(default_factory=dict)
    new_stem: Span | None = None
    new_bore: Span | None = None
    spring: Loads | None = None
    load: tuple[Fraction | None, Fraction | None] = (None, None)
    tested_at_pm: int | None = None
    u_load_n: Fraction | None = None
    lift_pm: int | None = None
    solid_pm: int | None = None
    bind_least_pm: int | None = None
    width_per_cut: Fraction | None = None
    spread_pm: int | None = None
    head_area_mm2: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """A valve's place in the head, and the valve that sits in it; None: not measured.

    Attributes:
        name: such as ``3E``.
        kind: valves change places within their kind only.
        stem, bore: smallest and largest reading.
        readings: by characteristic: stand-down, tip height, installed spring height, margin, valve
            length, valve face runout, seat runout, seat width, spring free length;
            retainer-to-seal is the room left at full lift.
        spring_load_n: of its spring at the test height.
        drop_pm: how much deeper this valve sits than a new one would.
        seat_least_pm: at least so much of the seat has to go once it is cut, until it is clean.
        face_least_pm: the same of the valve's face.
        scrap: why the valve cannot be used any longer; empty: it can.
        guide_scrap, spring_scrap: the same of guide and spring as they are.
        seat_scrap: why the seat cannot stay as it is; it is cut, or gets an insert.
        open: limits of the used valve, guide or spring that nobody has measured, by part.
        married: it was lapped into its seat and stays there.
    """

    name: str
    kind: str
    stem: Span | None = None
    bore: Span | None = None
    readings: Mapping[str, int] = field(default_factory=dict)
    spring_load_n: Fraction | None = None
    drop_pm: int = 0
    seat_least_pm: int = 0
    face_least_pm: int = 0
    scrap: str = ""
    married: bool = False
    guide_scrap: str = ""
    spring_scrap: str = ""
    open: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    seat_scrap: str = ""


@dataclass(frozen=True, slots=True)
class Cylinder:
    """What was measured at one cylinder beside its valves; None: not measured.

    Attributes:
        name: such as ``cylinder 2``.
        valves: names of its places.
        readings: injector protrusion and prechamber protrusion, picometres.
        volume: of its chamber, valves as they were measured, cubic micrometres.
        filled: whether that was measured by filling it, and not reckoned.
        u: its standard uncertainty, cubic micrometres; None: that of all chambers.
    """

    name: str
    valves: tuple[str, ...] = ()
    readings: Mapping[str, int] = field(default_factory=dict)
    volume: int | None = None
    filled: bool = False
    u: int | None = None


@dataclass(frozen=True, slots=True)
class Task:
    """A head to be planned.

    Attributes:
        pairing: whether the maker lets valves change places.
        springs_as_set: one new spring asks for all.
        thickness_pm, flatness_pm: readings of the head; None: not measured.
        clean_up_pm: a skim takes off at least this much.
        head: limits of head thickness and head-face flatness, and of injector and prechamber
            protrusion at every cylinder.
        u_pm: standard uncertainties of these.
        cylinders: what was measured at them.
        measured: the characteristics that the job measures; others are not asked for again. None:
            whatever the work makes stale.
        chamber: what the book says of the chambers; None: nothing.
        face_scrap: why the face cannot stay as it is; it is skimmed.
        cracked: what the crack test of the head found; empty: nothing is known of a crack.
    """

    name: str
    places: tuple[Place, ...]
    rules: Mapping[str, Rules]
    shop: Shop
    pairing: bool = False
    springs_as_set: bool = False
    thickness_pm: int | None = None
    flatness_pm: int | None = None
    clean_up_pm: int = 0
    head: Mapping[str, Range] = field(default_factory=dict)
    u_pm: Mapping[str, int] = field(default_factory=dict)
    cylinders: tuple[Cylinder, ...] = ()
    measured: frozenset[str] | None = None
    chamber: Chamber | None = None
    face_scrap: str = ""
    cracked: str = ""

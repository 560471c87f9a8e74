"""What a work order is made of: lines, parts, shims, and what is measured again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

from gaugelink.planning.setting import Setting, readable
from gaugelink.planning.task import Range
from gaugelink.quantity import exact_text, rounded_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from gaugelink.planning.task import Deed
    from gaugelink.work import Operation

Section = Literal["guides", "valves", "seats", "face", "lapping", "springs"]

FACE: Final = ""
"""In the place of a valve: the head's face, or the head as a whole."""

NO_LIMIT: Final = Range()


@dataclass(frozen=True, slots=True)
class Expected:
    """What should be measured; lengths in picometres.

    Attributes:
        figure: a characteristic; of a cylinder with its name before it.
        least_pm, most_pm: between which it should lie, the same twice where one figure is
            foretold, None where only the limit is known.
        limit: what the book allows in the end.
        settled: whether nothing later in the order changes it, so that the limit holds already.
    """

    figure: str
    least_pm: int | None
    most_pm: int | None
    limit: Range = NO_LIMIT
    settled: bool = True

    @property
    def words(self) -> str:
        """The figure as it is read at the bench.

        >>> Expected("stand-down", 1_050_000_000, 1_050_000_000, Range(900_000_000, None)).words
        'stand-down 1.050 mm (limit 0.9 mm at least)'
        """
        told = self.figure
        if self.least_pm is not None and self.most_pm is not None:
            told += f" {_mm(self.least_pm)}"
            if self.most_pm != self.least_pm:
                told += f" to {_mm(self.most_pm)}"
            told += " mm"
        if not self.settled:
            return f"{told} (later work changes it)"
        return f"{told} (limit {limit_words(self.limit)})" if self.limit != NO_LIMIT else told


@dataclass(frozen=True, slots=True)
class WorkLine:
    """One line of the order: one operation at one place.

    Attributes:
        number: counts from 1.
        section: part of the order, in the order of the trade.
        deed: the step of the plan.
        operation: what it is called once it is done (`gaugelink.work`).
        place: the valve, `FACE` for the head's face.
        words: what to do.
        setting: the depth along the valve's axis, of an insert how much higher than now the valve
            then sits; None where the step has no depth.
        about_pm: what lapping takes, or shims add; None for the others.
        expected: what should be measured afterwards.
        part, quantity: what is fitted; empty and 0 where nothing is.
        caution: what can hurt somebody or spoil the part; empty where nothing is known.
        why: limits that it is done for; empty where it only goes with other steps.
    """

    number: int
    section: Section
    deed: Deed
    operation: Operation
    place: str
    words: str
    setting: Setting | None = None
    about_pm: int | None = None
    expected: tuple[Expected, ...] = ()
    part: str = ""
    quantity: int = 0
    caution: str = ""
    why: str = ""

    @property
    def valves(self) -> tuple[str, ...]:
        """The valves as work that is done names them; none where it is the whole head."""
        return (self.place,) if self.place else ()

    @property
    def depth(self) -> str:
        """The depth as work that is done tells it, with its unit; empty where there is none."""
        return f"{exact_text(self.setting.pm, 'mm')} mm" if self.setting else ""


@dataclass(frozen=True, slots=True)
class PartLine:
    """A part to have ready; ``kind`` is empty for shims, ``cents_each`` 0 without a price."""

    part: str
    kind: str
    quantity: int
    places: tuple[str, ...]
    cents_each: int
    note: str = ""


@dataclass(frozen=True, slots=True)
class ShimLine:
    """Shims under one spring, thickest first, and the installed height that they should leave."""

    place: str
    pieces_pm: tuple[int, ...]
    height: Expected | None


@dataclass(frozen=True, slots=True)
class Again:
    """What has to be measured again, because of which operation, and what should be found.

    Attributes:
        place: a valve, a cylinder, or `FACE` for the head.
        expected: what should be found.
        because: the first operation that makes the old reading stale.
        before_seats: whether it is measured once the guides are done, before any seat work.
    """

    place: str
    expected: Expected
    because: Operation
    before_seats: bool = False

    @property
    def characteristic(self) -> str:
        """What is measured."""
        return self.expected.figure


@dataclass(frozen=True, slots=True)
class WorkOrder:
    """All that a bench needs to carry out a plan.

    Attributes:
        name: of the head, as the job has it.
        currency, cents, optimal, gap: as the plan has them.
        lines: in the order of the trade.
        parts: what to have ready.
        shims: by valve.
        remeasure: in the order that walks the head least, what comes before the seats first.
        missing: readings that the plan leans on and nobody has taken: ``(place, what)``.
        untouched: valves without work, nothing missing at them either.
        cautions: the maker's word first, then one for each kind of work in the order.
        barred: what stands against the head whatever is done by the order.
        unpriced: what is left out for want of a price.
        at_least: whether it will cost more: readings are missing, or seals have no price.
    """

    name: str
    currency: str
    cents: int
    optimal: bool
    gap: float
    lines: tuple[WorkLine, ...]
    parts: tuple[PartLine, ...]
    shims: tuple[ShimLine, ...]
    remeasure: tuple[Again, ...]
    missing: tuple[tuple[str, str], ...]
    untouched: tuple[str, ...]
    cautions: tuple[str, ...]
    barred: tuple[str, ...] = ()
    unpriced: tuple[str, ...] = ()
    at_least: bool = False

    @property
    def cost(self) -> str:
        """What it costs, in words."""
        least = "at least " if self.at_least else ""
        return f"{least}{self.cents / 100:.2f} {self.currency}"

    @property
    def standing(self) -> str:
        """How good the plan is, in words."""
        told = "Proved: no plan is cheaper at these prices."
        if not self.optimal:
            told = (f"Not proved the cheapest: a better plan might save up to "
                    f"{100 * self.gap:.1f} %.")  # fmt: skip
        if self.missing:
            told += " A partial plan: readings are missing, and the work may grow."
        elif self.unpriced:
            told += " A partial plan: prices are missing."
        if self.barred:
            told += " It does not release the head."
        return told

    def as_document(self) -> dict[str, Any]:
        """Write the order as JSON takes it, lengths in millimetres."""
        return {
            "name": self.name, "cost": self.cents / 100, "currency": self.currency,
            "optimal": self.optimal, "gap": self.gap,
            "cost_words": self.cost, "standing": self.standing,
            "lines": [_line_document(line) for line in self.lines],
            "parts": [{"part": one.part, "kind": one.kind, "quantity": one.quantity,
                       "valves": list(one.places), "each": one.cents_each / 100,
                       "note": one.note} for one in self.parts],
            "shims": [{"valve": one.place, "pieces_mm": [pm / 1e9 for pm in one.pieces_pm],
                       "height": _expected_document(one.height) if one.height else None}
                      for one in self.shims],
            "remeasure": [{"valve": one.place, "because": one.because,
                           "before_seats": one.before_seats,
                           **_expected_document(one.expected)} for one in self.remeasure],
            "missing": [{"valve": place, "reading": what} for place, what in self.missing],
            "untouched": list(self.untouched),
            "cautions": list(self.cautions), "barred": list(self.barred),
            "unpriced": list(self.unpriced),
        }  # fmt: skip


def limit_words(limit: Range) -> str:
    """Say a limit.

    >>> limit_words(Range(900_000_000, 1_400_000_000)), limit_words(Range(None, 50_000_000))
    ('0.9 to 1.4 mm', '0.05 mm at most')
    """
    low, high = (None if pm is None else exact_text(pm, "mm") for pm in (limit.lower, limit.upper))
    if low is not None and high is not None:
        return f"{low} to {high} mm"
    return f"{low} mm at least" if low is not None else f"{high} mm at most" if high else ""


def _mm(pm: int) -> str:
    return rounded_text(pm, "mm", 3)


def _range_document(limit: Range) -> dict[str, float | None]:
    return {"min_mm": None if limit.lower is None else limit.lower / 1e9,
            "max_mm": None if limit.upper is None else limit.upper / 1e9}  # fmt: skip


def _expected_document(one: Expected) -> dict[str, Any]:
    return {
        "characteristic": one.figure,
        "least_mm": None if one.least_pm is None else one.least_pm / 1e9,
        "most_mm": None if one.most_pm is None else one.most_pm / 1e9,
        "limit": _range_document(one.limit), "settled": one.settled, "words": one.words,
    }  # fmt: skip


def _line_document(line: WorkLine) -> dict[str, Any]:
    depth, least, most = (None, None, None) if line.setting is None else (
        pm / 1e9 for pm in readable(line.setting))  # fmt: skip
    return {
        "number": line.number, "section": line.section, "step": line.deed,
        "operation": line.operation, "valves": list(line.valves), "words": line.words,
        "depth": line.depth, "depth_mm": depth, "least_mm": least, "most_mm": most,
        "about_mm": None if line.about_pm is None else line.about_pm / 1e9,
        "expected": [_expected_document(one) for one in line.expected],
        "part": line.part, "quantity": line.quantity, "caution": line.caution, "why": line.why,
    }  # fmt: skip


def told(expected: Iterable[Expected]) -> str:
    """Put what should be measured into one text.

    >>> told([Expected("margin", 1, 2), Expected("seat width", None, None, Range(None, 10**9))])
    'margin 0.000 to 0.000 mm; seat width (limit 1 mm at most)'
    """
    return "; ".join(one.words for one in expected)


def sections(lines: Sequence[WorkLine]) -> Mapping[Section, list[WorkLine]]:
    """Part the lines by section; sections without work are absent."""
    found: dict[Section, list[WorkLine]] = {}
    for line in lines:
        found.setdefault(line.section, []).append(line)
    return found

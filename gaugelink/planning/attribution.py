"""Attribute every guide clearance of a head that is over its limit, from what was measured.

Which way there is to tell depends on what was measured (`gaugelink.planning.fault` has the
arithmetic): the sizes of stem and bore for a clearance that is bore less stem; the same clearance
with the own and with a new valve; or, where the limit is for a new valve, that clearance alone: it
is over with a new valve in it, so the guide is at fault. Where there is none, what is missing is
said. A clearance that is too tight is nobody's wear and not looked at.
A rock that the bore readings cannot explain speaks against an answer from sizes
(`gaugelink.planning.rocked`).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.metrology.conformity import probability_within, verdict
from gaugelink.metrology.rock import factor
from gaugelink.planning.fault import (
    Attributed,
    NewParts,
    Size,
    attribute,
    attribute_by_new_valve,
)
from gaugelink.planning.rocked import printed, rocked
from gaugelink.quantity import micrometres_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gaugelink.judging import Judged, Measured
    from gaugelink.limits import Limit, Sheet
    from gaugelink.planning.fault import Fault

By = Literal["", "sizes", "own and new valve", "new valve"]

HELPS: Final[dict[Fault, str]] = {
    "none": "it needs no new part",
    "valve": "a new valve alone brings it within",
    "guide": "a new guide alone brings it within",
    "either": "a new valve or a new guide brings it within, one of them is enough",
    "both": "it needs a new valve and a new guide, one of them is not enough",
}
"""What each answer means for the work."""

_NEW: Final = (("stem diameter", "new_min"), ("guide bore", "new_max"))
"""Where a sheet prints the loosest new parts."""

# Pages ask again at every reading; what has not changed is not integrated anew.
_by_sizes = lru_cache(maxsize=512)(attribute)
_by_valves = lru_cache(maxsize=512)(attribute_by_new_valve)


@dataclass(frozen=True, slots=True)
class Finding:
    """Whose fault one clearance is.

    Attributes:
        judged: the verdict on the clearance.
        by: how it was told; empty where it cannot be.
        answer: the answer with its probabilities; None where it cannot be told.
        missing: what is missing to tell it, or to be sure of it.
    """

    judged: Judged
    by: By = ""
    answer: Attributed | None = None
    missing: tuple[str, ...] = ()

    @property
    def if_over(self) -> tuple[Fault, float] | None:
        """The most probable answer if the clearance is over its limit, with its probability."""
        if self.answer is None or self.answer.over <= 0:
            return None
        given = {word: p for word, p in self.answer.probabilities.items() if word != "none"}
        word = max(given, key=lambda one: given[one])
        return word, min(1.0, given[word] / self.answer.over)

    @property
    def sure(self) -> bool:
        """Whether to act on the answer."""
        return self.answer is not None and self.answer.sure and not self.missing

    @property
    def words(self) -> str:
        """The answer in words, without doubts and what is missing."""
        if self.answer is None:
            return "cannot be told"
        share = percent(self.answer.right)
        if self.answer.word == "none" and self.if_over is not None:
            word, right = self.if_over
            return f"more likely within ({share}); if it is over, {HELPS[word]} ({percent(right)})"
        return f"{self.answer.word} {share}: {HELPS[self.answer.word]}"

    @property
    def remarks(self) -> tuple[str, ...]:
        """What else has to be said: doubts, and what is missing."""
        doubts = self.answer.doubts if self.answer else ()
        return (*doubts, *(f"missing: {one}" for one in self.missing))


def percent(probability: float) -> str:
    """Write a probability for reading; never as certain.

    >>> percent(0.974), percent(0.9999), percent(0.0004)
    ('97 %', 'over 99 %', 'under 1 %')
    """
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"


def attributions(
    sheet: Sheet, measured: Iterable[Measured], judged: Iterable[Judged]
) -> list[Finding]:
    """Attribute the clearances that are over their limit, or may be.

    Args:
        sheet: the limits, with the sizes of new parts.
        measured: everything that was measured, as it was judged.
        judged: the verdicts on it.

    Returns:
        One for each verdict on a guide clearance that does not keep its guard band below the upper
        limit, in the order of the verdicts.
    """
    rows: dict[str, list[Measured]] = {}
    for row in measured:
        rows.setdefault(row.valve, []).append(row)
    limits = {limit.line: limit for limit in (*sheet.limits, *sheet.oversizes)}
    return [
        _One(sheet, limits[item.line], item, rows.get(item.valve, [])).find()
        for item in judged
        if item.characteristic == "guide clearance"
        and item.upper_pm is not None
        and verdict(item.value_pm, item.u_pm, None, item.upper_pm) != "within"
    ]


@dataclass(frozen=True, slots=True)
class _One:
    """One clearance with everything that was measured on its valve."""

    sheet: Sheet
    limit: Limit
    item: Judged
    rows: Sequence[Measured]

    def find(self) -> Finding:
        lacks = (", ".join(self.item.missing),) if self.item.missing else ()
        used = [row for row in self.rows if row.place in self.item.places]
        pairs = self._pairs()
        if self.limit.valve_used != "new" and pairs:
            return self._by_pairs(pairs, lacks)
        ready = [row for row in used if row.characteristic == "guide clearance"]
        if any(not self._fits(row) for row in ready):
            return Finding(self.item, missing=(f"a {self._name} as the limit is for",))
        if ready and all(self._valve_of(row) == "new" for row in ready):
            return self._by_new_valve(lacks)
        if self.limit.method == "direct" and not ready:
            return self._by_size(used, lacks)
        return Finding(self.item, missing=(*lacks, f"the same {self._name} with a new valve"))

    @property
    def _name(self) -> str:
        return "rock" if self.limit.method == "rock" else "clearance"

    @property
    def _upper_pm(self) -> int:
        assert self.item.upper_pm is not None
        return self.item.upper_pm

    def _fits(self, row: Measured) -> bool:
        """Tell whether a clearance was taken as the limit asks for."""
        lift_pm = self.limit.lift.pm if self.limit.lift else None
        return row.lift_pm in {None, lift_pm} and not (
            self.limit.valve_used and self._valve_of(row) != self.limit.valve_used
        )

    def _valve_of(self, row: Measured) -> str:
        return row.valve_used or self.limit.valve_used

    # ------------------------------------------------------------------ own against new valve

    def _pairs(self) -> list[tuple[Size, Size]]:
        """Give the clearance with the own and with a new valve at every place that has both.

        Both by the limit's method and figure, and with its lift. Repeated readings of a place count
        as the limit combines readings: their mean, or the largest.
        """
        methods = {one.method for one in self.sheet.of("guide clearance", self.item.valve)}
        found: dict[str, dict[tuple[str, str], list[Measured]]] = {"own": {}, "new": {}}
        for row in self.rows:
            lift_pm = self.limit.lift.pm if self.limit.lift else None
            if (
                row.characteristic == "guide clearance"
                and (row.method == self.limit.method or (not row.method and len(methods) == 1))
                and row.figure == self.limit.figure
                and row.lift_pm in {None, lift_pm}
                and (used := self._valve_of(row))
            ):
                found[used].setdefault((row.station, row.direction), []).append(row)
        combined = _mean if self.limit.judge == "mean" else _largest
        return [(combined(rows), combined(found["new"][place]))
                for place, rows in found["own"].items() if place in found["new"]]  # fmt: skip

    def _by_pairs(self, pairs: list[tuple[Size, Size]], lacks: tuple[str, ...]) -> Finding:
        loosest_pm = self._loosest_pm()
        if not all(size.u_pm for pair in pairs for size in pair):
            return Finding(self.item, missing=(*lacks, f"the uncertainty of each {self._name}"))
        if loosest_pm is None:
            return Finding(self.item, missing=(*lacks, *self._new_sizes_missing()))
        if loosest_pm > self._upper_pm:
            return Finding(self.item, missing=(*lacks, self._too_loose(loosest_pm)))
        answer = _by_valves(tuple(pairs), self._upper_pm, loosest_pm)
        return Finding(self.item, "own and new valve", answer, lacks)

    def _loosest_pm(self) -> int | None:
        """Give the largest clearance of new parts, by the limit's method and figure.

        A new guide is straight, and there rock and direct are the same clearance.
        """
        if (bound := self.limit.bounds.get("new_max")) is not None:
            return bound.pm
        parts = self._new_parts()
        if parts is None:
            return None
        if self.limit.figure == "clearance":
            return parts.clearance_pm
        if self.limit.guide_length is None or self.limit.reach is None:
            return None
        k = factor(self.limit.guide_length.pm, self.limit.reach.pm)
        return round(parts.clearance_pm * k)

    def _by_new_valve(self, lacks: tuple[str, ...]) -> Finding:
        if not self.item.u_pm:
            return Finding(self.item, missing=(*lacks, f"the uncertainty of the {self._name}"))
        within = probability_within(self.item.value_pm, self.item.u_pm, None, self._upper_pm)
        shares: dict[Fault, float] = {
            "none": within, "valve": 0.0, "guide": 1 - within, "either": 0.0, "both": 0.0,
        }  # fmt: skip
        answer = Attributed("guide" if within < 0.5 else "none", shares)
        return Finding(self.item, "new valve", answer, lacks)

    # ---------------------------------------------------------------------------- from sizes

    def _by_size(self, used: Sequence[Measured], lacks: tuple[str, ...]) -> Finding:
        stems = [row for row in used if row.characteristic == "stem diameter"]
        bores = [row for row in used if row.characteristic == "guide bore"]
        stem, bore = _deciding(self.limit.judge, stems, bores)
        unsure = [f"the uncertainty of the {name}" for name, size in
                  (("stem", stem), ("bore", bore)) if size.u_pm <= 0]  # fmt: skip
        parts = self._new_parts()
        if unsure or parts is None:
            lacks = (*lacks, *unsure, *(self._new_sizes_missing() if parts is None else ()))
            return Finding(self.item, missing=lacks)
        if parts.clearance_pm > self._upper_pm:
            return Finding(self.item, missing=(*lacks, self._too_loose(parts.clearance_pm)))
        answer = _by_sizes(
            stem, bore, self._upper_pm, parts, rocked(self.sheet, self.rows, stems, bores)
        )
        return Finding(self.item, "sizes", answer, lacks)

    def _new_parts(self) -> NewParts | None:
        stem, bore = (printed(self.sheet, self.item.valve, *which) for which in _NEW)
        return NewParts(min(stem), max(bore)) if stem and bore else None

    def _new_sizes_missing(self) -> tuple[str, ...]:
        return tuple(
            f"{name} of the {characteristic} on the sheet"
            for characteristic, name in _NEW
            if not printed(self.sheet, self.item.valve, characteristic, name)
        ) or ("guide_length and reach on the sheet",)

    def _too_loose(self, loosest_pm: int) -> str:
        return (
            f"a sheet whose new parts keep the limit; at their loosest they have "
            f"{micrometres_text(loosest_pm)} um, and the limit is "
            f"{micrometres_text(self._upper_pm)} um"
        )


def _deciding(
    judge: str, stems: Sequence[Measured], bores: Sequence[Measured]
) -> tuple[Size, Size]:
    """Give the stem and the bore that make the clearance, as the limit combines readings."""
    if judge == "mean":
        return _mean(stems), _mean(bores)
    if judge == "smallest":
        return _largest(stems), _smallest(bores)
    return _smallest(stems), _largest(bores)


def _mean(rows: Sequence[Measured]) -> Size:
    return Size(Fraction(sum(row.value_pm for row in rows), len(rows)), _u_pm(rows))


def _largest(rows: Sequence[Measured]) -> Size:
    row = max(rows, key=lambda one: one.value_pm)
    return Size(row.value_pm, row.u_pm or _u_pm(rows))


def _smallest(rows: Sequence[Measured]) -> Size:
    row = min(rows, key=lambda one: one.value_pm)
    return Size(row.value_pm, row.u_pm or _u_pm(rows))


def _u_pm(rows: Sequence[Measured]) -> int:
    return max(row.u_pm or 0 for row in rows)

"""Hold the rocks of a valve against what its bore readings let expect.

Stations that are named by a length (``"5 mm"``) are depths from the guide's head end, and the
travel is foretold from them (`gaugelink.metrology.rock_bore`). Other names, such as top or middle,
tell no depth. Then a travel disagrees only if it does so wherever the stations may be: a bore
nowhere wider than its widest reading shows no more travel than a straight guide of that clearance,
and one nowhere tighter than its tightest reading no less. Both follow from the formula there.

With a new valve in the guide the stem may be anything that the book allows, and the travel lies
between those of the thinnest and the thickest.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from gaugelink.errors import InputError
from gaugelink.metrology.rock import U_REACH_PM, factor
from gaugelink.metrology.rock_bore import Compared, compare, foretell
from gaugelink.quantity import parse_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.judging import Measured
    from gaugelink.limits import Limit, Sheet


def rocked(
    sheet: Sheet, rows: Sequence[Measured], stems: Sequence[Measured], bores: Sequence[Measured]
) -> Compared | None:
    """Hold every rock of a valve against the bore in its direction.

    Args:
        sheet: with guide length and reach at the limit that the rock was taken for.
        rows: what was measured on the valve.
        stems: the readings of its stem.
        bores: those of its guide.

    Returns:
        The first rock that disagrees, else one that agrees; None where there is nothing to hold.
    """
    found = None
    for row in rows:
        limit = _geometry(sheet, row) if row.method == "rock" and row.u_pm else None
        here = [bore for bore in bores if row.direction in {"", bore.direction}]
        if limit is None or not here:
            continue
        span = _stem(sheet, row, limit, stems)
        compared = _Bore(row, limit, here, span).compared() if span else None
        if compared is not None and compared.word != "agrees":
            return compared
        found = found or compared
    return found


def printed(sheet: Sheet, valve: str, characteristic: str, name: str) -> list[int]:
    """List the sizes that a sheet prints under a name, picometres; those of a range are none."""
    return [
        limit.bounds[name].pm
        for limit in sheet.of(characteristic, valve)
        if name in limit.bounds and limit.judge != "range"
    ]


def _geometry(sheet: Sheet, row: Measured) -> Limit | None:
    """Find the limit that a rock was taken for, if it has guide length and reach."""
    for limit in sheet.of("guide clearance", row.valve):
        lift_pm = limit.lift.pm if limit.lift else None
        if (
            limit.method == "rock"
            and limit.takes(row.station, row.direction)
            and row.lift_pm in {None, lift_pm}
            and row.valve_used in {"", limit.valve_used}
            and limit.guide_length is not None
            and limit.reach is not None
        ):
            return limit
    return None


@dataclass(frozen=True, slots=True)
class _Stem:
    """The stem that was rocked: thinnest, thickest, standard uncertainty, picometres."""

    thin_pm: int
    thick_pm: int
    u_pm: int


def _stem(sheet: Sheet, row: Measured, limit: Limit, stems: Sequence[Measured]) -> _Stem | None:
    if (row.valve_used or limit.valve_used) == "new":
        thin = printed(sheet, row.valve, "stem diameter", "new_min")
        thick = printed(sheet, row.valve, "stem diameter", "new_max")
        return _Stem(min(thin), max(thick), 0) if thin and thick else None
    sizes = [int(stem.value_pm) for stem in stems]
    return _Stem(min(sizes), max(sizes), max(stem.u_pm or 0 for stem in stems))


@dataclass(frozen=True, slots=True)
class _Bore:
    """A rock and the bore in its direction."""

    row: Measured
    limit: Limit
    bores: Sequence[Measured]
    stem: _Stem

    def compared(self) -> Compared | None:
        """Hold the rock against the most and the least travel that the readings allow."""
        assert self.limit.guide_length is not None
        length_pm = self.limit.guide_length.pm
        places = [(_depth_pm(bore.station), int(bore.value_pm)) for bore in self.bores]
        if not all(depth is not None and 0 <= depth <= length_pm for depth, _ in places):
            # Nobody knows where: as if the whole bore were as its widest, or tightest, reading.
            places = [(0, size) for _, size in places]
        widest: dict[int, int] = {}
        tightest: dict[int, int] = {}
        for depth, size in places:
            assert depth is not None
            widest[depth] = max(widest.get(depth, size), size)
            tightest[depth] = min(tightest.get(depth, size), size)
        most, least = (
            self._held(widest, self.stem.thin_pm),
            self._held(tightest, self.stem.thick_pm),
        )
        if most is None or most.word == "above":
            return most
        if least is not None and least.word == "below":
            return least
        return Compared("agrees", Fraction(0), most.u_pm)  # somewhere between the two

    def _held(self, bores: dict[int, int], stem_pm: int) -> Compared | None:
        limit, row = self.limit, self.row
        assert limit.guide_length is not None
        assert limit.reach is not None
        assert row.u_pm is not None
        length_pm, reach_pm = limit.guide_length.pm, limit.reach.pm
        try:
            found = foretell(
                {depth: size - stem_pm for depth, size in bores.items()}, length_pm, reach_pm
            )
        except ValueError:  # a stem thicker than the bore
            return None
        u_bore = max(bore.u_pm or 0 for bore in self.bores)
        k = Fraction(1) if row.figure == "travel" else factor(length_pm, reach_pm)
        u_found = found.u_pm(u_bore, U_REACH_PM, u_stem_pm=self.stem.u_pm)
        return compare(row.value_pm * k, float(row.u_pm * k), found, u_found)


def _depth_pm(station: str) -> int | None:
    """Read a station that is named by its depth from the guide's head end."""
    try:
        return parse_length(station).pm
    except InputError:
        return None

"""The travel foretold from a bore is that of the linear programme, and says what it means."""

from __future__ import annotations

import json
from fractions import Fraction
from math import hypot
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from gaugelink.metrology.rock import factor
from gaugelink.metrology.rock_bore import compare, foretell
from gaugelink.quantity import parse_length

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from conftest import RunCli

L, A = 50, 25

bores = st.dictionaries(st.integers(0, L), st.integers(0, 200), min_size=1, max_size=6)
reaches = st.integers(0, 80)

GUIDE = """part,depth,direction,value
bore,5,along,8.090
bore,25,along,8.050
bore,45,along,8.070
bore,5,across,8.050
bore,25,across,8.050
bore,45,across,8.050
stem,,along,8.002
stem,,across,8.000
"""


def solved(clearance: Mapping[int, int], reach: int) -> float:
    """Solve the linear programme as it stands: most of p - q a, |p + q z| <= c(z) / 2.

    The clearance is laid out on every whole depth, so that no corner of it is taken for granted.
    """
    from scipy.optimize import linprog  # noqa: PLC0415

    depth = np.arange(L + 1)
    known = sorted(clearance)
    half = np.interp(depth, known, [clearance[at] for at in known]) / 2
    rows = np.stack([np.ones(L + 1), depth], axis=1)
    found = linprog([-1, reach], A_ub=np.vstack([rows, -rows]), b_ub=np.concatenate([half, half]),
                    bounds=[(None, None)] * 2, method="highs")  # fmt: skip
    return float(-2 * found.fun)


@given(bores, reaches)
def test_the_dual_gives_what_a_solver_gives(clearance: dict[int, int], reach: int) -> None:
    assert float(foretell(clearance, L, reach).travel_pm) == pytest.approx(
        solved(clearance, reach), abs=1e-6)  # fmt: skip


@given(st.integers(0, 1000), reaches)
def test_a_straight_bore_gives_the_factor_of_the_plain_formula(size: int, reach: int) -> None:
    assert foretell({20: size}, L, reach).travel_pm == factor(L, reach) * size


@given(bores, reaches, st.integers(0, L), st.integers(0, 50))
def test_wear_never_makes_the_travel_less(
    clearance: dict[int, int], reach: int, where: int, more: int
) -> None:
    worn = {at: size + (more if at <= where else 0) for at, size in clearance.items()}
    one, other = (foretell(each, L, reach) for each in (clearance, worn))
    assert one.travel_pm <= other.travel_pm
    assert one.travel_pm <= foretell(clearance, L, reach + 1).travel_pm


@pytest.mark.parametrize(
    ("clearance", "travel"),
    [
        # Guide 50 mm, reach 25 mm, 0.050 mm in the midst; worked with a solver in micrometres.
        ({0: 50, 50: 50}, 100.0),
        ({0: 80, 10: 50, 50: 50}, 137.5),
        ({0: 150, 10: 50, 50: 50}, 137.5),
        ({0: 150, 5: 50, 50: 50}, 116.7),
        ({0: 150, 10: 50, 40: 50, 50: 150}, 166.7),
        ({5: 90, 25: 50, 45: 70}, 170.0),
    ],
)
def test_rock_sees_how_long_a_flare_is_not_how_wide(
    clearance: dict[int, int], travel: float
) -> None:
    assert solved(clearance, A) == pytest.approx(travel, abs=0.05)
    found = foretell(clearance, L, A)
    assert float(found.travel_pm) == pytest.approx(travel, abs=0.05)


def test_a_book_that_prints_both_methods_has_half_a_guide_length_in_mind(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    """Source: a car maker's service data: every wobble figure is twice the clearance."""
    rows = check_rows("guide_rock_wobble_vs_clearance.csv")
    assert len(rows) == 2
    for row in rows:
        for kind in ("min", "max", "limit"):
            wobble, clearance = (parse_length(row[f"{name}_{kind}"], "mm").pm
                                 for name in ("wobble", "clearance"))  # fmt: skip
            found = foretell({0: clearance}, 50 * 10**9, 25 * 10**9)
            assert found.travel_pm == wobble
            assert foretell({0: clearance}, 50 * 10**9, 24 * 10**9).travel_pm < wobble


def test_the_uncertainty_is_that_of_drawing_lots() -> None:
    """Source: JCGM 101:2008: the spread of results for readings drawn from their distributions."""
    draw = np.random.default_rng(3)
    found = foretell({0: 80_000, 50_000: 60_000}, 50_000, 25_000)
    travels = [
        float(foretell({0: round(one), 50_000: round(other)}, 50_000, round(reach)).travel_pm)
        for one, other, reach in zip(draw.normal(80_000, 2_000, 4000), draw.normal(
            60_000, 2_000, 4000), draw.normal(25_000, 1_000, 4000), strict=True)
    ]  # fmt: skip
    assert found.u_pm(2_000, 1_000) == pytest.approx(np.std(travels), rel=0.05)


def test_a_stem_that_is_read_once_is_wrong_at_both_rests_alike() -> None:
    """Source: JCGM 101:2008, by drawing lots: three bore readings, one stem, length and reach."""
    draw = np.random.default_rng(4)
    count = 3000
    bore = draw.normal(50_000, 1_000, (count, 3))
    stem = draw.normal(0, 2_000, count)
    length, reach = draw.normal(50_000, 2_000, count), draw.normal(25_000, 10, count)
    travels = [
        float(foretell({at: round(one - off) for at, one in zip((5_000, 25_000, 45_000), bores,
                        strict=True)}, round(long), round(far)).travel_pm)
        for bores, off, long, far in zip(bore + 10_000, stem + 10_000, length, reach, strict=True)
        if long > 45_000
    ]  # fmt: skip
    found = foretell(dict.fromkeys((5_000, 25_000, 45_000), 50_000), 50_000, 25_000)
    u = found.u_pm(1_000, 10, u_stem_pm=2_000, u_guide_length_pm=2_000)
    assert u == pytest.approx(np.std(travels), rel=0.05)
    assert found.u_pm(hypot(1_000, 2_000), 10) < 0.85 * np.std(travels)  # as if read at each
    one = foretell({25_000: 50_000}, 50_000, 25_000)
    assert one.u_pm(1_000, 0) == one.u_pm(0, 0, u_stem_pm=1_000) == 2_000  # k = 2
    short = foretell({0: 50, 25_000: 50, 50_000: 500}, 50_000, 25_000)
    assert not short.at_the_end
    assert short.u_pm(0, 0, u_guide_length_pm=1_000) == 0


def test_a_difference_means_something_beyond_two_standard_uncertainties() -> None:
    found = foretell({0: 50, 50: 50}, L, A)
    assert [compare(travel, 3, found, 4).word for travel in (89, 90, 110, 111)] == [
        "below", "agrees", "agrees", "above"]  # fmt: skip
    assert "bell-mouth" in compare(150, 3, found, 4).means
    assert "dirt" in compare(50, 3, found, 4).means
    assert compare(Fraction(201, 2), 3, found, 4).difference_pm == Fraction(1, 2)


@pytest.mark.parametrize(
    ("clearance", "length", "reach", "words"),
    [
        ({}, 50, 25, "no station"),
        ({60: 50}, 50, 25, "outside the guide"),
        ({-1: 50}, 50, 25, "outside the guide"),
        ({0: -(10**6)}, 50, 25, "thicker than the bore by 1 um"),
        ({0: 50}, 0, 25, "too small"),
        ({0: 50}, 50, -1, "too small"),
    ],
)
def test_what_cannot_be_foretold_is_refused(
    clearance: dict[int, int], length: int, reach: int, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        foretell(clearance, length, reach)


def told(run_cli: RunCli, file: Path, *words: str, status: int = 0) -> dict[str, Any]:
    got, out, err = run_cli("guide", file, "--guide-length", "50mm", "--reach", "25mm", *words,
                            "--json")  # fmt: skip
    assert (got, err) == (status, "")
    document: dict[str, Any] = json.loads(out)
    return document


@pytest.fixture
def guide(tmp_path: Path) -> Path:
    file = tmp_path / "guide.csv"
    file.write_text(GUIDE)
    return file


def test_a_guide_is_told_whole(guide: Path, run_cli: RunCli) -> None:
    found = told(
        run_cli, guide, "--travel-along", "0.172mm", "--travel-across", "0.130mm", status=1
    )
    assert found["bore"]["out_of_round_mm"] == pytest.approx(0.04)
    assert found["bore"]["taper_mm"] == pytest.approx(0.02)
    assert found["bore"]["bell_mouth_mm"] == pytest.approx({"head end": 0.04, "other end": 0.02})
    assert found["clearance"] == {"tightest_mm": 0.048, "worst_mm": 0.09}
    along, across = found["rock"]["along"], found["rock"]["across"]
    assert along["foretold_mm"] == pytest.approx(0.17)
    assert (along["rests_at_mm"], along["verdict"]) == ([0, 50], "agrees")
    assert across["foretold_mm"] == pytest.approx(0.1)
    assert across["apparent_clearance_mm"] == pytest.approx(0.05)
    assert across["verdict"] == "above"


def test_a_guide_in_inches_gives_the_same(guide: Path, run_cli: RunCli) -> None:
    inches = guide.with_name("inches.csv")
    rows = [line.split(",") for line in GUIDE.splitlines()[1:]]
    inches.write_text("part,depth,direction,value,unit\n" + "".join(
        f"{part},{depth},{way},{value},in\n" for part, depth, way, value in rows))  # fmt: skip
    mm = guide.with_name("mm.csv")
    mm.write_text("part,depth,direction,value\n" + "".join(
        f"{part},{depth and float(depth) * 25.4},{way},{float(value) * 25.4:.4f}\n"
        for part, depth, way, value in rows))  # fmt: skip
    words = ("--guide-length", "50in", "--reach", "25in", "--json")
    one, other = (run_cli("guide", file, *words) for file in (inches, mm))
    assert one == other
    assert one[0] == 0


def test_people_get_lines(guide: Path, run_cli: RunCli) -> None:
    status, out, _ = run_cli("guide", guide, "--guide-length", "50mm", "--reach", "25mm",
                             "--travel-across", "0.060mm")  # fmt: skip
    assert status == 1
    assert "bell-mouth at the head end 0.0400 mm" in out
    assert "! measured 0.0600 mm: less travel than the bore readings let expect: dirt" in out


@pytest.mark.parametrize(
    ("old", "new", "words", "sentence"),
    [
        ("bore,5,along", "bush,5,along", (), "line 2, part: found 'bush', accepted: bore, stem"),
        ("bore,5,along", "bore,,along", (), "line 2, depth: found ''"),
        ("bore,5,along", "bore,25,along", (), "line 3, depth: found this place twice (line 2)"),
        ("bore,5,along", "bore,60,along", (), "found a station outside the guide"),
        ("8.090", "7.900", (), "found a stem thicker than the bore by 100 um"),
        ("8.090", "0", (), "line 2, value: found '0', accepted: more than 0"),
        ("stem,,", "bore,9,", (), "found no reading of the stem"),
        ("bore,5,along,8.090", "bore,5,around,8.090", (), "line 2, direction: found 'around'"),
        ("8.090", "8.09", ("--reach=-1mm",), "--reach: found '-1mm'"),
        (",across,", ",along,", ("--travel-across=0.1mm",), "place twice"),
    ],
)
def test_what_cannot_be_told_is_said_in_a_sentence(
    old: str, new: str, words: tuple[str, ...], sentence: str, guide: Path, run_cli: RunCli
) -> None:
    text = GUIDE.replace(old, new)
    assert text != GUIDE
    guide.write_text(text)
    status, out, err = run_cli("guide", guide, "--guide-length", "50mm", "--reach", "25mm", *words,
                               "--json")  # fmt: skip
    assert (status, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1


def test_a_travel_without_bore_readings_in_its_direction_is_refused(
    guide: Path, run_cli: RunCli
) -> None:
    guide.write_text("".join(line + "\n" for line in GUIDE.splitlines() if "bore" not in line or
                             "across" not in line))  # fmt: skip
    status, _, err = run_cli("guide", guide, "--guide-length", "50mm", "--reach", "25mm",
                             "--travel-across", "0.1mm")  # fmt: skip
    assert status == 2
    assert "--travel-across: found a travel, but no bore reading in this direction" in err

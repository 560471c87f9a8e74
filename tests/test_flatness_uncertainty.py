"""The uncertainty of a flatness is what drawing heights at random gives."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.optimize import linprog

from gaugelink import content
from gaugelink.metrology.flatness import minimum_zone
from gaugelink.metrology.flatness_uncertainty import least_squares_weight, minimum_zone_weight

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli
    from numpy.typing import NDArray

GRID = [(x, y) for y in (0, 75, 150) for x in (0, 100, 200, 300, 400)]


def rough(seed: int) -> list[tuple[int, int, int]]:
    """A face without symmetry: that of a bow alone has several points equally high."""
    lots = np.random.default_rng(seed).integers(-30_000, 30_000, len(GRID))
    return [(x * 10**6, y * 10**6, int(z)) for (x, y), z in zip(GRID, lots, strict=True)]


U = 20
"""Nanometres; the faces are out of flat by thousands of them."""


def zone_by_solver(plan: NDArray[np.float64], heights: NDArray[np.float64]) -> float:
    """The minimum zone as a linear programme (heights straight up; scipy's solver)."""
    ones = np.ones((len(plan), 1))
    slope = plan / np.ptp(plan, axis=0)
    found = linprog([0, 0, 0, 1], A_ub=np.vstack([np.hstack([slope, ones, -ones]),
                                                 np.hstack([-slope, -ones, -ones])]),
                    b_ub=np.concatenate([heights, -heights]),
                    bounds=[(None, None)] * 3 + [(0, None)])  # fmt: skip
    return 2.0 * float(found.fun)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_weights_are_what_drawing_gives(seed: int) -> None:
    """500 draws: the standard deviation is known to 1/sqrt(1000) = 3.2 %; three of these.

    Held by scipy's linear programme and by numpy's least squares, seeded.
    """
    face = rough(seed)
    table = np.array(face, dtype=np.float64)
    plan, heights = table[:, :2], table[:, 2]
    design = np.column_stack([plan / np.ptp(plan, axis=0), np.ones(len(plan))])
    lots = np.random.default_rng(7).normal(0, U, (500, len(face)))
    zones = [zone_by_solver(plan, heights + lot) for lot in lots]
    many = (heights + lots).T
    rest = many - design @ np.linalg.lstsq(design, many, rcond=None)[0]
    zone = minimum_zone(face)
    assert np.std(zones) == pytest.approx(U * minimum_zone_weight(face, zone), rel=0.095)
    assert np.std(np.ptp(rest, axis=0)) == pytest.approx(U * least_squares_weight(face), rel=0.095)


def test_three_points_against_one_weigh_as_the_triangle_says() -> None:
    """The middle of a triangle: thirds, so 1/3 + 1 under the root (by hand)."""
    face = [(0, 0, 0), (300, 0, 0), (0, 300, 0), (100, 100, 7)]
    assert minimum_zone_weight(face, minimum_zone(face)) == pytest.approx((4 / 3) ** 0.5)


def test_a_true_plane_has_no_first_order() -> None:
    face = [(0, 0, 0), (100, 0, 0), (0, 100, 0), (100, 100, 0)]
    with pytest.raises(ValueError, match="all points lie in one plane"):
        minimum_zone_weight(face, minimum_zone(face))


@pytest.mark.parametrize(
    ("words", "word", "status"),
    [
        # By hand: the zone is 0.020 mm, each corner weighs a half, so u is that of a height.
        (("--max", "0.030mm", "--u", "0.002mm"), "within", 0),
        (("--max", "0.022mm", "--u", "0.002mm"), "undecided", 1),
        (("--max", "0.010mm", "--u", "0.002mm"), "outside", 1),
        (("--max", "0.022mm"), "within", 0),
    ],
)
def test_the_command_keeps_a_guard_band(
    words: tuple[str, ...], word: str, status: int, run_cli: RunCli, tmp_path: Path
) -> None:
    file = tmp_path / "face.csv"
    file.write_text("x,y,z\n0,0,0\n100,0,0\n0,100,0\n100,100,0.04\n")
    got, out, err = run_cli("flatness", file, *words, "--json")
    assert (got, err) == (status, "")
    found = json.loads(out)
    assert found["verdict"] == word
    if "--u" in words:
        assert found["minimum_zone_u_mm"] == pytest.approx(0.002, rel=1e-6)
        assert found["minimum_zone_U_mm"] == pytest.approx(0.004, rel=1e-6)
    status, out, _ = run_cli("flatness", file, *words)
    assert f"{float(words[1][:-2]):.6f} mm   {word}" in out


BENCH = content.read("sim/bench", "example")[0]


def test_the_bench_s_indicator_says_how_sure_a_height_is(run_cli: RunCli, tmp_path: Path) -> None:
    """The bench file that ships: I1 has u 1.5 um; a second indicator counts where it is worse."""
    file, bench = tmp_path / "face.csv", tmp_path / "bench.toml"
    file.write_text("x,y,z\n0,0,0\n100,0,0\n0,100,0\n100,100,0.04\n")
    worse = BENCH.replace('kind = "caliper"', 'kind = "indicator"').replace(
        "mux-line", "plain-line"
    )
    for text, mark, u, word in ((BENCH, "I1", "0.0015mm", "within"),
                                (worse, "C1", "0.015mm", "undecided")):  # fmt: skip
        bench.write_text(text, encoding="utf-8")
        status, out, err = run_cli("flatness", file, "--max", "0.024mm", "--bench", bench, "--json")
        found = json.loads(out)
        assert (status, err) == (int(word != "within"), "")
        assert (found["verdict"], found["u_from"]) == (word, mark)
        stated = json.loads(run_cli("flatness", file, "--max", "0.024mm", "--u", u, "--json")[1])
        assert stated | {"u_from": mark} == found
    out = run_cli("flatness", file, "--bench", bench)[1]
    assert f"{'u of one height':<24}    0.015000 mm   from C1\n" in out


def test_a_bench_that_cannot_say_it_is_told_in_a_sentence(run_cli: RunCli, tmp_path: Path) -> None:
    file, bench = tmp_path / "face.csv", tmp_path / "bench.toml"
    file.write_text("x,y,z\n0,0,0\n100,0,0\n0,100,0\n100,100,0.04\n")
    bench.write_text(BENCH[: BENCH.index("[[gauge]]                    # rock")], encoding="utf-8")
    for words, sentence in (
        (("--bench", bench), "bench.toml, gauge.kind: found no indicator among micrometer, bore"),
        (("--bench", tmp_path / "none.toml"), "none.toml: cannot be read ("),
        (("--bench", file), "face.csv, line 1: not valid TOML"),
        (("--bench", bench, "--u", "0.002mm"), "--u"),
    ):
        status, out, err = run_cli("flatness", file, *words)
        assert (status, out) == (2, "")
        assert sentence in err
        assert err.count("\n") == 1


def test_bad_uncertainties_are_said_in_a_sentence(run_cli: RunCli, tmp_path: Path) -> None:
    file = tmp_path / "face.csv"
    file.write_text("x,y,z\n0,0,0\n100,0,0\n0,100,0\n100,100,0\n")
    for words, sentence in (
        (("--u", "0mm"), "--u: found '0mm', accepted: more than 0"),
        (("--max", "5"), "--max: found '5' without a unit"),
        (("--u", "0.001mm"), "--u: all points lie in one plane"),
    ):
        status, out, err = run_cli("flatness", file, *words)
        assert (status, out) == (2, "")
        assert sentence in err

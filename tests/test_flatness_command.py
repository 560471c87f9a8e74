"""`gaugelink flatness` prints the figures of a face, in millimetres, whatever the file's unit."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from conftest import RunCli

TWIST = "x,y,z\n0,0,0\n50,0,0\n100,0,0\n0,50,0\n50,50,0.01\n100,50,0.02\n0,100,0\n100,100,0.04\n"


def told(run_cli: RunCli, *words: str | Path) -> dict[str, Any]:
    status, out, err = run_cli("flatness", *words, "--json")
    assert (status, err) == (0, "")
    document: dict[str, Any] = json.loads(out)
    return document


@pytest.fixture
def face(tmp_path: Path) -> Path:
    file = tmp_path / "face.csv"
    file.write_text(TWIST)
    return file


@pytest.mark.parametrize(
    ("name", "zone", "squares", "kind"),
    [
        # Recomputed in the check files; the solid is textbook geometry.
        ("flatness_deck_35pt_3-1.csv", 0.040999975, 0.043268734, "3-1"),
        ("flatness_deck_35pt_2-2.csv", 0.027500016, 0.031324521, "2-2"),
        ("flatness_five_points.csv", 0.067262058, 0.072097300, "2-2"),
        ("flatness_solid_tetrahedron.csv", 0.707106781187, None, "2-2"),
    ],
)
def test_a_check_file_gives_its_figures(
    name: str, zone: float, squares: float | None, kind: str,
    run_cli: RunCli, check_file: Callable[[str], Path],
) -> None:  # fmt: skip
    found = told(run_cli, check_file(name))
    assert found["minimum_zone_mm"] == pytest.approx(zone, abs=6e-10)
    if squares is not None:
        assert found["least_squares_mm"] == pytest.approx(squares, abs=6e-10)
    assert found["contact"] == kind
    assert len(found["contacts"]) == 4
    assert {row["plane"] for row in found["contacts"]} == {"upper", "lower"}


def test_a_face_in_inches_gives_the_same_millimetres(face: Path, run_cli: RunCli) -> None:
    """1 mm is 25.4 times the same figure in inches, exactly; every result follows."""
    inches = face.with_name("inches.csv")
    rows = [line.split(",") for line in TWIST.splitlines()[1:]]
    inches.write_text("x,y,z,unit\n" + "".join(",".join(row) + ",in\n" for row in rows))
    mm = face.with_name("mm.csv")
    grown = [[f"{float(cell) * 25.4:.6f}" for cell in row] for row in rows]
    mm.write_text("x,y,z\n" + "".join(",".join(row) + "\n" for row in grown))
    one, other = told(run_cli, inches), told(run_cli, mm)
    for key in ("minimum_zone_mm", "least_squares_mm", "clean_up_mm"):
        assert one[key] == pytest.approx(other[key], rel=1e-9)
    assert [row["point"] for row in one["contacts"]] == [row["point"] for row in other["contacts"]]


def test_lines_windows_and_the_cut_are_told(face: Path, run_cli: RunCli) -> None:
    found = told(run_cli, face, "--any-length", "100mm", "--level-on", "1,3,7")
    assert found["minimum_zone_mm"] == pytest.approx(0.02, rel=1e-6)
    assert found["clean_up_mm"] == pytest.approx(0.04)
    assert found["clean_up"] == {"highest": 8, "lowest": 1}
    lines = {row["line"]: row for row in found["lines"]}
    assert lines["rising diagonal"]["points"] == [1, 5, 8]
    assert lines["rising diagonal"]["straightedge_mm"] == pytest.approx(0.01)
    assert lines["rising diagonal"]["any_length_mm"] is None  # 141 mm long
    assert lines["edge along, y lowest"]["any_length_mm"] == 0
    assert lines["edge along, y lowest"]["any_length_between"] == [1, 3]


def test_people_get_a_table(face: Path, run_cli: RunCli) -> None:
    status, out, _ = run_cli("flatness", face, "--any-length", "100 mm")
    assert status == 0
    assert "minimum zone" in out
    assert "contact 2-2" in out
    assert "on the upper plane: point 1 (0, 0), point 8 (100, 100)" in out
    assert "too few points" in out


def test_the_map_is_one_file_that_asks_nothing_of_a_network(face: Path, run_cli: RunCli) -> None:
    page = face.with_name("face.html")
    told(run_cli, face, "--plot", page)
    text = page.read_text(encoding="utf-8")
    assert "on the upper plane" in text
    assert "triangle-down" in text
    assert 'src="http' not in text


@pytest.mark.parametrize(
    ("rows", "words", "sentence"),
    [
        ("0,0,0\n1,0,0\n0,1,0\n", (), "found 3 points, needed: at least four"),
        ("0,0,0\n1,0,0\n2,0,0\n3,0,1\n", (), "all points lie on one line"),
        ("0,0,0\n1,0,0\n0,1,0\n0,1,0\n", (), "found 3 different points"),
        ("0,0,0\n1,0,x\n0,1,0\n1,1,0\n", (), "line 3, z: found 'x'"),
        ("0,0,0\n1,0,1e30\n0,1,0\n1,1,0\n", (), "line 3, z: found '1e30'"),
        ("0,0,0\n1,0,0\n0,1,0\n1,1,0.00000000000000000000001\n", (), "more than 18 digits"),
        ("0,0,0\n1,0,0\n0,1,0\n1,1,1\n", ("--any-length", "0mm"), "accepted: more than 0"),
        ("0,0,0\n1,0,0\n0,1,0\n1,1,1\n", ("--any-length", "6"), "--any-length: found '6' without"),
        ("0,0,0\n1,0,0\n0,1,0\n1,1,1\n", ("--level-on", "1,2,5"), "three different points from 1"),
        ("0,0,0\n1,0,0\n0,1,0\n1,1,1\n", ("--level-on", "1,2,2"), "three different points from 1"),
        ("0,0,0\n1,0,0\n0,1,1\n2,0,0\n", ("--level-on", "1,2,4"), "--level-on: the three points"),
        ("0,0,0\n1,0,0\n0,1,0\n1,1,1\n", ("--plot", "a.txt"), "accepted: .html"),
    ],
)  # fmt: skip
def test_what_cannot_be_measured_is_said_in_a_sentence(
    rows: str, words: tuple[str, ...], sentence: str, run_cli: RunCli, tmp_path: Path
) -> None:
    file = tmp_path / "face.csv"
    file.write_text(f"x,y,z\n{rows}")
    status, out, err = run_cli("flatness", file, *words, "--json")
    assert (status, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1


def test_two_units_in_one_file_are_refused(run_cli: RunCli, tmp_path: Path) -> None:
    file = tmp_path / "face.csv"
    file.write_text("x,y,z,unit\n0,0,0,mm\n1,0,0,in\n0,1,0,mm\n1,1,1,mm\n")
    status, _, err = run_cli("flatness", file)
    assert status == 2
    assert "line 3, unit: found 'in', accepted: mm or in, the same in every row" in err

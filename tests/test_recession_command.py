"""`gaugelink recession` keeps the book of what machining does to a seated valve."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from conftest import RunCli


def told(run_cli: RunCli, *words: str, status: int = 0) -> dict[str, Any]:
    got, out, err = run_cli("recession", *words, "--json")
    assert (got, err) == (status, "")
    document: dict[str, Any] = json.loads(out)
    return document


def test_a_cut_lowers_and_a_skim_lifts(run_cli: RunCli) -> None:
    """By hand: 0.95 + 0.15 (seat) + 0.05 (face) - 0.10 (skim) = 1.05; tip and spring + 0.20."""
    found = told(run_cli, "--recession", "0.95mm", "--tip", "36mm", "--spring", "40mm",
                 "--seat-cut", "0.20mm", "--skim", "0.10mm", "--tip-ground", "0.05mm")  # fmt: skip
    assert found == {"drop_mm": 0.2, "recession_mm": 1.05, "tip_mm": 36.15, "spring_mm": 40.2,
                     "cut_left_mm": None, "stopped_by": None}  # fmt: skip


def test_a_layer_counts_by_the_angle_of_the_face(run_cli: RunCli) -> None:
    """Drop = layer / cos: 0.15 + 0.05 at 45 degrees is 0.2828, at 30 degrees 0.2309 (geometry)."""
    words = ("--recession", "0mm", "--seat-layer", "0.15mm", "--face-layer", "0.05mm")
    assert told(run_cli, *words)["drop_mm"] == pytest.approx(0.282843, abs=5e-7)
    assert told(run_cli, *words, "--angle", "30")["drop_mm"] == pytest.approx(0.230940, abs=5e-7)


def test_what_stops_first_is_told(run_cli: RunCli) -> None:
    words = ("--recession", "0.95mm", "--spring", "40mm", "--most-recession", "1.20mm",
             "--most-spring", "40.1mm")  # fmt: skip
    found = told(run_cli, *words)
    assert (found["stopped_by"], found["cut_left_mm"]) == ("spring", 0.1)
    shimmed = told(run_cli, *words, "--shims", "0.5mm")
    assert (shimmed["stopped_by"], shimmed["cut_left_mm"]) == ("recession", 0.25)
    deep = told(run_cli, *words, "--seat-cut", "0.3mm", "--shims", "0.5mm", status=1)
    assert deep["cut_left_mm"] == -0.05


def test_an_insert_lets_a_valve_rise_until_it_stands_proud(run_cli: RunCli) -> None:
    found = told(run_cli, "--recession", "0.5mm", "--seat-cut=-0.8mm")
    assert found["recession_mm"] == -0.3


def test_inches_and_millimetres_mix(run_cli: RunCli) -> None:
    one = told(run_cli, "--recession", "0.0375in", "--seat-cut", "0.254mm")
    assert one == told(run_cli, "--recession", "0.9525mm", "--seat-cut", "0.010in")


def test_what_is_left_is_never_rounded_up(run_cli: RunCli) -> None:
    words = ("--recession", "0.9504mm", "--most-recession", "1.2mm")
    assert "may still be cut         0.249 mm, then the recession stops it" in run_cli(
        "recession", *words)[1]  # fmt: skip
    status, out, _ = run_cli("recession", *words, "--seat-cut", "0.3mm")
    assert status == 1
    assert "! 0.051 mm too deep for the recession" in out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--recession", "1"), "--recession: found '1' without a unit"),
        (("--recession", "1mm", "--skim=-1mm"), "--skim: found '-1mm', accepted: 0 or more"),
        (("--recession", "1mm", "--angle", "90"), "--angle: found 90"),
        (("--recession", "1mm", "--most-tip", "30mm"), "--tip: this argument is missing"),
        ((), "--recession"),
    ],
)
def test_bad_arguments_are_said_in_a_sentence(
    words: tuple[str, ...], sentence: str, run_cli: RunCli
) -> None:
    status, out, err = run_cli("recession", *words, "--json")
    assert (status, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1

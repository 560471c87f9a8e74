"""Runout is what other programs make of the same turn, and half of it is eccentricity."""

from __future__ import annotations

import json
from math import cos, hypot, radians
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, strategies as st
from scipy.optimize import curve_fit

from gaugelink.metrology.roundness import eccentricity
from gaugelink.metrology.runout import even_angles, runout

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

lots = st.lists(st.floats(-100, 100), min_size=4, max_size=40)


@given(lots)
def test_an_even_turn_gives_the_first_harmonic_of_a_fourier_transform(values: list[float]) -> None:
    """Held by numpy's transform; u of each amplitude is that of a reading times sqrt(2/n)."""
    found = runout(values, even_angles(len(values)))
    first = np.fft.rfft(values)[1] * 2 / len(values)
    assert found.eccentricity == pytest.approx(abs(first), abs=1e-9)
    assert found.weight == pytest.approx((2 / len(values)) ** 0.5)


def test_an_uneven_turn_gives_what_a_solver_gives() -> None:
    """Held by scipy's curve_fit, parameters and their covariance, on invented readings."""
    angles = [0, 20, 50, 95, 130, 200, 220, 290, 330]
    values = [12.0, 11.0, 8.5, 2.0, -4.5, -9.0, -8.0, 3.5, 9.5]

    def turn(angle: np.ndarray, level: float, off: float, at: float) -> np.ndarray:
        return np.asarray(level + off * np.cos(np.radians(angle) - at))

    best, spread = curve_fit(turn, angles, values, p0=[1, 10, 0.1], sigma=np.ones(9),
                             absolute_sigma=True)  # fmt: skip
    found = runout(values, angles)
    assert found.eccentricity == pytest.approx(best[1], rel=1e-6)
    assert radians(found.direction_deg) == pytest.approx(best[2] % (2 * np.pi), rel=1e-6)
    assert found.weight == pytest.approx(spread[1, 1] ** 0.5, rel=1e-5)


@given(st.floats(1, 100), st.floats(0, 359), st.integers(2, 5))
def test_lobes_are_form_and_leave_the_centre_alone(off: float, at: float, lobes: int) -> None:
    angles = even_angles(24)
    values = [off * cos(radians(one - at)) + 3 * cos(radians(lobes * one)) for one in angles]
    found = runout(values, angles)
    assert found.eccentricity == pytest.approx(off)
    assert hypot(*(f(np.radians(found.direction_deg)) - f(np.radians(at))
                   for f in (np.cos, np.sin))) < 1e-9  # fmt: skip
    assert 5.1 < found.form <= 6 + 1e-9


def test_half_the_runout_of_a_true_circle_is_its_eccentricity() -> None:
    values = [25 * cos(radians(angle)) for angle in even_angles(8)]
    assert runout(values, even_angles(8)).eccentricity == pytest.approx(float(eccentricity(50)))


@pytest.mark.parametrize(("values", "angles"), [([1.0] * 3, [0, 120, 240]),
                                                ([1.0] * 4, [0, 180, 0, 180])])  # fmt: skip
def test_too_little_is_refused(values: list[float], angles: list[float]) -> None:
    with pytest.raises(ValueError, match="needed: "):
        runout(values, angles)


TURN = "value,unit\n0.030,mm\n0.010,mm\n-0.010,mm\n0.010,mm\n"


@pytest.mark.parametrize(
    ("words", "word", "status"),
    [
        (("--max", "0.04mm"), "within", 0),
        (("--max", "0.04mm", "--u", "0.002mm"), "undecided", 1),
        (("--max", "0.05mm", "--u", "0.002mm"), "within", 0),
        (("--max", "0.03mm"), "outside", 1),
    ],
)
def test_the_command_judges(
    words: tuple[str, ...], word: str, status: int, run_cli: RunCli, tmp_path: Path
) -> None:
    """By hand: total 0.040, eccentricity 0.020 at 0 degrees; u of the total 0.0028 mm."""
    file = tmp_path / "turn.csv"
    file.write_text(TURN)
    got, out, err = run_cli("runout", file, *words, "--json")
    found = json.loads(out)
    assert (got, err, found["verdict"]) == (status, "", word)
    assert found["total_mm"] == 0.04
    assert found["eccentricity_mm"] == pytest.approx(0.02)
    assert run_cli("runout", file, *words)[0] == status


def test_inches_and_angles_are_read(run_cli: RunCli, tmp_path: Path) -> None:
    file = tmp_path / "turn.csv"
    file.write_text("angle_deg,value,unit\n180,-0.010,in\n90,0.010,in\n0,0.030,in\n270,0.010,in\n")
    found = json.loads(run_cli("runout", file, "--json")[1])
    assert found["eccentricity_mm"] == pytest.approx(0.508)
    assert run_cli("runout", file)[1].count("\n") == 5


def test_what_the_cosine_shows_and_what_it_leaves_are_the_readings_again() -> None:
    angles = [0, 20, 50, 95, 130, 200, 220, 290, 330]
    values = [12.0, 11.0, 8.5, 2.0, -4.5, -9.0, -8.0, 3.5, 9.5]
    found = runout(values, angles)
    again = [found.cosine(angle) + left for angle, left in zip(angles, found.left, strict=True)]
    assert again == pytest.approx(values)
    assert np.ptp(found.left) == pytest.approx(found.form)


def test_the_plot_is_one_file_that_asks_nothing_of_a_network(
    run_cli: RunCli, tmp_path: Path
) -> None:
    """By hand: 16 readings of a circle 0.020 mm off at 90 degrees; the first lifted by 0.008 mm.

    A lift of one of 16 even readings is 1/16 of it in the middle and 2/16 in the cosine: of 8 um
    are left 6.5 um there.
    """
    rows = [f"{0.020 * np.sin(np.radians(angle)) + (0.008 if not angle else 0):.6f},mm"
            for angle in even_angles(16)]  # fmt: skip
    file, page = tmp_path / "turn.csv", tmp_path / "turn.html"
    file.write_text("\n".join(["value,unit", *rows]))
    status, _, err = run_cli("runout", file, "--plot", page)
    assert (status, err) == (0, "")
    text = page.read_text(encoding="utf-8")
    assert 'src="http' not in text
    assert "eccentricity 0.0200 mm at 87" in text
    traces, _ = json.JSONDecoder().raw_decode(text, text.index("[", text.rindex("newPlot(")))
    drawn = {trace["name"]: trace["y"] for trace in traces}
    assert drawn["what is left"][0] == pytest.approx(6.5)
    assert max(drawn["eccentricity"]) == pytest.approx(401**0.5, abs=0.02)
    assert drawn["readings"][4] == pytest.approx(20 - 0.5)  # the middle went up by 8/16
    assert run_cli("runout", file, "--plot", tmp_path / "a.txt")[0] == 2


@pytest.mark.parametrize(
    ("text", "words", "sentence"),
    [
        (TURN.replace("0.030,mm", "0.030,kg"), (), "line 2, value: found"),
        ("angle_deg,value,unit\nx,1,mm\n", (), "line 2, angle_deg: found 'x'"),
        ("value,unit\n1,mm\n", (), "found 1 readings, needed: at least 4"),
        (TURN, ("--max", "0mm"), "--max: found '0mm', accepted: more than 0"),
    ],
)
def test_bad_input_is_said_in_a_sentence(
    text: str, words: tuple[str, ...], sentence: str, run_cli: RunCli, tmp_path: Path
) -> None:
    file = tmp_path / "turn.csv"
    file.write_text(text)
    status, out, err = run_cli("runout", file, *words)
    assert (status, out) == (2, "")
    assert sentence in err

"""`gaugelink spring` adds the springs of a nest, judges the sum, and names who goes solid first."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    from conftest import RunCli

PROJECT = Path(__file__).resolve().parents[1]

LBF = 4.4482216152605
"""Newtons, exactly (NIST SP 811)."""

NEST = """\
heights = ["40 mm", "30 mm"]
lift = "10 mm"
least_bind_margin = "1.5 mm"

[[limit]]
height = "40 mm"
least = "260 N"
most = "280 N"
u = "2 N"

[[spring]]
name = "outer"
rate = "20 N/mm"
free_length = "50 mm"
solid_height = "26 mm"

[[spring]]
name = "inner"
rate = "10 N/mm"
free_length = "45 mm"
solid_height = "25 mm"
step = "2 mm"
"""
"""Invented. By hand: 20 (50 - 40) + 10 (45 - 38) = 270 N, and 300 N more at 30 mm; the inner one
stands 2 mm shorter and has 38 - 10 - 25 = 3 mm of room, the outer one 40 - 10 - 26 = 4 mm."""


def told(run_cli: RunCli, folder: Path, text: str, status: int = 0) -> dict[str, Any]:
    file = folder / "nest.toml"
    file.write_text(text, encoding="utf-8")
    got, out, err = run_cli("spring", file, "--json")
    assert (got, err) == (status, "")
    document: dict[str, Any] = json.loads(out)
    return document


def test_a_nest_worked_by_hand(run_cli: RunCli, tmp_path: Path) -> None:
    found = told(run_cli, tmp_path, NEST)
    assert found["loads"] == [270, 570]
    assert (found["rate_n_per_mm"], found["free_mm"], found["solid_mm"]) == (30, 50, 27)
    assert (found["bind_margin_mm"], found["binds_first"]) == (3, ["inner"])
    assert found["limits"] == [{"height_mm": 40, "load_n": 270, "u_n": 2, "least_n": 260,
                                "most_n": 280, "verdict": "within"}]  # fmt: skip
    outer, inner = found["springs"]
    assert (outer["loads"], inner["loads"]) == ([200, 400], [70, 170])
    assert (outer["bind_margin_mm"], inner["bind_margin_mm"]) == (4, 3)
    assert (inner["heights_mm"], inner["step_mm"]) == ([38, 28], 2)


def test_the_page_s_example_gives_what_the_page_says(run_cli: RunCli, tmp_path: Path) -> None:
    page = (PROJECT / "docs" / "form.md").read_text(encoding="utf-8")
    text = page.partition("```toml\n")[2].partition("```")[0]
    found = told(run_cli, tmp_path, text)
    words = (f"carries {found['loads'][0]:g} N at {found['heights_mm'][0]:g} mm and "
             f"{found['loads'][1]:g} N at {found['heights_mm'][1]:g} mm; "
             f"{' and '.join(found['binds_first'])} goes solid first, with "
             f"{found['bind_margin_mm']:g} mm of room")  # fmt: skip
    assert words in " ".join(page.split())
    assert [limit["verdict"] for limit in found["limits"]] == ["within"]


def test_three_published_springs_carry_the_sum_of_their_printed_loads(
    check_rows: Callable[[str], list[dict[str, str]]], run_cli: RunCli, tmp_path: Path
) -> None:
    """Source: US Army TM 9-2815-220-24, WP 0145 00-3: loads at two lengths, greatest solid height.

    The step of the inner spring is ours: 2.26 - 2.07 = 0.19 in, the difference of the longer
    lengths, which the manual does not call a step. With it the inner and the outer spring go solid
    together, at 1.28 + 0.19 = 1.47 in. By hand: 85.4 + 51.7 + 26.2 = 163.3 lbf at 2.26 in; 0.70 in
    lower 134.2 + 81.4 + 26.2 + 0.70 (43.9 - 26.2) / 0.77 = 257.891 lbf; room 1.56 - 1.47 = 0.09 in.
    The printed tolerances add up to 8.18 lbf at the longer lengths.
    """
    solid = {"inner": "1.28", "intermediate": "1.34", "outer": "1.47"}
    rows: dict[str, list[dict[str, str]]] = {}
    for row in check_rows("tm_9-2815-220-24_valve_springs.csv"):
        rows.setdefault(row["spring"], []).append(row)
    longer = [max(pair, key=lambda row: float(row["length_in"])) for pair in rows.values()]
    text = 'heights = ["2.26 in", "1.56 in"]\nlift = "0.70 in"\n'
    text += '[[limit]]\nheight = "2.26 in"\nleast = "155.12 lbf"\nmost = "171.48 lbf"\n'
    for name, pair in rows.items():
        table = ", ".join(f'["{row["length_in"]} in", "{row["load_lb"]} lbf"]' for row in pair)
        text += f'[[spring]]\nname = "{name}"\nmeasured = [{table}]\n'
        text += f'solid_height = "{solid[name]} in"\n'
        text += 'step = "0.19 in"\n' if name == "inner" else ""
    found = told(run_cli, tmp_path, text)
    assert [load / LBF for load in found["loads"]] == pytest.approx([163.3, 257.8909091])
    # The manual's kilograms, made with 0.454: another print of the same sum.
    kilograms = sum(float(row["load_kg_printed"]) for row in longer)
    assert found["loads"][0] / 9.80665 == pytest.approx(kilograms, rel=1e-3)
    assert sum(float(row["tolerance_lb"]) for row in longer) == pytest.approx(8.18)
    assert found["limits"][0]["verdict"] == "within"
    assert found["binds_first"] == ["inner", "outer"]
    assert found["bind_margin_mm"] / 25.4 == pytest.approx(0.09)


def test_inches_and_pounds_give_what_millimetres_and_newtons_give(
    run_cli: RunCli, tmp_path: Path
) -> None:
    """1 in is 25.4 mm and 1 lbf 4.4482216152605 N, exactly (NIST SP 811)."""
    inches = NEST
    pound, inch = Fraction("4.4482216152605"), Fraction("25.4")
    for mm in ("40", "30", "10", "1.5", "50", "26", "45", "25", "2"):
        inches = inches.replace(f'"{mm} mm"', f'"{float(Fraction(mm) / inch):.15f} in"')
    for newtons in ("260", "280", "2"):
        inches = inches.replace(f'"{newtons} N"', f'"{float(Fraction(newtons) / pound):.15f} lbf"')
    for rate in ("20", "10"):
        turned = float(Fraction(rate) * inch / pound)
        inches = inches.replace(f'"{rate} N/mm"', f'"{turned:.15f} lbf/in"')
    assert "mm" not in inches
    assert " N" not in inches
    one, other = told(run_cli, tmp_path, NEST), told(run_cli, tmp_path, inches)
    assert one["limits"][0]["verdict"] == other["limits"][0]["verdict"]
    for key in ("rate_n_per_mm", "free_mm", "solid_mm", "bind_margin_mm", "loads"):
        assert one[key] == pytest.approx(other[key], rel=1e-12), key
    for mine, theirs in zip(one["springs"], other["springs"], strict=True):
        assert mine["loads"] == pytest.approx(theirs["loads"], rel=1e-12)
        assert mine["heights_mm"] == pytest.approx(theirs["heights_mm"], rel=1e-12)


@pytest.mark.parametrize(
    ("least", "word"),
    [("266.71", "within"), ("267", "undecided"), ("273", "undecided"), ("273.29", "outside")],
)
def test_the_sum_keeps_a_guard_band(least: str, word: str, run_cli: RunCli, tmp_path: Path) -> None:
    """1.645 times 2 N is 3.29 N (ISO 14253-1:2017), and the sum is 270 N; its end belongs to it."""
    text = NEST.replace('least = "260 N"', f'least = "{least} N"')
    assert told(run_cli, tmp_path, text, int(word != "within"))["limits"][0]["verdict"] == word


def test_a_single_spring_has_limits_and_a_stated_rate_too(run_cli: RunCli, tmp_path: Path) -> None:
    """Source: a truck diesel's manual: free 48.0 mm, 296.2 N at 38.9 mm, limit 257.9 N."""
    text = 'rate = "32.55 N/mm"\nfree_length = "47.1 mm"\ninstalled_height = "38.9 mm"\n'
    found = told(run_cli, tmp_path, text + '[[limit]]\nheight = "38.9 mm"\nleast = "257.9 N"\n')
    (limit,) = found["limits"]
    assert limit["load_n"] == pytest.approx(32.55 * 8.2)
    assert (limit["verdict"], limit["most_n"], limit["u_n"]) == ("within", None, None)
    assert (found["rate_n_per_mm"], found["rate_by_shape_n_per_mm"]) == (32.55, None)


def test_a_nest_of_one_is_told_as_the_spring_is(run_cli: RunCli, tmp_path: Path) -> None:
    keys = 'rate = "20 N/mm"\nfree_length = "50 mm"\nsolid_height = "26 mm"\n'
    before = (
        'heights = ["40 mm", "30 mm"]\nlift = "10 mm"\nheight_change = "0.2 mm"\n'
        'nominal_height = "39 mm"\nshims = ["0.5 mm"]\nretainer_to_seal = "11 mm"\n'
    )
    one = told(run_cli, tmp_path, before + keys)
    nest = told(run_cli, tmp_path, f'{before}[[spring]]\nname = "only"\n{keys}')
    same = set(one) & set(nest)
    assert same >= {"loads", "shims", "load_change_n", "seal_margin_mm", "bind_margin_mm"}
    assert {key: one[key] for key in same} == {key: nest[key] for key in same}


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('"25 mm"', '"27 mm"', "1.000 mm before the coils of inner touch, wanted: at least 1.5 mm"),
        ('"25 mm"', '"29 mm"', "at 30 mm the spring inner is solid (28 mm of its own, 29 mm)"),
        ('"45 mm"', '"37 mm"', "at 40 mm the spring inner is loose"),
        ('height = "40 mm"', 'height = "52 mm"', "at 52 mm the spring outer is loose"),
    ],
)
def test_one_spring_that_is_wrong_is_named(
    old: str, new: str, problem: str, run_cli: RunCli, tmp_path: Path
) -> None:
    assert old in NEST
    assert problem in told(run_cli, tmp_path, NEST.replace(old, new), 1)["problems"]


def test_what_is_not_known_of_one_is_not_known_of_the_nest(run_cli: RunCli, tmp_path: Path) -> None:
    """But a spring that is known to be short of room is still told."""
    text = NEST.replace('solid_height = "25 mm"\n', "")
    found = told(run_cli, tmp_path, text)
    assert (found["solid_mm"], found["bind_margin_mm"], found["binds_first"]) == (None, None, [])
    tight = text.replace("26 mm", "29 mm")
    words = "1.000 mm before the coils of outer touch, wanted: at least 1.5 mm"
    assert told(run_cli, tmp_path, tight, 1)["problems"] == [words]
    out = run_cli("spring", tmp_path / "nest.toml")[1]
    assert "room before coils touch      not known: no solid height of inner\n" in out


def test_people_get_the_nest_and_its_springs(run_cli: RunCli, tmp_path: Path) -> None:
    file = tmp_path / "nest.toml"
    file.write_text(NEST, encoding="utf-8")
    status, out, _ = run_cli("spring", file)
    assert status == 0
    assert "a nest of 2, installed at 40 mm\n" in out
    assert "room before coils touch          3.000 mm   inner first\n" in out
    assert "limit at 40 mm                  270.00 N   from 260.00 up to 280.00 N: within\n" in out
    assert out.count("\ninner ") == 1


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('name = "inner"', 'name = "outer"', "line 11, spring: found two springs of one name"),
        ('name = "inner"\n', "", "spring.2.name: this key is missing"),
        ('rate = "10 N/mm"', 'rate = "10 N"', "line 19, spring.2.rate: found the unit 'N'"),
        ('rate = "10 N/mm"', 'rate = "0 N/mm"', "spring.2.rate: found a rate of 0 N/mm"),
        ('rate = "10 N/mm"', 'colour = "red"', "spring.2.colour: unknown key, found 'red'"),
        ('rate = "10 N/mm"\n', "", "spring.2.wire_diameter: this key is missing"),
        ('rate = "10 N/mm"', 'rate = "9 N/mm"\nmeasured = [["1 mm", "2 N"]]',
         "spring.2.rate: found it beside measured, accepted: one of the two"),
        ('step = "2 mm"', 'step = "30 mm"', "spring.2.step: found '30 mm', accepted: less than"),
        ('step = "2 mm"', 'step = "far"', "line 22, spring.2.step: found 'far', accepted: a"),
        ('free_length = "45 mm"\n', "", "spring.2.free_length: this key is missing"),
        ('heights = ["40 mm", "30 mm"]', "", "heights: this key is missing; a nest needs it"),
        ('lift = "10 mm"', 'lift = "-1 mm"', "lift: found '-1 mm', accepted: 0 or more"),
        ('lift = "10 mm"', 'free_length = "9 mm"', "line 2, free_length: unknown key"),
        ('least = "260 N"\nmost = "280 N"\n', "", "limit.1: found neither least nor most"),
        ('least = "260 N"', 'least = "290 N"', "line 7, limit.1.least: found '290 N', accepted:"),
        ('least = "260 N"', 'least = "260 mm"', "limit.1.least: found the unit 'mm' in '260 mm'"),
        ('u = "2 N"', 'u = "-2 N"', "line 9, limit.1.u: found '-2 N', accepted: 0 or more"),
        ('height = "40 mm"\n', "", "limit.1.height: this key is missing"),
        ('solid_height = "25 mm"', 'lift = "9 mm"',
         "line 21, spring.2.lift: found it in a [[spring]] table, accepted: before the first"),
        ('rate = "10 N/mm"', 'rate = "1e90 N/mm"',
         "spring.2.rate: found '1e90 N/mm', accepted: up to 1e+09 N/mm"),
        (NEST[NEST.index("[[spring]]"):], "spring = []", "spring: found []"),
    ],
)  # fmt: skip
def test_what_cannot_be_reckoned_is_said_in_a_sentence(
    old: str, new: str, sentence: str, run_cli: RunCli, tmp_path: Path
) -> None:
    file = tmp_path / "nest.toml"
    assert old in NEST
    text = NEST.replace(old, new)
    if new == "spring = []":
        text = new + "\n" + NEST.replace(old, "")
    file.write_text(text, encoding="utf-8")
    status, out, err = run_cli("spring", file, "--json")
    assert (status, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1


def test_single_brackets_are_told(run_cli: RunCli, tmp_path: Path) -> None:
    file = tmp_path / "nest.toml"
    file.write_text('heights = ["40 mm"]\n[spring]\nname = "only"\n', encoding="utf-8")
    status, out, err = run_cli("spring", file)
    assert (status, out) == (2, "")
    words = "line 2, spring: found [spring], accepted: [[spring]], for there may be several\n"
    assert err.endswith(words)

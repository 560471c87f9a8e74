"""What the book wants of springs stands in the sheet, and a plan keeps it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings, strategies as st
from test_survey import SHEET, U, readings, value

from gaugelink import content, sheetfile
from gaugelink.commands.plan_export import job_file
from gaugelink.commands.plan_file import load_prices, load_task
from gaugelink.errors import InputError
from gaugelink.force import exact_newtons, parse_force, parse_rate
from gaugelink.judging import judge
from gaugelink.plan import plan_for
from gaugelink.planning.options import Fitting, Ways
from gaugelink.planning.survey import Survey, survey
from gaugelink.quantity import parse_length

MM = """
[[spring]]
spring = [["40 mm", "320 N"], ["30 mm", "640 N"]]
spring_load = { min = "280 N", max = "345 N" }
spring_tested_at = "39.5 mm"
lift = "9.5 mm"
solid_height = "27 mm"
bind_margin_min = "1.5 mm"
source = "p. 19"
"""
N_OF_LBF = Fraction("0.45359237") * Fraction("9.80665")
"""Definition of the pound and the standard acceleration (NIST SP 811, appendix B)."""


def surveyed(springs: str, **texts: str) -> Survey:
    sheet = sheetfile.load(SHEET + springs, "sheet.toml")
    shop = load_prices(*content.read("sim/prices", "demo-shop"), kinds=sheet.head.kinds)
    measured = readings()
    for place, (valve, text) in enumerate(texts.items(), 200):
        measured.append(value("installed spring height", valve.removeprefix("v"), text,
                              place=place))  # fmt: skip
    return survey(sheet, measured, judge(sheet, measured), shop, None, "trial")


def refused(springs: str) -> InputError:
    found = sheetfile.check(SHEET + springs, "sheet.toml")
    assert found.sheet is None
    return found.errors[0]


def test_units_of_force_are_exact():
    assert parse_force("1 lbf") == N_OF_LBF
    assert parse_force("1kgf") == Fraction("9.80665")
    assert parse_force("1 N") == 1
    assert parse_rate("1 lbf/in") == N_OF_LBF / Fraction("25.4")
    assert parse_rate("2,5 N/mm") == Fraction("2.5")
    with pytest.raises(ValueError, match="does not end"):
        exact_newtons(Fraction(1, 3))


@given(st.integers(0, 10**7), st.integers(0, 4), st.sampled_from(["N", "lbf", "kgf"]))
def test_a_force_is_written_with_all_its_digits(digits: int, places: int, unit: str):
    force = parse_force(f"{digits / 10**places:.{places}f} {unit}")
    assert parse_force(exact_newtons(force)) == force


@pytest.mark.parametrize(
    ("text", "what"),
    [("362", "without a unit, accepted: N, lbf or kgf"), ("362 lb", "found the unit 'lb'"),
     ("many N", "accepted: a plain decimal number with its unit, such as 362 N"),
     ("9" * 70 + " N", "'..., accepted: a plain decimal number")],
)  # fmt: skip
def test_a_bad_force_is_refused_in_words(text: str, what: str):
    with pytest.raises(InputError) as fault:
        parse_force(text)
    assert what in str(fault.value)


def test_the_rules_of_a_kind_come_from_its_table():
    rules = surveyed(MM).task.rules["exhaust"]
    assert rules.spring is not None
    assert rules.spring.points == ((40, 320), (30, 640))
    assert rules.load == (280, 345)
    assert (rules.tested_at_pm, rules.lift_pm, rules.solid_pm, rules.bind_least_pm) == tuple(
        parse_length(text).pm for text in ("39.5 mm", "9.5 mm", "27 mm", "1.5 mm"))  # fmt: skip
    only = surveyed(MM.replace("[[spring]]", '[[spring]]\nvalves = ["intake"]')).task.rules
    assert (only["intake"].lift_pm, only["exhaust"].lift_pm) == (9_500_000_000, None)


def test_a_rate_and_a_free_length_say_the_same_as_a_table():
    rate = MM.replace('spring = [["40 mm", "320 N"], ["30 mm", "640 N"]]',
                      'rate = "32 N/mm"\nfree_length = "50 mm"')  # fmt: skip
    one, two = (surveyed(text).task.rules["intake"].spring for text in (MM, rate))
    assert one is not None
    assert two is not None
    for height in (Fraction(50), Fraction("41.3"), Fraction(28)):
        assert one.load(height) == two.load(height) == 32 * (50 - height)


@settings(max_examples=60, deadline=None)
@given(
    rate=st.integers(100, 900), free=st.integers(440, 600), low=st.integers(100, 250),
    more=st.integers(1, 100), height=st.integers(300, 420),
)  # fmt: skip
def test_limits_of_load_and_coils_are_those_of_the_hand_formula(
    rate: int, free: int, low: int, more: int, height: int
) -> None:
    """F(L) = k (L0 - L); room before the coils touch = L - lift - solid height."""
    k, l0 = Fraction(rate, 10), Fraction(free, 10)
    least, most = Fraction(low), Fraction(low + more)
    task = surveyed(f"""
[[spring]]
rate = "{rate / 10:.1f} N/mm"
free_length = "{free / 10:.1f} mm"
spring_load = {{ min = "{low} N", max = "{low + more} N" }}
spring_tested_at = "30 mm"
lift = "8 mm"
solid_height = "20 mm"
bind_margin_min = "1.5 mm"
""").task
    fitting = Fitting(Ways(task, (False, 0, 0)), 0, 0, frozenset())
    new = next(load for is_new, load, _ in fitting.springs() if is_new)
    at = Fraction(height, 10)
    bounds = {one.name: one for one in fitting.held(new)}
    pm = int(at * 10**9)
    assert (bounds["spring load min"].room_pm(pm) >= 0) == (k * (l0 - at) >= least)
    assert (bounds["spring load max"].room_pm(pm) >= 0) == (k * (l0 - at) <= most)
    assert (bounds["coil-bind margin min"].room_pm(pm) >= 0) == (
        at - 8 - 20 >= Fraction("1.5"))  # fmt: skip


def test_millimetres_and_inches_give_the_same_rules_and_plan():
    mm = """
[[spring]]
spring = [["40.64 mm", "355.85772922084 N"], ["30.48 mm", "711.71545844168 N"]]
spring_load = { min = "311.375513068235 N" }
spring_tested_at = "40.64 mm"
lift = "9.525 mm"
solid_height = "25.4 mm"
bind_margin_min = "1.524 mm"
"""
    inch = """
[[spring]]
spring = [["1.6 in", "80 lbf"], ["1.2 in", "160 lbf"]]
spring_load = { min = "70 lbf" }
spring_tested_at = "1.6 in"
lift = "0.375 in"
solid_height = "1 in"
bind_margin_min = "0.06 in"
"""
    one, two = (surveyed(text, v1I="40.9 mm", v1E="41.6 mm").task for text in (mm, inch))
    assert one == two


@pytest.mark.parametrize("springs", [
    MM, MM.replace(', max = "345 N"', "").replace("280 N", "62.9 lbf"),
    '[[spring]]\nlift = "9.5 mm"\nsolid_height = "1.06 in"\nbind_margin_min = "0.06 in"\n',
    MM.replace('spring = [["40 mm", "320 N"], ["30 mm", "640 N"]]',
               'rate = "183.5 lbf/in"\nfree_length = "49.93 mm"').replace("280 N", "28 kgf"),
])  # fmt: skip
def test_springs_are_written_and_read_again(springs: str):
    found = surveyed(springs, v1I="40.9 mm", v1E="41.2 mm")
    places = tuple(replace(place, spring_load_n=parse_force("70.25 lbf"))
                   for place in found.task.places)  # fmt: skip
    rules = {kind: replace(one, u_load_n=Fraction("2.5")) for kind, one in found.task.rules.items()}
    task = replace(found.task, places=places, rules=rules)
    prices = content.read("sim/prices", "demo-shop")
    read = load_task(job_file(replace(found, task=task), "x"), "job.toml", prices)
    assert read.places == task.places
    for kind, one in task.rules.items():
        again = read.rules[kind]
        assert (again.spring, again.load, again.tested_at_pm, again.u_load_n) == (
            one.spring, one.load, one.tested_at_pm, one.u_load_n)  # fmt: skip
        assert (again.lift_pm, again.solid_pm, again.bind_least_pm) == (
            one.lift_pm, one.solid_pm, one.bind_least_pm)  # fmt: skip


def test_installed_height_is_measured_where_springs_hang_on_it():
    sheet = sheetfile.load(SHEET + MM, "sheet.toml")
    steps = [step.position for step in plan_for(sheet)]
    high = [at for at in steps if at.characteristic == "installed spring height"]
    assert [at.valve for at in high] == ["1I", "1E"]
    limit = '\n[[limit]]\ncharacteristic = "installed spring height"\nnew_max = "41.6 mm"\n'
    both = plan_for(sheetfile.load(SHEET + limit + MM, "sheet.toml"))
    assert len(both) == len(steps)
    found = surveyed(MM, v1I="40.0 mm")
    assert "installed spring height" in (found.task.measured or ())
    assert found.task.places[0].readings["installed spring height"] == 40_000_000_000
    assert found.task.rules["intake"].u_pm["installed spring height"] == U


PAIRS = 'spring = [["40 mm", "320 N"], ["30 mm", "640 N"]]'


@pytest.mark.parametrize(
    ("old", "new", "key", "what"),
    [
        (PAIRS, 'spring = [["40 mm", "320 N"]]', "spring", "a load at one height"),
        (PAIRS, 'spring = [["40 mm", "320 N"], ["30 mm", "300 N"]]', "spring", "do not rise"),
        (PAIRS, 'spring = [["40 mm", "320 N"], ["40 mm", "340 N"]]', "spring", "a height twice"),
        (PAIRS, 'spring = [["40 mm", "320"], ["30 mm", "300 N"]]', "spring", "without a unit"),
        (PAIRS, 'spring = [["40 N", "320 N"], ["30 mm", "640 N"]]', "spring", "unit 'n'"),
        (PAIRS, 'spring = [["40 mm", "320 N", "x"]]', "spring", "at most 2"),
        (PAIRS, 'spring = [["10 mm", "320 N"], ["0 mm", "640 N"]]', "spring", "not above 0"),
        (PAIRS, 'rate = "32 N/mm"', "rate", "rate and free_length together"),
        (PAIRS, 'free_length = "50 mm"', "free_length", "rate and free_length together"),
        (PAIRS, 'rate = "0 N/mm"\nfree_length = "50 mm"', "rate", "accepted: above 0"),
        (PAIRS, 'rate = "32 N"\nfree_length = "50 mm"', "rate", "accepted: N/mm, lbf/in or kgf"),
        (PAIRS, 'rate = "32 N/mm"\nfree_length = "0.2 mm"', "free_length", "above 0.254 mm"),
        (PAIRS, f'{PAIRS}\nrate = "3 N/mm"\nfree_length = "50 mm"', "spring", "one of the two"),
        (PAIRS, "", "spring_load", "needed with it: spring (or rate and free_length)"),
        ('spring_tested_at = "39.5 mm"', "", "spring_load", "and spring_tested_at"),
        ('"39.5 mm"', '"50 mm"', "spring_tested_at", "loose; accepted: below 50.00 mm"),
        ('"39.5 mm"', '"0 mm"', "spring_tested_at", "accepted: above 0"),
        ('spring_load = { min = "280 N", max = "345 N" }', "", "spring_tested_at",
         "needed with it: spring_load"),
        ('min = "280 N"', 'min = "380 N"', "spring_load", "min not above max"),
        ('min = "280 N"', 'min = "-280 N"', "spring_load.min", "0 or more"),
        ('min = "280 N"', 'least = "280 N"', "spring_load.least", "accepted: min, max"),
        ('lift = "9.5 mm"\n', "", "solid_height", "bind_margin_min together"),
        ('bind_margin_min = "1.5 mm"', 'bind_margin_min = "-1 mm"', "bind_margin_min", "0 or more"),
        ("[[spring]]", '[[spring]]\nvalves = ["middle"]', "valves", "'intake' or 'exhaust'"),
        ("[[spring]]", "[[spring]]\nvalves = []", "valves", "at least 1"),
        ("[[spring]]", '[[spring]]\nsprung = "1 mm"', "sprung", "accepted: valves, spring, rate"),
    ],
)  # fmt: skip
def test_a_bad_field_is_refused_with_its_line(old: str, new: str, key: str, what: str):
    assert old in MM
    fault = refused(MM.replace(old, new, 1))
    assert what in fault.what
    assert f"spring.1.{key}" in (fault.field or "")
    assert fault.line is not None
    assert fault.line > SHEET.count("\n")


def test_a_table_that_limits_nothing_and_a_kind_that_stands_twice_are_refused():
    bare = f"[[spring]]\n{PAIRS}\n"
    assert "limits nothing" in refused(bare).what
    assert "'intake' a second time" in refused(MM + MM).what
    alone = SHEET.replace('valves = ["intake", "exhaust"]', 'valves = ["intake"]')
    fault = sheetfile.check(alone + MM.replace("[[spring]]", '[[spring]]\nvalves = ["exhaust"]'),
                            "sheet.toml").errors[0]  # fmt: skip
    assert "found 'exhaust', accepted on this head: intake" in fault.what


@pytest.mark.parametrize(
    ("old", "new", "key", "what"),
    [
        ('min = "280 N"', 'min = "340 N"', "spring_load.min", "a new spring has 336.0 N at 39.5"),
        ('min = "280 N", max = "345 N"', 'min = "62.9 N"', "spring_load.min", "see its unit"),
        ('lift = "9.5 mm"', 'lift = "12.6 mm"', "lift", "the coils touch before full lift"),
    ],
)  # fmt: skip
def test_an_unusual_figure_is_told_with_its_line_and_the_sheet_can_be_used(
    old: str, new: str, key: str, what: str
) -> None:
    assert old in MM
    found = sheetfile.check(SHEET + MM.replace(old, new), "sheet.toml")
    (doubt,) = found.warnings
    assert found.sheet is not None
    assert what in doubt.what
    assert doubt.field == f"spring.1.{key}"
    assert doubt.line is not None
    assert not sheetfile.check(SHEET + MM, "sheet.toml").warnings

"""Where a book prints millimetres and inches, the two are held against each other."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, strategies as st

from gaugelink.errors import InputError
from gaugelink.quantity import decimal_text, exact_text
from gaugelink.sheetfile import Checked, check, load

if TYPE_CHECKING:
    from collections.abc import Callable

TITLE = """\
[sheet]
name = "Pump engine"
edition = "1"
source = "invented"

[head]
cylinders = 2
valves = ["intake", "exhaust"]

"""


def sheet_with(*limits: str) -> str:
    return TITLE + "".join(f"[[limit]]\n{item}\n" for item in limits)


def faults_of(text: str) -> list[InputError]:
    found = check(text, "s.toml")
    assert found.sheet is None
    return found.errors


def of_pair(inch: str, mm: str, key: str = "service_min", more: str = "") -> Checked:
    text = sheet_with(f'characteristic = "margin"\n{key} = ["{inch} in", "{mm} mm"]\n{more}')
    found = check(text, "s.toml")
    assert not found.errors
    return found


@pytest.mark.parametrize(
    ("inch", "mm", "apart"),
    [
        # US Army TM 9-6115-604-34, Table 1-4 (public domain), differences multiplied out by hand.
        ("0.105", "12.67", "10003.0 um"),  # valve rim thickness: 2.667 is meant
        ("0.8456", "21.378", "100.2 um"),  # guide outside diameter: 21.478 is meant
        ("0.8435", "21.415", "9.9 um"),  # guide bore in head: 21.425 is meant
        ("34.755", "120.78", "761997.0 um"),  # head thickness: 4.755 in is meant
        # Other US Army manuals: seat runout and seat width, ten times off.
        ("0.003", "0.760", "683.8 um"),
        ("0.025", "0.065", "570.0 um"),
    ],
)
def test_a_misprint_of_a_real_manual_is_reported(inch: str, mm: str, apart: str) -> None:
    (item,) = of_pair(inch, mm).disagreements
    assert (item.line, item.field, item.resolved) == (12, "limit.1.service_min", False)
    assert item.words.startswith(f"{inch} in and {mm} mm differ by {apart}, more than rounding")
    assert "look at the book again" in item.words
    assert "add resolved.service_min" in item.words


@pytest.mark.parametrize(
    ("inch", "mm"),
    [
        ("0.4945", "12.560"),  # TM 9-6115-604-34, Table 1-4: valve stem
        ("0.4996", "12.690"),  # same: guide inside, wear limit
        ("1.3775", "34.990"),  # same: rocker bushing, 34.9885 exactly, at the edge of rounding
        ("0.2488", "6.32"),  # TM 9-2815-205-24, WP 0106, Table 1: stem
        ("0.0017", "0.04"),  # same: stem to guide clearance
        ("0.3715", "9.4361"),  # TM 5-2420-222-34, Table 3-2: stem
        ("0.3408", "8.657"),  # TM 10-3930-653-14&P, page 4-28: 8.656 32, off in the last digit
        ("0.08", "2.0"),  # same: head grinding limit
        ("0.2323", "5.90"),  # TM 9-2815-257-24, para 5-11: stem
        ("0.23496", "5.968"),  # TM 9-6115-670-14&P, para 6.7: stem
    ],
)
def test_a_pair_of_a_real_manual_that_is_right_is_not_reported(inch: str, mm: str) -> None:
    assert of_pair(inch, mm).disagreements == []


TABLES = {
    # file: rows that its remarks call wrong beyond rounding, by inch figure
    "tm_9-6115-604-34_diesel_generator.csv": {"0.105", "0.8456", "0.8435"},
    "tm_9-2815-205-24_6V53.csv": set(),
    "tm_5-2420-222-34_tractor.csv": set(),
    "tm_10-3930-653-14P_forklift.csv": set(),
    "tm_9-2815-257-24_small_diesel.csv": set(),
    "tm_9-6115-670-14P_generator.csv": set(),
}


@pytest.mark.parametrize("name", TABLES)
def test_of_a_whole_table_only_the_known_misprints_are_reported(
    name: str, check_rows: Callable[[str], list[dict[str, str]]]
) -> None:
    """TM 5-2420-222-34 shows why rounding must be told by the last place of both figures."""
    pairs = [
        (row[f"{end}_in"], row[f"{end}_mm_printed"])
        for row in check_rows(name)
        for end in ("min", "max", "limit")
        if row[f"{end}_in"] and row[f"{end}_mm_printed"]
    ]
    assert len(pairs) >= 4
    reported = {inch for inch, mm in pairs if of_pair(inch, mm).disagreements}
    assert reported == TABLES[name]


def test_a_disagreement_must_be_resolved_before_the_sheet_is_used() -> None:
    text = sheet_with('characteristic = "margin"\nservice_min = ["0.105 in", "12.67 mm"]')
    assert check(text, "s.toml").sheet is not None
    with pytest.raises(InputError, match="differ by 10003") as fault:
        load(text, "s.toml")
    assert (fault.value.line, fault.value.field) == (12, "limit.1.service_min")


@pytest.mark.parametrize(
    ("keep", "pm", "words"),
    [
        ("in", 2_667_000_000, "service min 0.105 in"),
        ("mm", 12_670_000_000, "service min 12.67 mm"),
    ],
)
def test_a_resolution_decides_and_keeps_its_reason(keep: str, pm: int, words: str) -> None:
    """Only the figure that decides is shown as the limit."""
    more = f'resolved.service_min = {{ keep = "{keep}", reason = "drawing", by = "A. N." }}'
    found = of_pair("0.105", "12.67", more=more)
    (item,) = found.disagreements
    assert item.resolved
    assert item.words.endswith(f"; A. N. keeps {keep}: drawing")
    assert found.sheet is not None
    limit = load(found.sheet.text, "s.toml").limits[0]
    assert limit.lower is not None
    assert (limit.lower.pm, limit.words) == (pm, words)
    assert limit.unit == keep


@pytest.mark.parametrize("lacking", ["keep", "reason", "by"])
def test_a_resolution_without_its_reason_or_name_is_refused(lacking: str) -> None:
    given = {"keep": "in", "reason": "drawing", "by": "A. N."}
    del given[lacking]
    inside = ", ".join(f'{key} = "{value}"' for key, value in given.items())
    text = sheet_with(
        'characteristic = "margin"\nservice_min = ["0.105 in", "12.67 mm"]\n'
        f"resolved.service_min = {{ {inside} }}"
    )
    (fault,) = faults_of(text)
    assert (fault.line, fault.field) == (13, f"limit.1.resolved.service_min.{lacking}")


def test_a_resolution_in_a_table_of_its_own_is_placed_too() -> None:
    text = sheet_with(
        'characteristic = "margin"\nservice_min = ["0.105 in", "12.67 mm"]\n'
        '[limit.resolved.new_min]\nkeep = "in"\nreason = "x"\nby = "y"'
    )
    (fault,) = faults_of(text)
    assert (fault.line, fault.field) == (13, "limit.1.resolved.new_min")


@given(st.integers(1, 10**6), st.sampled_from(["service_min", "service_max"]), st.booleans())
def test_both_figures_of_a_pair_are_within_whichever_stands_first(
    um: int, key: str, turned: bool
) -> None:
    """A printed figure itself is within; of two roundings the wider one decides."""
    mm = exact_text(um * 10**6, "mm")
    inch = decimal_text(round(Fraction(um, 25400) * 10**4), 4)
    pair = [f"{inch} in", f"{mm} mm"]
    first, second = reversed(pair) if turned else pair
    text = sheet_with(f'characteristic = "margin"\n{key} = ["{first}", "{second}"]')
    limit = load(text, "s.toml").limits[0]
    bound = limit.bounds[key]
    figures = [Fraction(um) * 10**6, Fraction(inch) * 25_400_000_000]
    assert bound.pm == (min(figures) if key == "service_min" else max(figures))
    assert str(bound) == f"{first} ({second})"


def test_bounds_that_differ_by_rounding_alone_are_in_order() -> None:
    """A book may print the service limit in one unit and the new size in two: 7.935 is 0.3124."""
    text = sheet_with(
        'characteristic = "stem diameter"\nservice_min = "7.935 mm"\n'
        'new_min = ["7.935 mm", "0.3124 in"]\nnew_max = "0.3124 in"'
    )
    assert load(text, "s.toml").limits[0].words == ("service min 7.935 mm, new max 0.3124 in")


def test_a_list_of_one_text_is_that_text() -> None:
    one, other = (
        load(sheet_with(f'characteristic = "margin"\nnew_min = {value}'), "s.toml").limits[0]
        for value in ('"1 mm"', '["1 mm"]')
    )
    assert one == other


def test_negative_bounds_are_read_with_their_sign() -> None:
    """A stand-down may be printed as a negative protrusion, -0.86 to -1.22 (common practice)."""
    text = sheet_with('characteristic = "stand-down"\nnew_min = "-1.22 mm"\nnew_max = "-0.86 mm"')
    limit = load(text, "s.toml").limits[0]
    assert limit.lower is not None
    assert limit.lower.pm == -1_220_000_000


def test_an_unresolved_pair_does_not_hide_the_other_faults() -> None:
    text = sheet_with(
        'characteristic = "margin"\nservice_min = ["0.105 in", "12.67 mm"]\nnew_min = "2 mm"',
        'characteristic = "seat width"\nservice_max = "x mm"',
    )
    found = check(text, "s.toml")
    assert [item.field for item in found.disagreements] == ["limit.1.service_min"]
    assert [fault.field for fault in found.errors] == ["limit.1.new_min", "limit.2.service_max"]

"""Lengths are exact: reading, converting, comparing and printing lose nothing."""

from __future__ import annotations

import string
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, example, given, strategies as st

from gaugelink.errors import InputError
from gaugelink.quantity import (
    LARGEST_PM,
    PM_PER,
    Displayed,
    LengthUnit,
    agree_within_rounding,
    decimal_text,
    exact_text,
    from_decimal,
    is_length_unit,
    micrometres_text,
    parse_length,
    parse_number,
    rounded_text,
)

# One inch is 25.4 mm exactly: international yard and pound agreement of 1959; NIST SP 811, B.6.
MM: dict[LengthUnit, Fraction] = {"mm": Fraction(1), "in": Fraction("25.4")}
PLACES: dict[LengthUnit, int] = {"mm": 9, "in": 8}

units: st.SearchStrategy[LengthUnit] = st.sampled_from(("mm", "in"))


@st.composite
def decimals(draw: st.DrawFn, most_places: int = 8) -> str:
    """Decimal texts as gauges show them: a sign or none, up to four digits, a point, places."""
    sign = draw(st.sampled_from(("", "-", "+")))
    whole = draw(st.integers(0, 9999))
    places = draw(st.integers(0, most_places))
    part = draw(st.text(string.digits, min_size=places, max_size=places))
    return f"{sign}{whole}.{part}" if places else f"{sign}{whole}"


def pm_of(text: str, unit: LengthUnit) -> Fraction:
    """The same length by fractions alone, in picometres."""
    return Fraction(text) * MM[unit] * 10**9


@given(decimals(), units)
def test_a_length_is_read_exactly(text: str, unit: LengthUnit) -> None:
    read = parse_length(text, unit)
    assert read.pm == pm_of(text, unit)
    assert isinstance(read.pm, int)


@given(decimals(), units)
def test_the_digits_shown_are_kept(text: str, unit: LengthUnit) -> None:
    """Trailing zeros stay: 7.960 is a reading to a thousandth, 7.96 is not."""
    read = parse_length(text, unit)
    plain = text.removeprefix("+")
    assert read.text == (plain.removeprefix("-") if Fraction(text) == 0 else plain)
    assert str(read) == f"{read.text} {unit}"
    places = len(text.partition(".")[2])
    assert read.step_pm == MM[unit] * Fraction(10) ** (9 - places)


@given(decimals(), units)
def test_a_length_printed_and_read_again_is_the_same(text: str, unit: LengthUnit) -> None:
    read = parse_length(text, unit)
    assert parse_length(str(read)) == read
    assert parse_length(f"{read.text}{unit.upper()}") == read
    assert parse_length(read.text.replace(".", ","), unit) == read
    assert parse_length(read.text.replace("-", "\N{MINUS SIGN} "), unit) == read


@given(decimals(), units, decimals(), units)
@example("0.3124", "in", "7.93496", "mm")
@example("1", "in", "25.4", "mm")
@example("-0.0005", "in", "-0.0127", "mm")
def test_lengths_compare_as_fractions_do(
    one: str, one_unit: LengthUnit, other: str, other_unit: LengthUnit
) -> None:
    a, b = parse_length(one, one_unit).pm, parse_length(other, other_unit).pm
    x, y = Fraction(one) * MM[one_unit], Fraction(other) * MM[other_unit]
    assert ((a < b), (a == b), (a > b)) == ((x < y), (x == y), (x > y))


@pytest.mark.parametrize(
    ("step", "unit"),
    [
        # Resolutions that one indicator manual lists, and those of calipers and micrometers
        # (common practice, no source).
        *[(text, "mm") for text in ("0.1", "0.05", "0.02", "0.01", "0.005", "0.002", "0.001")],
        *[(text, "mm") for text in ("0.0005", "0.0002", "0.0001", "0.00001", "0.000001")],
        *[(text, "in") for text in ("0.01", "0.005", "0.002", "0.001", "0.0005", "0.0002")],
        *[(text, "in") for text in ("0.0001", "0.00005", "0.00002", "0.00001", "0.000001")],
    ],
)
def test_every_resolution_of_a_gauge_is_a_whole_number_of_picometres(
    step: str, unit: LengthUnit
) -> None:
    read = parse_length(step, unit)
    assert read.pm == Fraction(step) * MM[unit] * 10**9
    places = len(step.partition(".")[2])
    counts = 123_457
    shown = from_decimal(int(step.replace(".", "")) * counts, places, unit)
    assert shown.pm == counts * read.pm
    assert Fraction(shown.text) == counts * Fraction(step)


@pytest.mark.parametrize(("text", "pm"), [("7.935 mm", 7_935_000_000), ("0.3124 in", 7934960000)])
def test_a_limit_of_a_book_has_this_many_picometres(text: str, pm: int) -> None:
    """0.3124 x 25.4 = 7.934 96 exactly."""
    assert parse_length(text).pm == pm


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("7.960", None, "without a unit"),
        ("7.960 cm", None, "found the unit 'cm'"),
        ("7.960 inch", None, "found the unit 'inch'"),
        ('0.3124"', None, "found the unit '\"'"),
        ("7.960 um", None, "found the unit 'um'"),
        ("7.960 mm", "in", "where the unit is stated to be in"),
        ("7.960 mm in", None, "plain decimal number"),
        ("7.960 mm 0.3134 in", None, "plain decimal number"),
        ("mm", None, "plain decimal number"),
        ("", None, "plain decimal number"),
        ("", "mm", "plain decimal number"),
        ("   ", "mm", "plain decimal number"),
        (".", "mm", "plain decimal number"),
        ("-", "mm", "plain decimal number"),
        ("+-1", "mm", "plain decimal number"),
        ("7.96e0", "mm", "plain decimal number"),
        ("1e3 mm", None, "plain decimal number"),
        ("nan", "mm", "plain decimal number"),
        ("NaN mm", None, "plain decimal number"),
        ("inf", "mm", "plain decimal number"),
        ("1,234.5", "mm", "plain decimal number"),
        ("1.234,5", "mm", "plain decimal number"),
        ("1 234.5", "mm", "plain decimal number"),
        ("1'234", "mm", "plain decimal number"),
        ("1_000", "mm", "plain decimal number"),
        ("0x10", "mm", "plain decimal number"),
        ("1/2", "in", "plain decimal number"),
        ("\u0667.\u0669", "mm", "plain decimal number"),
        ("\uff17.9", "mm", "plain decimal number"),
        ("7.9\u00b2", "mm", "plain decimal number"),
        ("7.96\n7.97", "mm", "plain decimal number"),
        ("7.9600000001", "mm", "at most 9 for mm"),
        ("0.312400001", "in", "at most 8 for in"),
        ("9007200", "mm", "up to 9000 m"),
        ("-354615", "in", "up to 9000 m"),
        ("9" * 30, "mm", "up to 9000 m"),
        ("9" * 41, "mm", "plain decimal number"),
        ("9" * 5000, "mm", "plain decimal number"),
        ("0." + "0" * 5000, "mm", "plain decimal number"),
    ],
)
def test_what_is_no_length_is_refused(text: str, unit: LengthUnit | None, words: str) -> None:
    with pytest.raises(InputError) as fault:
        parse_length(text, unit)
    assert words in fault.value.what
    assert "accepted" in fault.value.what or "stated" in fault.value.what
    assert len(str(fault.value)) < 200


@given(st.text())
def test_any_text_is_a_length_or_refused_with_a_sentence(text: str) -> None:
    try:
        read = parse_length(text, "mm")
    except InputError as fault:
        assert fault.what  # noqa: PT017  the other outcome is as good
    else:
        assert Fraction(read.text) * PM_PER["mm"] == read.pm


def test_the_longest_length_is_the_largest_number_of_every_json_reader() -> None:
    """RFC 7493, clause 2.2: whole numbers up to 2^53 - 1 are the same everywhere."""
    assert from_decimal(LARGEST_PM, 9, "mm").pm == 2**53 - 1
    with pytest.raises(InputError, match=r"9007199\.254740992 mm"):
        from_decimal(LARGEST_PM + 1, 9, "mm")


def test_negative_places_are_refused() -> None:
    with pytest.raises(InputError, match="-1 decimal places"):
        from_decimal(5, -1, "mm")


@pytest.mark.parametrize(
    ("text", "digits", "places"),
    [("7", 7, 0), ("7.", 7, 0), (".5", 5, 1), ("-0.000", 0, 3), ("+ 12,50", 1250, 2)],
)
def test_a_plain_number_is_digits_and_places(text: str, digits: int, places: int) -> None:
    assert parse_number(text) == (digits, places)


@given(st.integers(), st.integers(0, 30))
def test_a_decimal_is_written_in_full(digits: int, places: int) -> None:
    text = decimal_text(digits, places)
    assert Fraction(text) == Fraction(digits, 10**places)
    assert len(text.partition(".")[2]) == places


@given(st.fractions(max_denominator=10**6), units)
def test_exact_text_is_exact_or_says_that_it_is_not(value: Fraction, unit: LengthUnit) -> None:
    text = exact_text(value, unit)
    true = value / PM_PER[unit]
    if text.endswith("..."):
        assert (true * 10**12).denominator != 1
        assert abs(Fraction(text.removesuffix("...")) - true) * 10**12 <= Fraction(1, 2)
    else:
        assert Fraction(text) == true
        assert text == "0" or not text.endswith("0") or "." not in text


@given(st.integers(-(10**13), 10**13), st.integers(0, 8))
@example(7_934_500_000, 3)
@example(7_935_500_000, 3)
@example(-400, 3)
def test_text_for_display_is_rounded_half_to_even(pm: int, places: int) -> None:
    """Python's decimal arithmetic is the other side."""
    quantum = Decimal(1).scaleb(-places)
    mm = (Decimal(pm) / 10**9).quantize(quantum, ROUND_HALF_EVEN)
    um = (Decimal(pm) / 10**6).quantize(quantum, ROUND_HALF_EVEN)
    assert rounded_text(pm, "mm", places) == f"{abs(mm) if mm == 0 else mm:f}"
    assert micrometres_text(pm, places) == f"{abs(um) if um == 0 else um:f}"


@given(st.fractions(-(10**12), 10**12, max_denominator=1000), units, st.integers(0, 8))
def test_text_for_display_is_within_half_a_place(
    pm: Fraction, unit: LengthUnit, places: int
) -> None:
    shown = Fraction(rounded_text(pm, unit, places))
    assert abs(shown - pm / (MM[unit] * 10**9)) <= Fraction(1, 2 * 10**places)


@given(st.integers(0, 10**11), st.integers(1, 4), st.integers(2, 5))
def test_two_roundings_of_one_value_agree(pm: int, mm_places: int, in_places: int) -> None:
    """Whatever the book's maker measured: its mm and inch roundings are never refused."""
    for rule in (ROUND_HALF_EVEN, ROUND_HALF_UP):
        mm = (Decimal(pm) / PM_PER["mm"]).quantize(Decimal(1).scaleb(-mm_places), rule)
        inch = (Decimal(pm) / PM_PER["in"]).quantize(Decimal(1).scaleb(-in_places), rule)
        assert agree_within_rounding(parse_length(f"{mm}", "mm"), parse_length(f"{inch}", "in"))


def span(shown: Displayed) -> tuple[Fraction, Fraction]:
    """Everything that rounds to what is shown, in millimetres."""
    half = Fraction(1, 2 * 10 ** len(shown.text.partition(".")[2]))
    value = Fraction(shown.text)
    return (value - half) * MM[shown.unit], (value + half) * MM[shown.unit]


@given(decimals(4), units, st.integers(-40, 40), units, st.integers(2, 5))
def test_two_printed_values_agree_where_their_spans_meet(
    text: str, unit: LengthUnit, off: int, other_unit: LengthUnit, places: int
) -> None:
    one = parse_length(text, unit)
    digits = round(Fraction(text) * MM[unit] / MM[other_unit] * 10**places) + off
    assume(abs(digits) < 10**9)
    other = from_decimal(digits, places, other_unit)
    (a, b), (c, d) = span(one), span(other)
    assert agree_within_rounding(one, other) is (a <= d and c <= b)


@pytest.mark.parametrize(
    ("inch", "mm"),
    [
        # Printed pairs of engine manuals that disagree; mostly US Army TM 9-6115-604-34, Table 1-4.
        ("0.105", "12.67"),
        ("0.8456", "21.378"),
        ("0.8435", "21.415"),
        ("34.755", "120.78"),
        ("0.006", "0.015"),
        ("0.003", "0.760"),
        ("0.005", "0.015"),
        ("0.025", "0.065"),
        ("0.020", "0.58"),
    ],
)
def test_misprinted_pairs_of_real_manuals_disagree(inch: str, mm: str) -> None:
    assert not agree_within_rounding(parse_length(inch, "in"), parse_length(mm, "mm"))


def test_only_millimetres_and_inches_are_units() -> None:
    assert [name for name in ("mm", "in", "MM", "cm", "", "um") if is_length_unit(name)] == [
        "mm",
        "in",
    ]

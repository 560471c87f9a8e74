"""Rock is held against rock and direct against direct, as the limit describes them."""

from __future__ import annotations

import itertools
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest

from gaugelink.judging import Judgement, Measured, judge
from gaugelink.quantity import parse_length
from gaugelink.sheetfile import load

if TYPE_CHECKING:
    from collections.abc import Callable

TITLE = """\
[sheet]
name = "Pump engine"
edition = "1"
source = "invented"
[head]
cylinders = 1
valves = ["intake"]
"""
# Acura CL 1998 3.0 L, service data, intake: by indicator at about 10 mm lift at most 0.16 mm, by
# bore less stem at most 0.08 mm. Test data only.
ROCK = """\
[[limit]]
characteristic = "guide clearance"
method = "rock"
lift = "10 mm"
valve_used = "new"
figure = "travel"
service_max = "0.16 mm"
"""
DIRECT = """\
[[limit]]
characteristic = "guide clearance"
method = "direct"
service_max = "0.08 mm"
"""
_places = itertools.count(1)


def value(characteristic: str, text: str, **more: Any) -> Measured:
    shown = parse_length(text)
    u = more.pop("u", None)
    lift = more.pop("lift", None)
    fields: dict[str, Any] = {
        "station": "",
        "direction": "",
        "place": next(_places),
        "u_pm": None if u is None else parse_length(u).pm,
        "lift_pm": None if lift is None else parse_length(lift).pm,
        **more,
    }
    return Measured("1I", characteristic, value_pm=shown.pm, text=shown.text, unit=shown.unit,
                    **fields)  # fmt: skip


def clearance(text: str, **more: Any) -> Measured:
    return value("guide clearance", text, **more)


def judged(limits: str, *values: Measured) -> Judgement:
    return judge(load(TITLE + limits, "s.toml"), values)


def rows(found: Judgement) -> list[tuple[str, str, str]]:
    return [(item.method, item.text, item.verdict) for item in found.verdicts]


def test_each_method_has_its_own_limit() -> None:
    """0.12 mm of travel is good by this book, and 0.12 mm of clearance is not."""
    found = judged(
        ROCK + DIRECT,
        clearance("0.12 mm", method="rock", figure="travel"),
        clearance("0.12 mm", method="direct"),
    )
    assert rows(found) == [("rock", "0.12", "within"), ("direct", "0.12", "outside")]


def test_rock_is_never_held_against_a_direct_limit_nor_the_other_way_round() -> None:
    rock = clearance("0.05 mm", method="rock", figure="travel")
    direct = clearance("0.05 mm", method="direct")
    for limits, wrong in ((DIRECT, rock), (ROCK, direct)):
        found = judged(limits, wrong)
        assert (found.verdicts, found.unused) == ([], [wrong])
        assert len(found.missing) == 1


def test_clearance_is_never_held_against_a_limit_on_travel_nor_the_other_way_round() -> None:
    on_clearance = ROCK.replace('figure = "travel"\n', "")
    for limits, wrong in ((ROCK, "clearance"), (on_clearance, "travel")):
        item = clearance("0.05 mm", method="rock", figure=wrong)
        assert judged(limits, item).unused == [item]


def test_a_value_without_a_method_is_taken_only_where_the_sheet_leaves_no_doubt() -> None:
    unstated = clearance("0.05 mm", figure="travel")
    assert rows(judged(ROCK, unstated)) == [("rock", "0.05", "within")]
    plain = clearance("0.05 mm")
    assert rows(judged(DIRECT, plain)) == [("direct", "0.05", "within")]
    for item in (unstated, plain):
        found = judged(ROCK + DIRECT, item)
        assert (found.verdicts, found.unused) == ([], [item])


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"lift": "8 mm"}, "taken with a lift of 8 mm, the limit is for 10 mm"),
        ({"lift": "10.04 mm"}, "taken with a lift of 10.04 mm, the limit is for 10 mm"),
        ({"lift": "0.4 in"}, "taken with a lift of 10.16 mm, the limit is for 10 mm"),
        ({"valve_used": "own"}, "taken with the own valve, the limit is for a new one"),
    ],
)
@pytest.mark.parametrize("text", ["0.01 mm", "0.50 mm"])
def test_another_lift_or_valve_leaves_rock_undecided(
    text: str, more: dict[str, Any], reason: str
) -> None:
    found = judged(ROCK, clearance(text, method="rock", figure="travel", **more))
    (item,) = found.verdicts
    assert item.verdict == "undecided"
    assert item.reason.startswith(reason)


@pytest.mark.parametrize(
    "more", [{}, {"lift": "10 mm"}, {"lift": "10.000 mm", "valve_used": "new"}]
)
def test_the_lift_and_valve_of_the_limit_or_none_stated_are_judged(more: dict[str, Any]) -> None:
    found = judged(ROCK, clearance("0.16 mm", method="rock", figure="travel", **more))
    assert rows(found) == [("rock", "0.16", "within")]


def test_a_sweep_that_fits_the_limit_decides_and_the_other_is_left_over() -> None:
    other = clearance("0.50 mm", method="rock", figure="travel", lift="8 mm")
    fits = clearance("0.10 mm", method="rock", figure="travel", lift="10 mm")
    found = judged(ROCK, other, fits)
    assert rows(found) == [("rock", "0.10", "within")]
    assert found.unused == [other]


def test_one_direction_of_rock_is_not_enough_and_a_result_for_the_guide_is() -> None:
    limit = ROCK.replace('method = "rock"', 'method = "rock"\njudge = "largest"')
    along = clearance("0.10 mm", figure="travel", direction="along")
    across = clearance("0.12 mm", figure="travel", direction="across")
    (item,) = judged(limit, along).verdicts
    assert (item.verdict, item.reason) == (
        "undecided",
        "the only reading: along; missing: across",
    )
    (item,) = judged(limit, along, across).verdicts
    assert (item.verdict, item.text) == ("within", "0.12")
    assert rows(judged(limit, clearance("0.12 mm", figure="travel"))) == [
        ("rock", "0.12", "within")
    ]


# Stem, guide and clearance as printed, mm; clearance min = guide min - stem max and max = guide
# max - stem min. Suzuki Aerio 2005 2.3 L, service data; US Army TM 9-6115-670-14&P, para 6.7.
PRINTED = [
    ("Suzuki Aerio 2.3", "intake", "5.965", "5.980", "6.000", "6.012", "0.020", "0.047"),
    ("Suzuki Aerio 2.3", "exhaust", "5.940", "5.955", "6.000", "6.012", "0.045", "0.072"),
    ("TM 9-6115-670-14P", "both", "5.968", "5.980", "6.010", "6.025", "0.030", "0.057"),
]


def test_the_printed_rows_are_those_of_the_check_file(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    rows = check_rows("guide_clearance_consistency.csv")
    assert [tuple(row.values())[:8] for row in rows] == PRINTED


@pytest.mark.parametrize("row", PRINTED, ids=[f"{row[0]} {row[1]}" for row in PRINTED])
def test_direct_clearance_of_printed_sizes_is_the_printed_clearance(row: tuple[str, ...]) -> None:
    stem_min, stem_max, bore_min, bore_max, least, most = row[2:]
    limit = DIRECT.replace(
        'service_max = "0.08 mm"', f'new_min = "{least} mm"\nnew_max = "{most} mm"'
    )
    sizes = [value("stem diameter", f"{text} mm") for text in (stem_max, stem_min)]
    sizes += [value("guide bore", f"{text} mm") for text in (bore_min, bore_max)]
    found = judged(limit, *sizes)
    assert rows(found) == [("direct", f"{most}0", "within"), ("direct", f"{least}0", "within")]
    assert [item.reason for item in found.verdicts] == [
        f"largest bore {bore_max} mm less smallest stem {stem_min} mm",
        f"smallest bore {bore_min} mm less largest stem {stem_max} mm",
    ]
    assert not found.unused
    smaller = value("stem diameter", f"{Decimal(stem_min) - Decimal('0.0001')} mm")
    larger = value("stem diameter", f"{Decimal(stem_max) + Decimal('0.0001')} mm")
    worse = judged(limit, *sizes, smaller, larger)
    assert [item.verdict for item in worse.verdicts] == ["outside", "outside"]
    assert worse.verdicts[0].reason.endswith("; 0.100 um above the upper limit")


@pytest.mark.parametrize(
    ("how", "text", "reason"),
    [
        ("largest", "0.0500", "largest bore 8.010 mm less smallest stem 7.960 mm"),
        ("smallest", "0.0300", "smallest bore 8.000 mm less largest stem 7.970 mm"),
        ("mean", "0.0400", "mean bore less mean stem"),
    ],
)
@pytest.mark.parametrize(
    ("bounds", "side"), [(("0.01", "0.06"), 0), (("0.055", "0.06"), -1), (("0.01", "0.02"), 1)]
)
def test_a_limit_that_names_one_clearance_holds_it_against_both_bounds(
    how: str, text: str, reason: str, bounds: tuple[str, str], side: int
) -> None:
    limit = DIRECT.replace(
        'service_max = "0.08 mm"',
        f'judge = "{how}"\nservice_min = "{bounds[0]} mm"\nservice_max = "{bounds[1]} mm"',
    )
    found = judged(
        limit,
        value("stem diameter", "7.960 mm"),
        value("stem diameter", "7.970 mm"),
        value("guide bore", "8.000 mm"),
        value("guide bore", "8.010 mm"),
    )
    (item,) = found.verdicts
    assert (item.text, item.verdict) == (text, "outside" if side else "within")
    assert item.reason.startswith(reason)
    if side:
        assert item.reason.endswith(
            "below the lower limit" if side < 0 else "above the upper limit"
        )


PLACED = DIRECT.replace(
    'method = "direct"', 'method = "direct"\nstations = ["top", "bottom"]\njudge = "JUDGE"'
)


@pytest.mark.parametrize(
    ("how", "bore", "verdict"),
    [
        ("largest", "8.000", "undecided"),
        ("largest", "8.090", "outside"),
        ("each", "8.090", "outside"),
        ("mean", "8.090", "undecided"),
    ],
)
def test_a_missing_stem_or_bore_leaves_undecided_what_it_could_still_change(
    how: str, bore: str, verdict: str
) -> None:
    found = judged(
        PLACED.replace("JUDGE", how),
        value("stem diameter", "7.960 mm", station="top"),
        value("stem diameter", "7.960 mm", station="bottom"),
        value("guide bore", f"{bore} mm", station="bottom"),
    )
    (item,) = found.verdicts
    assert item.verdict == verdict
    assert item.reason.endswith("missing: bore top")


def test_the_tightest_clearance_above_the_limit_may_still_come_down() -> None:
    limit = PLACED.replace("JUDGE", "smallest")
    found = judged(
        limit,
        value("stem diameter", "7.900 mm", station="top"),
        value("guide bore", "8.000 mm", station="top"),
    )
    (item,) = found.verdicts
    assert item.verdict == "undecided"
    assert item.reason.endswith("20.0 um above the upper limit; missing: stem bottom, bore bottom")


@pytest.mark.parametrize(
    ("there", "lacking"), [("stem diameter", "guide bore"), ("guide bore", "stem diameter")]
)
def test_without_its_counterpart_no_clearance_is_reckoned(there: str, lacking: str) -> None:
    item = value(there, "8 mm")
    found = judged(DIRECT, item)
    assert (found.verdicts, found.unused) == ([], [item])
    assert [gap.why for gap in found.missing] == [lacking]


def test_the_uncertainty_of_a_clearance_is_that_of_stem_and_bore_together() -> None:
    """JCGM 100:2008, 5.1.2: 3 um and 4 um make 5 um."""
    found = judged(
        DIRECT, value("stem diameter", "7.940 mm", u="0.003 mm"),
        value("guide bore", "8.000 mm", u="0.004 mm"),
    )  # fmt: skip
    (item,) = found.verdicts
    assert (item.u_pm, item.text, item.verdict) == (5_000_000, "0.0600", "within")
    found = judged(
        DIRECT, value("stem diameter", "7.925 mm", u="0.003 mm"),
        value("guide bore", "8.000 mm", u="0.004 mm"),
    )  # fmt: skip
    assert found.verdicts[0].verdict == "undecided"


def test_stems_in_inches_and_bores_in_millimetres_make_an_exact_clearance() -> None:
    found = judged(DIRECT, value("stem diameter", "0.3125 in"), value("guide bore", "8.0175 mm"))
    (item,) = found.verdicts
    assert (item.value_pm, item.text, item.unit, item.verdict) == (80_000_000, "0.0800", "mm",
                                                                   "within")  # fmt: skip
    assert item.reason == "largest bore 8.0175 mm less smallest stem 0.3125 in"

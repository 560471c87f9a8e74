"""The report's texts, scales and drawings, before anything is set on paper."""

from __future__ import annotations

import doctest
import importlib
import json
import math
import pkgutil

import pytest
from hypothesis import given, settings, strategies as st
from report_sample import sample_document

import gaugelink.report
from gaugelink.report.front import head_map, outcome
from gaugelink.report.layout import lay_out
from gaugelink.report.plot import face_drawing, sweep_drawing, thin, ticks
from gaugelink.report.scale import common_axes, limit_scale, where_it_lies
from gaugelink.report.text import has_shape, printable

MODULES = [module.name for module in pkgutil.iter_modules(gaugelink.report.__path__)]
WITHOUT_INK = {"\u200b", "\u2066", "\u2069"}
numbers = st.none() | st.floats() | st.integers() | st.booleans() | st.text(max_size=3)
anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=40),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=12,
)


def test_worked_examples_in_the_modules_hold():
    assert len(MODULES) == 13
    tried = 0
    for name in MODULES:
        module = importlib.import_module(f"gaugelink.report.{name}")
        result = doctest.testmod(module)
        assert result.failed == 0, name
        tried += result.attempted
    assert tried > 20


# ------------------------------------------------------------------------------------- texts


@given(st.text(max_size=200), st.integers(1, 100), st.integers(4, 30))
def test_whatever_is_printed_has_a_shape(text, limit, unbroken):
    shown = printable(text, limit, unbroken=unbroken)
    assert all(has_shape(part) or part in WITHOUT_INK for part in shown)


@given(st.text(alphabet="abc .,-", max_size=400), st.integers(1, 100))
def test_no_text_is_longer_than_its_limit_and_a_cut_shows(text, limit):
    shown = printable(text, limit).replace("\u200b", "")
    assert len(shown) <= limit
    assert shown == " ".join(text.split()) or shown.endswith("…")


def test_characters_that_only_turn_the_direction_of_writing_are_written_out():
    assert printable("7.\u202e439") == "7.[U+202E]439"


@given(st.text(alphabet="xyz", min_size=31, max_size=90))
def test_a_long_word_can_be_broken_and_loses_nothing(word):
    shown = printable(word, unbroken=30)
    assert shown.replace("\u200b", "") == word
    assert max(map(len, shown.split("\u200b"))) <= 4


# ------------------------------------------------------------------------------- limit scale


@given(*[numbers] * 4, st.none() | st.floats(0, 10))
def test_every_place_on_a_limit_scale_lies_on_its_axis(lower, upper, value, u, half):
    laid = limit_scale(
        {"lower_mm": lower, "upper_mm": upper, "value_mm": value, "u_mm": u}, "within", half
    )
    for key in ("lower", "upper", "value", "left", "right"):
        assert laid[key] is None or 0 <= laid[key] <= 1
    assert laid["verdict"] == "within"


@given(
    st.floats(-100, 100),
    st.floats(0.001, 10),
    st.floats(-0.3, 1.3),
    st.floats(0.0001, 0.05),
)
def test_a_two_sided_scale_keeps_the_order_of_limits_and_value(lower, band, part, share):
    value = lower + part * band
    laid = limit_scale(
        {"lower_mm": lower, "upper_mm": lower + band, "value_mm": value, "u_mm": share * band}
    )
    assert laid["lower"] < laid["upper"]
    assert laid["left"] <= laid["value"] <= laid["right"]
    assert laid["beyond"] == 0
    if part < -0.01:
        assert laid["value"] < laid["lower"]
    if part > 1.01:
        assert laid["value"] > laid["upper"]
    if 0.01 < part < 0.99:
        assert laid["lower"] < laid["value"] < laid["upper"]


def verdict(value, limit=0.1, u=0.0025, what="guide clearance"):
    scale = {"lower_mm": None, "upper_mm": limit, "value_mm": value, "u_mm": u}
    return {"characteristic": what, "method": "rock", "scale": scale, "verdict": "within"}


def test_valves_with_one_limit_share_one_axis_so_that_their_marks_can_be_compared():
    rows = [verdict(0.09), verdict(0.05), verdict(0.02), verdict(0.02, what="other")]
    axes = common_axes(rows)
    half = axes["guide clearance", "rock", 0.1]
    places = [limit_scale(row["scale"], None, half)["value"] for row in rows[:3]]
    assert places == sorted(places, reverse=True)
    assert (places[0] - places[1]) / (places[1] - places[2]) == pytest.approx(4 / 3, abs=0.01)


def test_one_far_value_is_drawn_at_the_end_and_does_not_press_the_others_together():
    rows = [verdict(0.09), verdict(0.08), verdict(0.07), verdict(2.54)]
    half = common_axes(rows)["guide clearance", "rock", 0.1]
    near, far = (limit_scale(row["scale"], None, half) for row in (rows[0], rows[3]))
    assert near["beyond"] == 0
    assert near["right"] - near["left"] > 0.02
    assert (far["value"], far["beyond"]) == (1.0, 1)


def test_the_distance_to_the_limit_is_said_on_both_sides_and_at_the_limit():
    scale = {"lower_mm": 0.7, "upper_mm": 1.4}
    assert where_it_lies({**scale, "value_mm": 1.46}) == "60.0 µm above the upper limit"
    assert where_it_lies({**scale, "value_mm": 0.69}) == "10.0 µm below the lower limit"
    assert where_it_lies({**scale, "value_mm": 1.39}) == "10.0 µm inside the upper limit"
    assert where_it_lies({**scale, "value_mm": 1.4}) == "exactly at the upper limit"
    assert where_it_lies({**scale, "value_mm": None}) == ""


# ------------------------------------------------------------------------------------ drawings


@given(
    st.lists(st.tuples(st.floats(0, 60), st.floats(-1e4, 1e4)), min_size=1, max_size=400),
    st.integers(1, 40),
)
def test_thinning_keeps_the_extremes_the_ends_and_the_order(points, columns):
    points.sort(key=lambda point: point[0])
    kept = thin(points, columns)
    assert len(kept) <= max(4 * columns, len(kept) if len(points) <= 4 * columns else 0)
    values = [value for _, value in points]
    assert {min(values), max(values)} <= {value for _, value in kept}
    assert (kept[0], kept[-1]) == (points[0], points[-1])
    remaining = iter(points)
    assert all(point in remaining for point in kept)


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(2, 8))
def test_axis_figures_lie_on_the_axis_and_are_few(first, span, most):
    made = ticks(first, first + span, most)
    slack = 1e-6 * span + 1e-9
    assert len(made) <= most + 1
    assert all(first - slack <= at <= first + span + slack for at in made)


def square_wave(**more):
    points = [[t / 16, 1000.0 + 200.0 * (t // 16 % 2)] for t in range(16 * 11)]
    plateaus = [
        {"t0_s": n + 0.3, "t1_s": n + 0.9, "level_um": 1000.0 + 200.0 * (n % 2),
         "side": "high" if n % 2 else "low", "used": n != 4, "why": "too short" if n == 4 else ""}
        for n in range(11)
    ]  # fmt: skip
    return {
        "valve": "3E", "direction": "along", "points": points, "plateaus": plateaus,
        "travel_um": 200.0, "travel_u_um": 2.5, "factor": "2.12", "clearance_um": 94.34,
        "clearance_u_um": 2.5, "limit_um": 100.0, "limit_of": "clearance", "verdict": "within",
        "usable": True, **more,
    }  # fmt: skip


def test_the_dimension_line_spans_the_travel_and_the_limit_is_drawn_as_travel():
    drawn = sweep_drawing(square_wave())
    low, high = drawn["dimension"]["from"], drawn["dimension"]["to"]
    per_um = (high - low) / 200.0
    assert drawn["dimension"]["text"] == "200.0"
    # Clearance limit times the factor: 100 µm * 2.12 = 212 µm of travel.
    assert drawn["limit_mark"]["text"] == "limit 212.0"
    assert drawn["limit_mark"]["y"] == pytest.approx(low + 212.0 * per_um, abs=1e-3)
    assert [p["used"] for p in drawn["plateaus"]].count(False) == 1


def test_a_limit_of_travel_is_not_multiplied_by_the_factor():
    drawn = sweep_drawing(square_wave(limit_of="travel", limit_um=210.0))
    assert drawn["limit_mark"]["text"] == "limit 210.0"


def test_no_line_is_drawn_across_missing_samples():
    sweep = square_wave()
    sweep["points"] = [p for p in sweep["points"] if not 3.0 < p[0] < 6.0]
    assert len(sweep_drawing(sweep)["lines"]) == 2
    assert len(sweep_drawing(square_wave())["lines"]) == 1


def test_a_sample_far_off_is_counted_and_does_not_flatten_the_trace():
    sweep = square_wave()
    sweep["points"][40][1] = 30480.0
    drawn = sweep_drawing(sweep)
    assert drawn["clipped"] == 1
    assert drawn["dimension"]["to"] - drawn["dimension"]["from"] > 0.5


def test_an_unfinished_sweep_is_drawn_without_figures():
    drawn = sweep_drawing({"valve": "1I", "points": [[0.0, 5.0]], "travel_um": None})
    assert drawn["dimension"] is None
    assert drawn["limit_mark"] is None
    assert ("travel", "none") in drawn["figures"]
    assert sweep_drawing({})["lines"] == []


def test_the_face_is_drawn_only_where_heights_were_taken():
    points = [{"station": "A1", "x_mm": 0, "y_mm": 0, "value_um": None}]
    assert face_drawing({"points": points}) is None
    assert face_drawing(None) is None
    points.append({"station": "A2", "x_mm": 100, "y_mm": 0, "value_um": -12})
    drawn = face_drawing({"points": points, "length_mm": 100, "width_mm": 50})
    assert drawn["missing"] == 1
    assert drawn["lowest"] == "A2 (\u221212 µm)"
    assert drawn["points"][1]["size"] == -1.0


# ---------------------------------------------------------------------------------- first page


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ([], "Nothing has been judged."),
        (["within"], "The one verdict is within its limits."),
        (["within"] * 3, "All 3 verdicts are within their limits."),
        (
            ["within", "undecided"],
            (
                "Nothing is outside its limits, but not all is decided: 1 of 2 verdicts is "
                "undecided, 1 within."
            ),
        ),
        (
            ["outside", "undecided", "within"],
            (
                "This head is not within its limits: 1 of 3 verdicts is outside, 1 undecided, "
                "1 within."
            ),
        ),
        (["outside"] * 2, "This head is not within its limits: 2 of 2 verdicts are outside."),
    ],
)
def test_the_outcome_is_one_plain_sentence_with_the_counts(words, wanted):
    made = outcome("", [{"verdict": word} for word in words], [], [])
    assert made["sentence"].replace("\u00a0", " ") == wanted


def test_after_work_the_outcome_speaks_of_the_work_and_not_of_the_stage_it_began_in():
    told = {"operation": "seat lapped", "gauge": "", "detail": "0.005 mm", "by": "A. Nilsen"}
    made = outcome("as received", [{"verdict": "within"}] * 2, [], [], [{**told, "valves": ["2I"]}])
    assert made["sentence"].replace("\u00a0", " ") == (
        "After the work that was told, all 2 verdicts are within their limits."
    )
    made = outcome("as received", [{"verdict": "within"}] * 2, [], [])
    assert made["sentence"].startswith("As received")


def test_what_is_not_within_beside_the_readings_stands_in_the_headline():
    rows = [{"valve": "2E", "what": "spring load", "value": "280 N", "accepted": True},
            {"valve": None, "what": "spread of stand-down, intake", "accepted": False}]  # fmt: skip
    made = outcome("final", [{"verdict": "within"}] * 2, [], [], [], rows)
    assert made["sentence"].replace("\u00a0", " ") == (
        "Final, all 2 verdicts are within their limits. Not within beside these: 2E spring load "
        "(accepted), spread of stand-down, intake."
    )


def test_the_same_work_on_several_valves_told_one_after_the_other_is_said_once():
    lapped = {"operation": "seat lapped", "gauge": "", "detail": "0.005 mm", "by": "A. Nilsen"}
    skimmed = {"operation": "face skimmed", "valves": [], "gauge": "", "detail": "0.1 mm", "by": ""}
    works = [
        {**lapped, "valves": ["1I"]}, {**lapped, "valves": ["1E"]},
        {**lapped, "valves": ["2I"], "by": "B. Olsen"}, skimmed, {**lapped, "valves": ["2E"]},
    ]  # fmt: skip
    assert outcome("", [{"verdict": "within"}], [], [], works)["work"] == [
        "seat lapped on 1I, 1E, 0.005 mm, by A. Nilsen",
        "seat lapped on 2I, 0.005 mm, by B. Olsen",
        "face skimmed, 0.1 mm, by nobody named",
        "seat lapped on 2E, 0.005 mm, by A. Nilsen",
    ]
    many = [{**lapped, "by": f"N. {n}"} for n in range(60)]
    said = outcome("", [{"verdict": "within"}], [], [], many)["work"]
    assert said[-1] == f"and {60 - len(said) + 1} more, in the record"


def test_what_did_not_go_smoothly_is_said_on_the_first_page():
    document = sample_document()
    remarks = lay_out(document)["outcome"]["remarks"]
    assert "not everything was measured on 4I" in remarks
    assert "1 reading was struck out" in remarks
    assert "1 reading was refused" in remarks


def test_valves_lie_in_plan_from_the_front_and_wrap_when_the_page_is_too_narrow():
    def valves(cylinders, kinds):
        return [
            {"name": f"{c}{k}", "cylinder": c, "kind": k[:6]}
            for c in range(1, cylinders + 1)
            for k in kinds
        ]

    six = head_map(valves(6, ("intake", "exhaust")), {})
    assert [len(band) for band in six["bands"]] == [6]
    assert six["in_a_row"]
    four = head_map(valves(4, ("intake1", "intake2", "exhaus1", "exhaus2")), {})
    assert [len(row) for row in four["bands"][0][0]["rows"]] == [2, 2]
    twenty = head_map(valves(20, ("intake", "exhaust")), {})
    assert sum(len(band) for band in twenty["bands"]) == 20
    assert len(twenty["bands"]) > 1
    assert all(len(band) * twenty["cylinder_mm"] <= 162.01 for band in twenty["bands"])
    assert head_map([], {}) is None


def test_outside_comes_before_undecided_and_both_say_why():
    document = sample_document()
    made = lay_out(document)["exceptions"]
    words = [row["verdict"] for row in made]
    assert words == sorted(words)
    assert {"outside", "undecided"} == set(words)
    assert all(row["why"].endswith(".") for row in made)
    row = next(row for row in made if row["owner"] == "6E" and row["value"] == "1.46 mm")
    assert row["why"].startswith("60.0 µm above the upper limit")


def test_every_place_of_a_verdict_leads_to_its_row_in_the_list_of_readings():
    made = lay_out(sample_document())
    anchors = [row["anchor"] for row in made["readings"]["rows"]]
    assert len(set(anchors)) == len(anchors)
    runs = [run for group in made["verdicts"] for row in group["rows"] for run in row["places"]]
    assert len(runs) > 80
    assert all(run["to"] in anchors for run in runs)


PARTS = (
    "job", "head", "gauges", "verdicts", "faults", "deciders", "sweeps", "readings", "limits",
    "counts", "rule",
    "cautions", "record",
)  # fmt: skip
FEW = json.dumps(
    {key: part[:3] if isinstance(part, list) else part for key, part in sample_document().items()}
)


@given(st.fixed_dictionaries({}, optional=dict.fromkeys(PARTS, anything)))
def test_any_document_at_all_can_be_laid_out(document):
    json.dumps(lay_out(document), allow_nan=False)


@settings(deadline=None)
@given(st.data())
def test_any_value_in_any_place_of_the_sample_can_be_laid_out(data):
    document = json.loads(FEW)
    here = document
    for _ in range(6):
        keys = list(here) if isinstance(here, dict) else range(len(here))
        key = data.draw(st.sampled_from(list(keys)))
        if not isinstance(here[key], (dict, list)) or not here[key] or data.draw(st.booleans()):
            here[key] = data.draw(anything)
            break
        here = here[key]
    json.dumps(lay_out(document), allow_nan=False)


def test_the_sample_is_what_its_limits_say():
    """The invented sample itself: verdicts follow from the figures, all three words occur."""
    document = sample_document()
    assert len(document["sweeps"]) == 24
    assert min(document["counts"].values()) > 0
    for made in document["verdicts"]:
        scale = made["scale"]
        if made["verdict"] == "within":
            assert (scale["lower_mm"] or -math.inf) <= scale["value_mm"]
            assert scale["value_mm"] <= (scale["upper_mm"] or math.inf)

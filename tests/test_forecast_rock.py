"""After work on guide or valve, the rock is foretold from their sizes, the guide and the reach.

Sizes are invented. Travels by hand from T = C (1 + 2 a / L) (geometry): guide 50 mm, reach 25 mm,
factor 2. The sizes of new parts leave 0.030 to 0.060 mm of clearance.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, strategies as st
from release_kit import GAUGES, TRACE
from test_view_release import rows

from gaugelink.capture.foretold import expected_at, preview
from gaugelink.deeds import Assign, DoWork, SignDeviation, SweepArrived, TakePlan, ValueArrived
from gaugelink.events import PlannedFigure, PlannedStep
from gaugelink.judging import Judgement
from gaugelink.metrology.rock_bore import foretell
from gaugelink.plan import plan_for
from gaugelink.planning.compared import compared_in
from gaugelink.planning.forecast_rock import Span, travel_span
from gaugelink.planning.forecast_words import expected_words, surprise_words
from gaugelink.quantity import parse_length
from gaugelink.reading import Stamp
from gaugelink.release.surprises import surprises_in
from gaugelink.session import Session
from gaugelink.sheetfile import load
from gaugelink.view.forecast import forecast_documents, next_expected
from gaugelink.view.order import order_document
from gaugelink.view.release import release_document

UM = 10**6
TEXT = """\
[sheet]
name = "Pump engine"
edition = "1"
source = "invented"
[head]
cylinders = 2
valves = ["intake"]
[[limit]]
characteristic = "stem diameter"
stations = ["top", "bottom"]
judge = "smallest"
new_min = "7.955 mm"
new_max = "7.970 mm"
[[limit]]
characteristic = "guide bore"
directions = ["along", "across"]
judge = "largest"
new_min = "8.000 mm"
new_max = "8.015 mm"
[[limit]]
characteristic = "guide clearance"
directions = ["along"]
method = "rock"
lift = "8 mm"
valve_used = "own"
guide_length = "50 mm"
reach = "25 mm"
figure = "travel"
service_max = "0.200 mm"
"""
KIND = {"stem diameter": "M1", "guide bore": "B1", "guide clearance": "I1"}


class Bench:
    """A session with work on it, and the travels of its sweeps."""

    def __init__(self, text: str = TEXT) -> None:
        """Measure the head: stems 7.960 and 7.962, bores 8.030 and 8.050, rocks of 0.150 mm."""
        self.sheet = load(text, "s.toml")
        self.plan = plan_for(self.sheet)
        bore = replace(GAUGES["M1"], id="B1", kind="bore gauge")
        self.session = Session(self.plan, {**GAUGES, "B1": bore}, "final", sheet=self.sheet)
        self.travels: dict[int, tuple[int, int]] = {}
        self.places = 0
        self.measure("stem diameter", "7.960", "7.962")
        self.measure("guide bore", "8.030", "8.050")
        for valve in ("1I", "2I"):
            self.rock(150, valve)

    def do(self, command: Any) -> int:
        """Carry out a command; give the record place of its last event."""
        stamp = Stamp(f"2026-01-02T00:00:00.{self.places:06}Z", self.places * 10**9, "A. N.", "1")
        for event in self.session.decide(command, stamp):
            self.session.apply(self.places, event)
            self.places += 1
        return self.places - 1

    def go(self, name: str, valve: str = "1I") -> None:
        """Ask for the first place of a characteristic at a valve."""
        for number, step in enumerate(self.plan):
            if (step.position.characteristic, step.position.valve) == (name, valve):
                self.session.go(number)
                return

    def measure(self, name: str, *sizes: str, valves: tuple[str, ...] = ("1I", "2I")) -> None:
        """Measure every place of a characteristic, one size after the other, over again."""
        at = 0
        for number, step in enumerate(self.plan):
            if step.position.characteristic == name and step.position.valve in valves:
                self.session.go(number)
                text = sizes[at % len(sizes)]
                self.do(ValueArrived(KIND[name], parse_length(f"{text} mm"), text.encode()))
                assert number in self.session.filled, self.session.tray()
                at += 1

    def rock(self, um: int, valve: str = "1I") -> int:
        """Rock a valve, with this travel."""
        self.go("guide clearance", valve)
        place = self.do(SweepArrived("I1", TRACE, b"", True, ()))
        self.travels[place] = (um * UM, UM)
        return place

    def keep(self, size: str) -> None:
        """Measure what is asked for, and keep the value whatever it looks like."""
        number = self.session.cursor
        step = self.plan[number]
        gauge = KIND[step.position.characteristic]
        place = self.do(ValueArrived(gauge, parse_length(f"{size} mm"), size.encode()))
        if number not in self.session.filled:
            self.do(Assign(place, number, "it says so"))

    def work(self, operation: Any, *valves: str) -> int:
        """Tell work, on the first valve if none is named."""
        return self.do(DoWork(operation, valves or ("1I",)))

    def expected(self, valve: str = "1I") -> str:
        """What the page says that the rock of a valve should be."""
        self.go("guide clearance", valve)
        return next_expected(self.session)

    def words(self) -> list[str]:
        """How the rocks after work came out."""
        return [item.word for item in compared_in(self.session, self.travels)
                if item.forecast.position.method == "rock"]  # fmt: skip


@given(
    st.integers(8_000, 8_015), st.integers(7_955, 7_970), st.integers(0, 60), st.integers(20, 80)
)
def test_every_new_guide_and_valve_travels_within_what_is_foretold(bore, stem, reach, length):
    """Against the linear programme of `gaugelink.metrology.rock_bore`, which knows no factor."""
    sizes = Span(8_000, 8_015), Span(7_955, 7_970)
    found = travel_span(*sizes, length * 10**3, reach * 10**3)
    clear = bore - stem
    travel = foretell({0: clear, length * 10**3: clear}, length * 10**3, reach * 10**3).travel_pm
    assert found.low_pm <= travel <= found.high_pm
    ends = [foretell({0: c, length * 10**3: c}, length * 10**3, reach * 10**3) for c in (30, 60)]
    assert (found.low_pm, found.high_pm) == (
        ends[0].travel_pm // 1, -(-ends[1].travel_pm // 1)
    )  # fmt: skip


def test_parts_that_would_not_go_together_travel_nothing():
    found = travel_span(Span(8_000, 8_000), Span(8_010, 8_010), 50_000, 25_000)
    assert (found.low_pm, found.high_pm) == (0, 0)


def test_without_work_nothing_is_foretold():
    bench = Bench()
    assert bench.expected() == ""
    assert bench.words() == []


def test_a_new_guide_with_the_old_valve():
    """Bore 8.000 to 8.015, stem 7.960 to 7.962: clearance 0.038 to 0.055, travel twice that."""
    bench = Bench()
    bench.work("guide replaced")
    assert bench.expected() == "expected travel 0.076 to 0.110 mm after guide replaced"
    assert bench.expected("2I") == "", "another valve"


def test_a_new_guide_and_a_new_valve():
    bench = Bench()
    bench.work("guide replaced")
    bench.work("valve replaced")
    assert bench.expected() == (
        "expected travel 0.060 to 0.120 mm after guide replaced and valve replaced"
    )


def test_a_new_valve_in_the_old_guide():
    """Bore 8.030 along, stem 7.955 to 7.970: clearance 0.060 to 0.075."""
    bench = Bench()
    bench.work("valve replaced")
    assert bench.expected() == "expected travel 0.120 to 0.150 mm after valve replaced"


def test_a_rock_as_foretold_and_a_surprise_with_what_it_can_mean():
    """u: 2.3 um by guide and reach, 2 * 1.9 um by the stem, 1 um of the sweep: 4.5 in all."""
    bench = Bench()
    bench.work("guide replaced")
    bench.rock(120)
    assert bench.words() == ["as foretold"], "0.010 mm beyond is less than 2.58 * 0.0045 mm"
    bench.rock(123)
    assert bench.words() == ["surprise"]
    (item,) = [one for one in compared_in(bench.session, bench.travels)
               if one.forecast.position.method == "rock"]  # fmt: skip
    assert item.u_pm == pytest.approx(4.5 * UM, rel=0.03)
    assert surprise_words(item) == (
        "1I guide clearance by rock, along: guide replaced was told, expected travel 0.076 to "
        "0.110 mm, found 0.1230 mm. It can be that another valve was rocked, guide or valve is "
        "another one than told, or of another size, the guide is loose in the head, or the "
        "indicator's base slipped"
    )
    bench.rock(40)
    assert bench.words() == ["surprise"]
    item = compared_in(bench.session, bench.travels)[-1]
    assert "the rocks stopped short of the wall" in surprise_words(item)


def test_a_reamed_guide_is_foretold_once_it_is_measured_and_before_that_it_says_why():
    bench = Bench()
    bench.work("guide reamed")
    assert bench.expected() == "not foretold: nobody told or measured the bore of the guide"
    bench.measure("guide bore", "8.060", valves=("1I",))
    assert bench.expected() == "expected travel 0.196 to 0.200 mm after guide reamed"


def oversize() -> PlannedStep:
    figures = (PlannedFigure("1I", "guide bore", "8.1 mm", "8.115 mm"),
               PlannedFigure("1I", "guide clearance", "0.03 mm", "0.06 mm"))  # fmt: skip
    return PlannedStep("guide reamed", ("1I",), "ream guide to +0.1", "", figures)


def new_stem() -> PlannedStep:
    figures = (PlannedFigure("1I", "stem diameter", "8.055 mm", "8.07 mm"),
               PlannedFigure("1I", "guide clearance", "0.03 mm", "0.06 mm"))  # fmt: skip
    return PlannedStep("valve replaced", ("1I",), "new valve", "", figures)


def test_a_guide_that_was_ordered_wider_is_foretold_from_the_order():
    """Bore 8.100 to 8.115 and the stem made for it, 8.055 to 8.070: 0.030 to 0.060 again."""
    bench = Bench()
    bench.do(TakePlan("30.00 EUR", "the cheapest", (oversize(), new_stem())))
    bench.work("guide reamed")
    assert bench.expected() == "expected travel 0.276 to 0.310 mm after guide reamed"
    bench.work("valve replaced")
    assert bench.expected() == (
        "expected travel 0.060 to 0.120 mm after guide reamed and valve replaced"
    )
    bench.work("guide honed")
    assert bench.expected().startswith("not foretold"), "no line of the order asked for it"


def test_the_line_of_the_order_shows_travel_beside_clearance():
    bench = Bench()
    bench.do(TakePlan("30.00 EUR", "the cheapest", (oversize(), new_stem())))
    bench.work("guide reamed")
    bench.work("valve replaced")
    bench.rock(190)
    document = order_document(bench.session, compared_in(bench.session, bench.travels))
    assert document is not None
    figure = document["lines"][1]["figures"][1]
    assert (figure["expected"], figure["found"], figure["word"]) == (
        "0.030 to 0.060 mm, by rock travel 0.060 to 0.120 mm", "travel 0.1900 mm", "surprise"
    )  # fmt: skip
    assert document["lines"][0]["figures"][1]["found"] == "", "the valve came last"


def test_a_guide_that_is_rocked_with_a_new_valve_goes_by_the_sizes_of_new_ones():
    bench = Bench(TEXT.replace('valve_used = "own"', 'valve_used = "new"'))
    bench.work("guide replaced")
    assert bench.expected() == "expected travel 0.060 to 0.120 mm after guide replaced"
    bench = Bench(TEXT.replace('valve_used = "own"', 'valve_used = "new"'))
    bench.do(TakePlan("30.00 EUR", "the cheapest", (oversize(), new_stem())))
    bench.work("guide reamed")
    assert bench.expected() == "expected travel 0.060 to 0.120 mm after guide reamed"


def test_a_valve_that_came_from_another_place_is_no_new_one():
    """The bore along is 8.030; a new stem is 7.955 to 7.970, so 0.060 to 0.075 and twice that."""
    bench = Bench(TEXT.replace('valve_used = "own"', 'valve_used = "new"'))
    stem = PlannedFigure("1I", "stem diameter", "7.960 mm", "7.962 mm")
    fits = PlannedFigure("1I", "guide clearance", "0.068 mm", "0.090 mm")
    moved = PlannedStep("valve moved", ("1I",), "takes the valve of 2I", "", (stem, fits))
    bench.do(TakePlan("0.50 EUR", "the cheapest", (moved,)))
    bench.work("valve moved")
    assert bench.expected() == "expected travel 0.120 to 0.150 mm after valve moved"

    def figure() -> dict[str, Any]:
        document = order_document(bench.session, compared_in(bench.session, bench.travels))
        assert document is not None
        found: dict[str, Any] = document["lines"][0]["figures"][1]
        return found

    # The clearance is that of the moved valve, and its own travel is never rocked.
    assert (figure()["expected"], figure()["found"]) == ("0.068 to 0.090 mm", "")
    bench.rock(145)
    assert (figure()["expected"], figure()["found"], figure()["word"]) == (
        "0.068 to 0.090 mm, by rock travel 0.120 to 0.150 mm", "travel 0.1450 mm", "as foretold"
    )  # fmt: skip


def test_without_the_length_of_the_guide_the_page_says_why_nothing_is_foretold():
    bench = Bench(TEXT.replace('guide_length = "50 mm"\nreach = "25 mm"\n', ""))
    bench.work("guide replaced")
    assert bench.expected() == "not foretold: the sheet has no guide length and reach for it"


def test_work_that_moves_no_size_of_either_part_goes_by_what_is_measured_after_it():
    bench = Bench()
    bench.do(DoWork("head heated"))
    assert bench.expected().startswith("not foretold")
    bench.measure("guide bore", "8.031", "8.051")
    assert bench.expected() == "expected travel 0.138 to 0.142 mm after head heated"


def test_what_a_gauge_that_was_found_out_measured_foretells_nothing():
    bench = Bench()
    bench.work("valve replaced")
    bench.do(DoWork("gauge found out", gauge="B1"))
    assert bench.expected() == "not foretold: nobody told or measured the bore of the guide"


def test_before_the_work_is_told_the_dialog_says_what_would_be_expected():
    bench = Bench()
    stamp = Stamp("2026-01-02T00:00:09.000000Z", 10**10, "A. N.", "1")
    lines = preview(bench.session, DoWork("guide replaced", ("1I",)), stamp)
    assert "1I guide clearance by rock, along: \u2192 travel 0.076 to 0.110 mm" in lines
    assert not [line for line in lines if line.startswith("2I")]


def test_the_row_of_a_page_and_report_names_travel():
    bench = Bench()
    bench.work("guide replaced")
    bench.rock(190)
    (row,) = forecast_documents(
        bench.session, bench.travels, compared_in(bench.session, bench.travels)
    )
    assert (row["characteristic"], row["before"], row["expected"], row["found"], row["word"]) == (
        "guide clearance by rock", "", "travel 0.076 to 0.110 mm", "0.1900 mm", "surprise"
    )  # fmt: skip


def judged(bench: Bench) -> Judgement:
    return Judgement(travels=dict(bench.travels))


def test_a_rock_that_surprised_stands_against_a_release_until_it_is_repeated_or_accepted():
    bench = Bench()
    bench.work("guide replaced")
    bench.rock(190)
    document = release_document(bench.session, judged(bench), "2026-01-02")
    (line,) = [line for line in rows(document) if line.startswith("Surprises")]
    assert line == (
        "Surprises that nothing explains yet: 1I guide clearance by rock, along guide replaced was "
        "told, expected travel 0.076 to 0.110 mm, found 0.1900 mm; measure it once more, or have "
        "it accepted by name with a reason"
    )
    bench.rock(191)
    (surprise,) = surprises_in(bench.session, bench.travels)
    assert surprise.answer == "measured once more, and it is the same: 0.1900 mm, 0.1910 mm"
    bench.rock(200)
    (surprise,) = surprises_in(bench.session, bench.travels)
    assert surprise.answer == ""
    paper = surprise.paper
    bench.do(SignDeviation(paper.valve, paper.characteristic, paper.method, paper.limit,
                           paper.value, paper.places, "C. D.", "bell-mouthed, known"))  # fmt: skip
    (surprise,) = surprises_in(bench.session, bench.travels)
    assert surprise.answer == "accepted by C. D.: bell-mouthed, known"


def test_the_forecast_of_a_place_that_no_limit_by_rock_is_for_is_none():
    bench = Bench()
    bench.work("guide replaced")
    position = replace(bench.plan[-1].position, lift="9 mm")
    assert expected_at(bench.session, position) is None
    known = expected_at(bench.session, replace(bench.plan[-1].position, valve="1I"))
    assert known is not None
    assert expected_words(known).startswith("expected travel")

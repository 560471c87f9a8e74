"""A spring's load is told on record, held against the book where it works, and planned."""

from __future__ import annotations

from dataclasses import asdict, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest
from bench_kit import run, running, spring
from hypothesis import given, settings, strategies as st
from release_kit import DAY, GAUGES, TEXT, Head
from release_shape import release_shape
from view_shapes import Maybe, check

from gaugelink import content
from gaugelink.capture.actions import act
from gaugelink.capture.measured import judge_session, measured_in
from gaugelink.commands.plan_export import job_file
from gaugelink.commands.plan_file import load_prices, load_task
from gaugelink.commands.plan_record import findings_of
from gaugelink.deeds import DoWork, SignDeviation, StrikeOut, TellSpring
from gaugelink.errors import SessionError
from gaugelink.events import SpringTested
from gaugelink.judging import judge
from gaugelink.plan import plan_for
from gaugelink.planning.order import work_order
from gaugelink.planning.plan import Plan, plan
from gaugelink.planning.survey import Survey, survey
from gaugelink.reading import Gauge
from gaugelink.release import Block, Signable, Sprung, blocks, load_words, signables, springs_in
from gaugelink.report.release import release_part
from gaugelink.session import Session
from gaugelink.sheetfile import load
from gaugelink.view.release import release_document
from gaugelink.view.report import report_document
from gaugelink.view.springs import spring_documents

if TYPE_CHECKING:
    from gaugelink.judging import Judgement

SPRING = """
[[spring]]
rate = "32 N/mm"
free_length = "50 mm"
spring_load = { min = "300 N", max = "340 N" }
spring_tested_at = "40 mm"
lift = "9.5 mm"
solid_height = "28 mm"
bind_margin_min = "1.5 mm"
"""
SHEET = load(TEXT + SPRING, "s.toml")
SHEET_OF_ONE = (
    '[sheet]\nname = "x"\nedition = "1"\nsource = "invented"\n'
    '[head]\ncylinders = 1\nvalves = ["intake"]\n'
    '[[limit]]\ncharacteristic = "installed spring height"\nnew_max = "50 mm"\n' + SPRING
)
HEIGHT = "installed spring height"
_TEXT, _FILE = content.read("sim/prices", "demo-shop")
PRICES = _TEXT.partition("[[prices.shim]]")[0], _FILE
"""Without shims, and without the oversize of exhaust valves, of which this head has none."""
SHIMS = f'{PRICES[0]}\n[[prices.shim]]\nthickness = "0.5 mm"\nprice = "0.60"\n'


class Bench:
    """A head of two intake valves on a bench with a caliper whose u is 0.01 mm."""

    def __init__(self, sheet_text: str = TEXT + SPRING) -> None:
        self.sheet = load(sheet_text, "s.toml")
        gauges = {
            **GAUGES,
            "C1": Gauge("C1", "caliper", "Caliper", "4", "none", 10_000_000, "2026-06-30"),
        }
        self.head = Head()
        self.head.session = Session(plan_for(self.sheet), gauges, "final", sheet=self.sheet)
        self.session = self.head.session

    def high(self, valve: str, text: str) -> int:
        """Measure an installed height."""
        self.session.go(next(number for number, step in enumerate(self.session.plan)
                             if step.position.characteristic == HEIGHT
                             and step.position.valve == valve))  # fmt: skip
        return self.head.value("C1", text)

    def judgement(self) -> Judgement:
        """Judge what counts."""
        return judge_session(self.sheet, self.session, {})

    def papers(self, valve: str = "1I") -> list[Signable]:
        """List what of a spring a deviation can be signed for."""
        return [one for one in signables(self.session, self.judgement()) if one.valve == valve
                and one.characteristic in {"spring load", "coil-bind margin"}]  # fmt: skip

    def sign(self, paper: Signable) -> int:
        """Sign a deviation."""
        return self.head.do(SignDeviation(**asdict(paper), by="C. D.", reason="agreed"))[0]

    def deviations(self) -> list[dict[str, Any]]:
        """Give the deviations as a page has them."""
        return release_document(self.session, self.judgement(), self.head.day)["deviations"]

    def tell(self, valve: str, load: str, u: str = "", by: str = "") -> int:
        """Tell the load of a spring."""
        return self.head.do(TellSpring(valve, load, u, by))[0]

    def blocks(self, valve: str = "1I") -> list[Block]:
        """List what stands against a release because of a spring."""
        found = blocks(self.session, judge_session(self.sheet, self.session, {}), self.head.day)
        return [one for one in found if one.valve == valve
                and one.what in {"spring load", "coil-bind margin"}]  # fmt: skip

    def words(self, valve: str = "1I") -> list[str]:
        """The same in words."""
        return [one.words for one in self.blocks(valve)]

    def sprung(self, valve: str = "1I") -> Sprung:
        """Give what is known of a spring."""
        return next(one for one in springs_in(self.session) if one.valve == valve)

    def survey(self) -> Survey:
        """Make the task of the head as it stands."""
        measured = measured_in(self.sheet, self.session, {})
        shop = load_prices(*PRICES, kinds=self.sheet.head.kinds)
        return survey(self.sheet, measured, judge(self.sheet, measured), shop,
                      findings_of(self.session), "J1")  # fmt: skip


def test_a_load_is_told_with_its_unit_and_stays_on_record_as_it_was_said():
    bench = Bench()
    bench.tell("1I", " 71.9  lbf ", "0.5 lbf", "B. T.")
    event = bench.head.record[-1][1]
    assert isinstance(event, SpringTested)
    assert (event.load, event.height, event.by, event.u) == ("71.9 lbf", "40 mm", "B. T.",
                                                             "0.5 lbf")  # fmt: skip
    bench.tell("2I", "318 N")
    event = bench.head.record[-1][1]
    assert isinstance(event, SpringTested)
    assert (event.by, event.u) == ("A. N.", None)
    again = Session(bench.session.plan, dict(bench.session.gauges), "final", sheet=bench.sheet)
    for place, event in bench.head.record:
        again.apply(place, event)
    assert again.signoff == bench.session.signoff


@pytest.mark.parametrize(
    ("told", "what"),
    [
        (TellSpring("9I", "318 N"), "found the valve '9I', accepted: 1I, 2I"),
        (TellSpring("1I", "318"), "without a unit, accepted: N, lbf or kgf"),
        (TellSpring("1I", "318 mm"), "found the unit 'mm'"),
        (TellSpring("1I", "0 N"), "found a load of 0 N, accepted: above 0"),
        (TellSpring("1I", "318 N", "0 N"), "standard uncertainty of 0 N, accepted: above 0"),
        (TellSpring("1I", "318 N", "few"), "accepted: a plain decimal number with its unit"),
    ],
)
def test_what_is_no_load_is_refused_in_words(told: TellSpring, what: str) -> None:
    bench = Bench()
    with pytest.raises(SessionError) as fault:
        bench.head.do(told)
    assert what in str(fault.value)


def test_a_load_is_refused_where_the_sheet_limits_none():
    with pytest.raises(SessionError, match="no limit of load for the spring of 1I"):
        Bench(TEXT).tell("1I", "318 N")


@settings(max_examples=80, deadline=None)
@given(st.integers(3000, 3300), st.integers(3900, 4100), st.sampled_from(["", "2 N"]))
def test_the_load_at_the_installed_height_follows_by_hand(load_: int, high: int, u: str):
    """A new one has 32 N/mm (50 mm - L); what it has lost at 40 mm it has lost everywhere."""
    bench = Bench()
    bench.high("1I", f"{high / 100:.2f}")
    bench.tell("1I", f"{load_ / 10:.1f} N", u)
    one = bench.sprung()
    at, told = Fraction(high, 100), Fraction(load_, 10)
    force = 32 * (50 - at) - (32 * (50 - 40) - told)
    assert one.load_n == force
    assert one.room_pm == int((at - Fraction("9.5") - 28) * 10**9)
    # The caliper's 0.01 mm is 0.32 N at 32 N/mm.
    square = Fraction("0.32") ** 2 + (4 if u else 0)
    guard = Fraction(1645, 1000) * one.u_n
    assert abs(one.u_n**2 - square) < Fraction(1, 10**4)
    room = min(force - 300, 340 - force)
    works = "within" if room >= guard else "outside" if -room >= guard else "undecided"
    # At 40 mm a new one has 320 N, so a used one has to show 300 N there too.
    off = Fraction(1645, 1000) * (2 if u else 0)
    shows = "within" if told - 300 >= off else "outside" if 300 - told >= off else "undecided"
    assert one.tired == (shows != "within")
    assert one.load == min(works, shows, key=["outside", "undecided", "within"].index)
    margin = at - Fraction("37.5") - Fraction("1.5")
    assert (one.coils == "within") == (margin >= Fraction("0.01645"))


def test_what_stands_against_a_release_is_said_in_words():
    bench = Bench()
    assert bench.words() == ["1I spring load: not tested yet at 40 mm; tell its load"]
    bench.high("1I", "40.00")
    bench.tell("1I", "290 N")
    (words,) = bench.words()
    assert words == (
        "1I spring load: outside, 290 N at 40 mm on the tester, 290.0 N at 40.00 mm installed, "
        "against min 300 N, max 340 N; a shim brings back a height, never a tired spring"
    )
    assert bench.blocks()[0].step is None, "no height mends it"
    bench.tell("1I", "310 N")
    bench.high("1I", "40.40")
    assert bench.words() == [
        "1I spring load: outside, 297.2 N at 40.40 mm installed, against min 300 N, max 340 N"
    ]
    assert bench.blocks()[0].step is not None, "the height is what a shim mends"
    bench.high("1I", "40.00")
    bench.tell("1I", "300.1 N", "2 N")
    assert [one.kind for one in bench.blocks()] == ["undecided"]
    bench.tell("1I", "318 N", "2 N")
    assert bench.words() == []
    bench.high("1I", "38.90")
    assert bench.words() == [
        "1I spring load: outside, 353.2 N at 38.90 mm installed, against min 300 N, max 340 N",
        "1I coil-bind margin: outside, 1.40 mm at full lift, against 1.50 mm at least",
    ]


def test_a_spring_that_is_not_within_is_accepted_by_name_and_the_release_leans_on_it():
    """A load holds for its test and its height, coils for the height: another of them lapses it."""
    bench = Bench()
    height = bench.high("1I", "40.40")
    told = bench.tell("1I", "310 N")
    assert bench.papers() == [
        Signable("1I", "spring load", "", "min 300 N, max 340 N", "297.2 N at 40.40 mm installed",
                 tuple(sorted((height, told))))
    ]  # fmt: skip
    signed = bench.sign(*bench.papers())
    assert bench.words() == []
    assert len(bench.papers()) == 1
    bench.tell("1I", "310 N")
    assert len(bench.words()) == 1, "another test, of which nobody has signed anything"
    bench.sign(*bench.papers())
    bench.high("1I", "40.40")
    assert len(bench.words()) == 1, "another reading of the height"
    bench.high("1I", "38.90")
    load, coils = bench.papers()
    assert (coils.characteristic, coils.value, coils.limit, coils.places) == (
        "coil-bind margin", "1.40 mm at full lift", "1.50 mm at least", (load.places[-1],)
    )  # fmt: skip
    accepted = bench.sign(coils)
    assert [one.what for one in bench.blocks()] == ["spring load"]
    bench.sign(load)
    assert bench.words() == []
    bench.head.do(StrikeOut(bench.session.signoff.tested(())["1I"].place, "tester not at zero"))
    assert bench.words() != []
    states = {one["place"]: (one["state"], one["why"]) for one in bench.deviations()}
    assert states[accepted] == ("holds", ""), "the height still is what it was"
    now = "345.2 N at 38.90 mm installed now"
    assert states[signed] == (
        "void",
        f"it was signed for 297.2 N at 40.40 mm installed, and is {now}",
    )


def test_a_tired_spring_is_accepted_for_what_the_tester_and_the_height_come_to():
    bench = Bench()
    bench.high("1I", "40.00")
    bench.tell("1I", "290 N")
    (paper,) = bench.papers()
    assert paper.value == "290 N at 40 mm on the tester, 290.0 N at 40.00 mm installed"
    bench.sign(paper)
    assert bench.blocks() == []
    bench.head.do(DoWork("spring changed", ("1I",)))
    with pytest.raises(SessionError, match="have changed meanwhile"):
        bench.sign(paper)
    assert [one["why"] for one in bench.deviations()] == [
        "what it was signed for is within now, or waits to be measured"
    ]


def test_a_shim_is_judged_by_the_height_that_it_leaves():
    bench = Bench()
    bench.high("1I", "40.51")
    bench.tell("1I", "318 N", "1 N")
    assert [one.kind for one in bench.blocks()] == ["undecided"], "301.7 N, and the guard is 1.73 N"
    bench.head.do(DoWork("shim changed", ("1I",)))
    assert bench.blocks() == [], "the height is asked for again, and until then nothing is said"
    bench.high("1I", "40.00")
    assert bench.blocks() == []
    assert bench.sprung().load_n == 318
    assert bench.sprung().load == "within"


def test_another_spring_makes_what_was_told_void_and_a_shim_does_not():
    bench = Bench()
    bench.high("1I", "40.00")
    place = bench.tell("1I", "318 N")
    bench.tell("2I", "319 N")
    bench.head.do(DoWork("shim changed", ("1I",)))
    assert not any(one.what == "spring load" for one in bench.blocks())
    assert bench.sprung().load is None, "the height is stale"
    bench.head.do(DoWork("spring changed", ("1I",)))
    assert bench.words() == [
        "1I spring load: stale after spring changed; test the spring that is there now"
    ]
    assert "1I" not in findings_of(bench.session).loads
    assert findings_of(bench.session).loads["2I"] == (319, 0)
    bench.tell("1I", "321 N")
    assert findings_of(bench.session).loads["1I"] == (321, 0)
    with pytest.raises(SessionError, match="is not a reading"):
        bench.head.do(StrikeOut(99, "x"))
    bench.head.do(StrikeOut(place, "not this one"))
    assert findings_of(bench.session).loads["1I"] == (321, 0)


def test_a_load_that_is_struck_out_counts_no_longer():
    bench = Bench()
    place = bench.tell("1I", "318 N")
    bench.head.do(StrikeOut(place, "tester not at zero"))
    assert bench.words() == ["1I spring load: not tested yet at 40 mm; tell its load"]
    assert findings_of(bench.session).loads == {}


def test_the_plan_chooses_shims_by_the_load_and_says_what_was_not_tested():
    bench = Bench()
    bench.high("1I", "40.90")
    bench.high("2I", "40.02")
    bench.tell("1I", "309 N", "1 N")
    found = bench.survey()
    task = found.task
    assert task.rules["intake"].u_load_n == 1
    assert [place.spring_load_n for place in task.places] == [309, None]
    read = load_task(job_file(found, "x"), "job.toml", (SHIMS, "prices.toml"))
    best = plan(read)
    assert isinstance(best, Plan)
    assert ("2I", "spring load") in best.unproved
    assert ("1I", "spring load") not in best.unproved
    # 309 N at 40 mm is 11 N lost: 280.2 N at 40.90, 296.2 N with one shim, 312.2 N with two. Two
    # shims leave 39.90 mm, 2.4 mm before the coils touch.
    assert [put.way.stack.pieces for put in best.puts] == [(500_000_000, 500_000_000), ()]
    assert "spring load" not in [one.characteristic for one in work_order(read, best).remeasure]
    without = plan(load_task(job_file(found, "x"), "job.toml", PRICES))
    assert isinstance(without, Plan)
    # Without shims even a new spring is too weak so high up: the valve has to sit higher.
    assert without.puts[0].way.deeds == ("fit insert", "lap")


def test_no_shim_cures_a_tired_spring():
    """Handbook of the trade, 2.5: shim only to restore height, never to cure a tired spring."""
    bench = Bench()
    bench.high("1I", "40.00")
    bench.high("2I", "39.40")
    bench.tell("1I", "298 N")
    bench.tell("2I", "301 N", "1 N")
    found = bench.survey()
    scraps = [place.spring_scrap for place in found.task.places]
    assert scraps == ["spring load", "spring load undecided"]
    best = plan(load_task(job_file(found, "x"), "job.toml", (SHIMS, "prices.toml")))
    assert isinstance(best, Plan)
    assert all("replace spring" in put.way.deeds for put in best.puts)
    assert bench.words("1I")[0].endswith("a shim brings back a height, never a tired spring")
    assert [one.kind for one in bench.blocks("2I")] == ["undecided"], "320.2 N where it works"


def test_a_test_where_a_new_spring_has_less_condemns_none():
    bench = Bench(TEXT + SPRING.replace('tested_at = "40 mm"', 'tested_at = "42 mm"'))
    bench.high("1I", "40.00")
    bench.tell("1I", "250 N")  # a new one has 256 N there
    assert bench.words() == []
    assert bench.survey().task.places[0].spring_scrap == ""


def test_a_new_spring_is_tested_again_after_the_work():
    bench = Bench()
    bench.high("1I", "40.00")
    bench.high("2I", "40.02")
    bench.tell("1I", "280 N")
    bench.tell("2I", "318 N")
    task = bench.survey().task
    best = plan(task)
    assert isinstance(best, Plan)
    assert [put.way.deeds for put in best.puts] == [("replace spring",), ()]
    again = {(one.place, one.characteristic) for one in work_order(task, best).remeasure}
    assert ("1I", "spring load") in again
    assert ("2I", "spring load") not in again


def test_a_plan_from_a_record_is_that_of_its_export():
    bench = Bench()
    bench.high("1I", "40.00")
    bench.high("2I", "40.31")
    bench.tell("1I", "66.3 lbf", "0.4 lbf")
    bench.tell("2I", "32.61 kgf")
    found = bench.survey()
    read = load_task(job_file(found, "x"), "job.toml", PRICES)
    assert plan(read) == plan(found.task)
    assert load_words(bench.sprung("2I")).startswith("309.9 N at 40.31 mm installed")


def test_the_limits_of_springs_stand_in_the_report_beside_the_others(tmp_path):
    async def test() -> None:
        async with running(tmp_path, sheet_text=SHEET_OF_ONE, watchful=True) as rig:
            head = rig.store.publish_head("2026-01-02T00:00:00.000000Z")
            rows = report_document(rig.view(), head)["limits"]
            assert [(row["characteristic"], row["valves"], row["words"]) for row in rows[1:]] == [
                ("spring load", "intake", "min 300 N, max 340 N installed; tested at 40 mm"),
                ("coil-bind margin", "intake",
                 "min 1.50 mm, lift 9.50 mm, solid height 28.00 mm"),
            ]  # fmt: skip

    run(test())


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(3850, 4150), st.integers(250, 350),
                          st.sampled_from(["N", "lbf", "kgf"])), min_size=2, max_size=2),
       st.sampled_from(["", "1 N", "0.3 lbf"]))  # fmt: skip
def test_any_head_is_planned_from_its_export_as_from_its_record(
    told: list[tuple[int, int, str]], u: str
) -> None:
    per = {"N": 1.0, "lbf": 4.4482216152605, "kgf": 9.80665}
    bench = Bench()
    for valve, (high, load_, unit) in zip(("1I", "2I"), told, strict=True):
        bench.high(valve, f"{high / 100:.2f}")
        bench.tell(valve, f"{load_ / per[unit]:.2f} {unit}", u)
    found = bench.survey()
    read = load_task(job_file(found, "x"), "job.toml", (SHIMS, "prices.toml"))
    shop = load_prices(SHIMS, "prices.toml", kinds=("intake",))
    assert plan(read) == plan(replace(found.task, shop=shop))


def test_a_head_without_springs_in_its_sheet_has_none():
    assert springs_in(Bench(TEXT).session) == []
    assert Bench(TEXT).words() == []


def test_page_and_report_show_every_spring_in_the_units_of_the_book():
    inches = SPRING.replace('"40 mm"', '"1.575 in"').replace('"300 N"', '"67.4 lbf"')
    bench = Bench(TEXT + inches)
    bench.high("1I", "40.00")
    bench.tell("1I", "71.5 lbf", "0.5 lbf", "B. T.")
    one, two = spring_documents(bench.session)
    assert (one["state"], one["told"], one["u"], one["by"]) == ("tested", "71.5 lbf", "0.5 lbf",
                                                                "B. T.")  # fmt: skip
    # 1.575 in are 40.005 mm, where a new one has 319.84 N or 71.903 lbf: 0.403 lbf are lost. At
    # 40 mm a new one has 320 N or 71.939 lbf.
    assert one["load_words"] == ("71.5 lbf at 1.5748 in installed, against min 67.4 lbf, max 340 N")
    assert one["room_words"] == "0.0984 in at full lift, against 0.0591 in at least"
    assert (one["load_verdict"], one["room_verdict"]) == ("within", "within")
    assert (two["state"], two["load"], two["installed"]) == ("not tested", "", "")
    release = release_document(bench.session, judge_session(bench.sheet, bench.session, {}), DAY)
    check(release, release_shape(Maybe))
    made = release_part(release)
    assert made is not None
    assert made["springs"][0] == {
        "valve": "1I", "told": "71.5 lbf at 1.575 in, u 0.5 lbf", "by": "B. T.",
        "load": f"within: {one['load_words']}", "room": f"within: {one['room_words']}",
    }  # fmt: skip
    assert made["springs"][1]["told"] == "not tested"
    bench.head.do(DoWork("spring changed", ("1I",)))
    assert spring_documents(bench.session)[0]["state"] == "test again"


def test_a_page_tells_a_load_and_hears_what_it_comes_to(tmp_path):
    async def test() -> None:
        async with running(tmp_path, sheet_text=SHEET_OF_ONE, watchful=True) as rig:
            told = {"do": "spring", "valve": "1I", "load": "318 N"}
            status, answer = await act(rig.bench, told)
            assert (status, answer["words"]) == (200, "spring of 1I: 318 N at 40 mm")
            await act(rig.bench, {"do": "take", "gauge": "C1"})
            await rig.press("C1", spring(4010))
            status, answer = await act(rig.bench, {**told, "load": "319 N", "by": "B. T."})
            assert status == 200
            assert answer["words"] == (
                "spring of 1I: 319 N at 40 mm; within, 315.8 N at 40.10 mm installed, against min "
                "300 N, max 340 N"
            )
            status, answer = await act(rig.bench, {**told, "load": "319"})
            assert status == 409
            assert "accepted: N, lbf or kgf" in answer["words"]
            assert (await act(rig.bench, {**told, "sure": True}))[0] == 400

    run(test())

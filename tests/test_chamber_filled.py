"""A chamber is filled from a burette: its volume is told on record and counts until work on it."""

from __future__ import annotations

from dataclasses import asdict, replace
from fractions import Fraction
from typing import Any

import pytest
import release_kit
from bench_kit import run, running
from hypothesis import given, strategies as st
from release_kit import Head
from test_release_common import CHAMBER, downs, sheet_with

from gaugelink import content
from gaugelink.capture.actions import act
from gaugelink.commands.plan_file import load_prices
from gaugelink.commands.plan_record import findings_of
from gaugelink.deeds import DoWork, FillChamber, SignDeviation, StrikeOut
from gaugelink.errors import SessionError
from gaugelink.events import ChamberFilled
from gaugelink.judging import Measured, judge
from gaugelink.planning.chamber import CUBIC_CM, Chamber
from gaugelink.planning.survey import survey
from gaugelink.planning.task import Cylinder
from gaugelink.planning.ties import Apart, apart_u, ties, unmeasured
from gaugelink.planning.together import together
from gaugelink.quantity import parse_length
from gaugelink.release import chambers_in
from gaugelink.report.release import release_part
from gaugelink.view.chambers import chamber_documents
from gaugelink.view.release import release_document
from gaugelink.work import CHAMBER_WORK, WORK, Operation

SPREAD = 'max_spread = "0.30 cm3"\n'


@pytest.fixture
def head(monkeypatch: pytest.MonkeyPatch) -> Head:
    """Two cylinders whose chambers are as the book has them."""
    sheet_with(monkeypatch, CHAMBER)
    made = Head()
    downs(made, "1.25", "1.25")
    return made


def fill(head: Head, cylinder: int, volume: str, u: str = "", by: str = "") -> int:
    return head.do(FillChamber(cylinder, volume, u, by))[0]


def now(head: Head, cylinder: int) -> dict[str, Any]:
    return chamber_documents(head.session, head.judgement())[cylinder - 1]


def test_it_is_told_with_its_unit_and_stays_on_record_as_it_was_said(head: Head) -> None:
    place = fill(head, 2, " 30,5  ml ", "0.05 cm3", "B. T.")
    event = head.record[place][1]
    assert event == ChamberFilled(event.stamp, 2, "30,5 ml", "B. T.", "0.05 cm3")
    fill(head, 1, "1.85 in3")
    assert head.record[-1][1].by == "A. N."
    assert head.replayed().signoff == head.session.signoff


@pytest.mark.parametrize(
    ("told", "what"),
    [
        (FillChamber(3, "30 cm3"), "found cylinder 3, accepted: 1 to 2"),
        (FillChamber(0, "30 cm3"), "found cylinder 0, accepted: 1 to 2"),
        (FillChamber(1, "30"), "without a unit, accepted: mm3, cm3, ml or in3"),
        (FillChamber(1, "0 cm3"), "found a volume of 0 cm3, accepted: above 0"),
        (FillChamber(1, "30 cm3", "0 ml"), "uncertainty of 0 ml, accepted: above 0, or none"),
        (FillChamber(1, "30 gills"), "found the unit 'gills'"),
    ],
)
def test_what_is_no_volume_is_refused_in_words(head: Head, told: FillChamber, what: str) -> None:
    size = len(head.record)
    with pytest.raises(SessionError) as refused:
        head.do(told)
    assert what in str(refused.value)
    assert len(head.record) == size


def test_it_is_refused_where_the_sheet_says_nothing_of_chambers() -> None:
    with pytest.raises(SessionError, match=r"needs a table \[chamber\]"):
        Head().do(FillChamber(1, "30 cm3"))


def test_what_was_filled_counts_instead_of_what_is_reckoned(head: Head) -> None:
    """By hand: reckoned 530 / 30 is 17.67; with 30.5 cm3 it is 530.5 / 30.5, 17.39, below 17.6."""
    assert head.words() == []
    assert now(head, 2) == {
        "cylinder": 2, "state": "reckoned", "void": "", "told": "", "u": "", "by": "",
        "place": None, "volume": "30.00 cm3", "volume_limit": "", "volume_verdict": "",
        "ratio": "17.67", "ratio_limit": "min 17.60", "ratio_verdict": "within",
    }  # fmt: skip
    place = fill(head, 2, "30.5 cm3", "0.02 cm3", "B. T.")
    assert head.words() == [
        "compression ratio of cylinder 2: outside, 17.39 (measured) against min 17.60"
    ]
    told = now(head, 2)
    assert (told["state"], told["volume"], told["ratio_verdict"], told["place"]) == (
        "measured", "30.50 cm3", "outside", place
    )  # fmt: skip
    head.do(StrikeOut(place, "air under the plate"))
    assert head.words() == []
    assert now(head, 2)["state"] == "reckoned"


def test_its_own_uncertainty_guards_it(head: Head) -> None:
    """By hand: 30.12 gives 17.6; dR/dV there is 0.55 for a cm3, so 0.02 cm3 is a u of 0.011."""
    fill(head, 1, "30.11 cm3")
    assert head.words() == []
    fill(head, 1, "30.11 cm3", "0.02 cm3")
    assert [block.kind for block in head.blocks()] == ["undecided"]


def test_a_measured_ratio_is_signed_for_its_filling_alone(head: Head) -> None:
    place = fill(head, 2, "30.5 cm3")
    (block,) = head.blocks()
    assert block.sign is not None
    assert block.sign.places == (place,)
    head.do(SignDeviation(**asdict(block.sign), by="C. D.", reason="agreed"))
    assert head.words() == []
    release = head.release()
    assert head.session.signoff.released
    fill(head, 2, "30.5 cm3")
    assert head.session.signoff.taken_back == "measured since: the chamber of cylinder 2"
    assert len(head.words()) == 1, "another filling, of which nobody has signed anything"
    assert head.record[release][1].deviations


def test_work_makes_it_void_where_it_touches_the_chamber(head: Head) -> None:
    fill(head, 1, "30.5 cm3")
    fill(head, 2, "30.6 cm3")
    head.do(DoWork("guide honed", ("2I",)))
    assert now(head, 2)["state"] == "measured"
    head.do(DoWork("seat lapped", ("2I",)))
    told = now(head, 2)
    assert (told["state"], told["void"]) == ("measure again", "seat lapped")
    assert now(head, 1)["state"] == "measured"
    with pytest.raises(SessionError, match="have changed meanwhile"):
        head.do(SignDeviation("", "compression ratio of cylinder 2", "", "min 17.60", "17.34",
                              (told["place"],), "C. D.", "x"))  # fmt: skip
    head.do(DoWork("face skimmed"))
    assert now(head, 1)["void"] == "face skimmed"
    assert findings_of(head.session).volumes == {}


@given(st.sampled_from(sorted(WORK)), st.sampled_from([("1I",), ("2I",), ("1I", "2I")]))
def test_what_is_void_is_what_the_table_says(operation: Operation, valves: tuple[str, ...]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        sheet_with(patch, CHAMBER)
        head = Head()
        fill(head, 1, "30.5 cm3")
        fill(head, 2, "30.5 cm3")
        concerns = WORK[operation].concerns
        if concerns == "gauge":
            return
        head.do(DoWork(operation, valves if concerns == "valves" else ()))
        touched = {1, 2} if concerns == "head" else {int(valve[0]) for valve in valves}
        wanted = touched if operation in CHAMBER_WORK else set()
        assert {one.cylinder for one in chambers_in(head.session, head.judgement())
                if one.told is not None and one.told.void} == wanted  # fmt: skip


def test_where_the_spread_is_limited_all_are_filled_or_none(monkeypatch) -> None:
    """What the book's figures are off by is in every reckoned volume, and in no measured one."""
    sheet_with(monkeypatch, CHAMBER.replace('compression_ratio_min = "17.6"\n', SPREAD))
    head = Head()
    downs(head, "1.25", "1.25")
    assert head.words() == []
    fill(head, 1, "30.0 cm3")
    (words,) = head.words()
    assert words == (
        "chamber volume: measured at some and only reckoned at cylinder 2; fill these too, the "
        "book limits how far chambers lie apart"
    )
    place = fill(head, 2, "30.4 cm3")
    assert head.words() == [
        "spread of chamber volume: outside, 0.40 cm3 (measured) against max 0.30 cm3"
    ]
    assert head.blocks()[0].sign is not None
    assert head.blocks()[0].sign.places == (place - 1, place)
    fill(head, 2, "30.2 cm3")
    assert head.words() == []


def test_a_plan_ties_what_was_measured_and_asks_for_what_was_not() -> None:
    """By hand: of 0.02 and 0.03 cm3, a spread has the root of 0.0013: 0.0361 cm3."""
    cylinders = (Cylinder("cylinder 1", volume=30 * CUBIC_CM, filled=True, u=CUBIC_CM // 50),
                 Cylinder("cylinder 2", volume=31 * CUBIC_CM, filled=True, u=3 * CUBIC_CM // 100),
                 Cylinder("cylinder 3", volume=30 * CUBIC_CM, filled=True, u=0))  # fmt: skip
    sheet = release_kit.SHEET
    shop = load_prices(*_prices(), kinds=sheet.head.kinds)
    base = survey(sheet, [], judge(sheet, []), shop).task
    task = replace(base, cylinders=cylinders, chamber=Chamber(apart=2 * CUBIC_CM, u=10**12))
    assert apart_u(task) == pytest.approx(0.036055 * CUBIC_CM, rel=1e-4)
    (tie,) = ties(task)
    assert isinstance(tie, Apart)
    assert float(tie.limit) == pytest.approx((2 - 1.645 * 0.036055) * CUBIC_CM, rel=1e-4)
    (spread,) = together(task, {}, 0)
    assert (spread.value, spread.filled) == (1, ("cylinder 1", "cylinder 2", "cylinder 3"))
    some = replace(task, cylinders=(*cylinders[:2], replace(cylinders[2], filled=False, u=None)))
    assert ties(some) == ()
    assert list(unmeasured(some)) == [("cylinder 3", "chamber volume")]
    assert together(some, {}, 0) == ()


def _prices() -> tuple[str, str]:
    text, file = content.read("sim/prices", "demo-shop")
    return text.partition("[[prices.oversize]]")[0], file


def test_the_task_of_a_plan_has_it(head: Head) -> None:
    fill(head, 2, "30.5 cm3", "0.02 cm3")
    sheet = release_kit.SHEET
    given_ = [Measured(at, name, "", "", parse_length(f"{text} mm").pm, text, "mm", 8_500_000, n)
              for n, (at, name, text) in enumerate((("1I", "stand-down", "1.25"),
              ("2I", "stand-down", "1.25"), ("", "head thickness", "7.95")))]  # fmt: skip
    shop = load_prices(*_prices(), kinds=sheet.head.kinds)
    task = survey(sheet, given_, judge(sheet, given_), shop, findings_of(head.session)).task
    one, two = task.cylinders
    assert (one.volume, one.filled, one.u) == (30 * CUBIC_CM, False, None)
    assert (two.volume, two.filled, two.u) == (
        int(Fraction("30.5") * CUBIC_CM), True, CUBIC_CM // 50
    )  # fmt: skip


def test_the_report_says_which_are_measured(head: Head) -> None:
    fill(head, 2, "30.5 cm3", "0.02 cm3", "B. T.")
    document = release_document(head.session, head.judgement(), head.day)
    part = release_part(document)
    assert part is not None
    assert part["chambers"] == [
        {"cylinder": "1", "told": "not filled", "volume": "30.00 cm3 reckoned",
         "ratio": "17.67, within: min 17.60", "by": ""},
        {"cylinder": "2", "told": "30.5 cm3, u 0.02 cm3", "volume": "30.50 cm3 measured",
         "ratio": "17.39, outside: min 17.60", "by": "B. T."},
    ]  # fmt: skip


def test_a_page_tells_a_volume_and_hears_what_it_comes_to(tmp_path) -> None:
    async def test() -> None:
        first = release_kit.TEXT.index("[[limit]]")
        text = release_kit.TEXT[:first] + CHAMBER + release_kit.TEXT[first:]
        async with running(tmp_path, sheet_text=text, watchful=True) as rig:
            told = {"do": "chamber", "cylinder": 2, "volume": "30.5 cm3"}
            status, answer = await act(rig.bench, told)
            assert status == 200
            assert answer["words"] == (
                "chamber of cylinder 2: 30.5 cm3; compression ratio 17.39, outside, against min "
                "17.60"
            )
            status, answer = await act(rig.bench, {**told, "cylinder": 3})
            assert (status, answer["words"]) == (409, "found cylinder 3, accepted: 1 to 2")
            assert (await act(rig.bench, {**told, "cylinder": "2"}))[0] == 400

    run(test())

"""What people say and sign is on record, and holds for as long as it is true."""

from __future__ import annotations

import pytest
from release_kit import AFTER, DEPTH, STEM, Head, ready

from gaugelink.deeds import DoWork, Inspect, Release, Retake, SignDeviation, Skip, StrikeOut
from gaugelink.errors import SessionError
from gaugelink.events import DeviationSigned, HeadReleased, Inspected, WorkDone
from gaugelink.inspection import CHECKS, VOIDS, inspection_page
from gaugelink.work import WORK


def test_a_head_against_which_nothing_stands_is_released_by_name() -> None:
    head = ready()
    assert head.words() == []
    place = head.release("  C.   D. ", " for the pump station ")
    event = head.record[place][1]
    assert isinstance(event, HeadReleased)
    assert (event.by, event.words) == ("C. D.", "for the pump station")
    assert (event.within, event.outside, event.undecided, event.deviations) == (6, 0, 0, ())
    assert head.session.signoff.released


@pytest.mark.parametrize("name", ["", "  ", "\n\t"])
def test_nobody_signs_without_a_name(name: str) -> None:
    head = ready()
    with pytest.raises(SessionError, match="a name is needed"):
        head.release(name)
    head.at(DEPTH, "1.75")
    head.at(AFTER)
    (outside,) = [item for item in head.judgement().verdicts if item.verdict == "outside"]
    with pytest.raises(SessionError, match="a name is needed"):
        head.sign(outside, by=name)
    with pytest.raises(SessionError, match="a reason is needed"):
        head.sign(outside, reason=name)


def test_a_head_is_not_released_while_something_stands_against_it() -> None:
    head = Head()
    head.measure()
    with pytest.raises(SessionError, match=r"not be released: 1I valve: not looked .* and 11 more"):
        head.release()
    assert head.session.signoff.release is None


def test_a_release_goes_by_the_verdicts_of_now() -> None:
    """What was judged before something else went on record is not what is signed."""
    head = ready()
    old = Release("C. D.", "", head.judgement(), head.session.seen)
    head.do(Inspect("spring", ("1I",), sound=True))
    with pytest.raises(SessionError, match="meanwhile"):
        head.do(old)
    head.release()
    with pytest.raises(SessionError, match="released already"):
        head.release()


@pytest.mark.parametrize(
    ("deed", "why"),
    [
        (DoWork("seat cut", ("2I",)), "work since: seat cut on 2I"),
        (DoWork("face skimmed"), "work since: face skimmed"),
        (Retake("dirt"), "a reading was struck out since: dirt"),
        (Inspect("spring", ("1I",), sound=False, words="end coil broken"),
         "condemned: spring (1I), end coil broken"),
    ],
)  # fmt: skip
def test_what_happens_after_a_release_takes_it_back(deed, why: str) -> None:
    head = ready()
    head.release()
    head.do(deed)
    signoff = head.session.signoff
    assert (signoff.released, signoff.taken_back) == (False, why)
    assert signoff.release is not None, "it stays readable"
    assert head.blocks()


def test_a_new_reading_takes_a_release_back_and_a_new_release_holds() -> None:
    head = ready()
    head.release()
    head.at(STEM, "7.961")
    # the old reading is struck out for the new one, which is the first thing that happens
    assert head.session.signoff.taken_back == "a reading was struck out since: measured again"
    assert head.words() == []
    head.release("E. F.")
    assert head.session.signoff.released


def test_a_release_is_taken_back_by_striking_it_out() -> None:
    head = ready()
    place = head.release()
    head.do(StrikeOut(place, "wrong head"))
    assert head.session.signoff.taken_back == "taken back: wrong head"
    with pytest.raises(SessionError, match="does not count any more"):
        head.do(StrikeOut(place, "again"))
    assert head.session.finished, "no reading was touched"


def test_words_about_the_head_that_change_nothing_leave_it_released() -> None:
    head = ready()
    head.release()
    head.do(Inspect("valve", ("1I",), words="polished"))
    head.value("M1", "7.948")  # nothing is asked for: the tray
    assert head.session.signoff.released
    assert head.words() == []


def test_a_deviation_holds_for_its_readings_and_no_others() -> None:
    head = ready()
    head.at(DEPTH, "1.75")
    head.at(AFTER)
    (outside,) = [item for item in head.judgement().verdicts if item.verdict == "outside"]
    assert head.words() == ["1I stand-down: outside, 1.75 mm against service max 1.60 mm"]
    place = head.sign(outside, reason=" deep,  but the pistons\nallow it ")
    event = head.record[place][1]
    assert isinstance(event, DeviationSigned)
    assert (event.value, event.reason) == ("1.75 mm", "deep, but the pistons allow it")
    assert head.words() == []
    head.at(DEPTH, "1.75")  # the same figure, measured anew, is another reading
    head.at(AFTER)
    assert head.words() == ["1I stand-down: outside, 1.75 mm against service max 1.60 mm"]
    with pytest.raises(SessionError, match="have changed meanwhile"):
        head.sign(outside)
    head.sign(next(i for i in head.judgement().verdicts if i.verdict == "outside"))
    released = head.record[head.release()][1]
    assert isinstance(released, HeadReleased)
    assert (released.within, released.outside, len(released.deviations)) == (5, 1, 1)
    assert released.deviations[0] > place


def test_a_deviation_that_is_struck_out_holds_no_longer() -> None:
    head = ready()
    head.at(DEPTH, "1.75")
    head.at(AFTER)
    (outside,) = [item for item in head.judgement().verdicts if item.verdict == "outside"]
    place = head.sign(outside)
    head.release()
    head.do(StrikeOut(place, "the customer refused"))
    assert [block.kind for block in head.blocks()] == ["outside"]
    why = "an inspection or a deviation was struck out since: the customer refused"
    assert head.session.signoff.taken_back == why


def test_a_deviation_goes_by_readings_that_count() -> None:
    head = ready()
    for places in ((), (10_000,), (0,)):
        with pytest.raises(SessionError, match="have changed meanwhile"):
            head.do(SignDeviation("1I", "stand-down", "", "", "1.75 mm", places, "C. D.", "agreed"))


def test_an_inspection_names_what_is_wrong_and_who_looked() -> None:
    head = Head()
    with pytest.raises(SessionError, match="say what is wrong"):
        head.do(Inspect("spring", ("1I",), sound=False, words="  "))
    with pytest.raises(SessionError, match=r"found the valve '9E', accepted: 1I, 2I"):
        head.do(Inspect("spring", ("9E",)))
    with pytest.raises(SessionError, match="concerns no single valve"):
        head.do(Inspect("crack test", ("1I",)))
    (place,) = head.do(Inspect("spring", ("2I", "1I", "2I"), words=" ends\n flat "))
    event = head.record[place][1]
    assert isinstance(event, Inspected)
    assert (event.valves, event.words, event.by) == (("1I", "2I"), "ends flat", "A. N.")


def test_a_later_look_replaces_the_earlier_one() -> None:
    head = ready()
    head.do(Inspect("spring", ("1I",), sound=False, words="end coil broken"))
    assert head.words() == ["1I spring: condemned by A. N.: end coil broken"]
    head.do(Inspect("spring", by="B. T."))  # all of them
    assert head.words() == []
    (place,) = head.do(Inspect("spring", ("2I",), sound=False, words="pitted"))
    head.do(StrikeOut(place, "it was 3I of another head"))
    assert head.words() == [], "what was ticked by mistake is struck out, and what was before holds"


@pytest.mark.parametrize("operation", [name for name in WORK if name != "gauge found out"])
def test_work_makes_void_what_was_looked_at_before_it(operation) -> None:
    head = ready()
    valves = ("2I",) if WORK[operation].concerns == "valves" else ()
    head.do(DoWork(operation, valves))
    wanted = {
        (check, valve)
        for check in VOIDS[operation]
        if CHECKS[check].required
        for valve in ((valves or ("1I", "2I")) if CHECKS[check].of == "valve" else ("",))
    }
    assert {(b.what, b.valve) for b in head.blocks() if b.kind == "not inspected"} == wanted
    head.look()
    assert not [block for block in head.blocks() if block.kind == "not inspected"]


def test_what_work_made_void_stands_in_the_record_with_it() -> None:
    """A later version's table changes nothing that was; an older record goes by today's."""
    head = ready()
    (place,) = head.do(DoWork("seat cut", ("2I",)))
    event = head.record[place][1]
    assert isinstance(event, WorkDone)
    assert event.voids == VOIDS["seat cut"]


def test_every_operation_says_what_it_makes_void() -> None:
    assert set(VOIDS) == set(WORK)
    assert all(set(checks) <= set(CHECKS) for checks in VOIDS.values())
    # A spring's installed height changes only where collets, retainer, shim or valve were out.
    for operation, work in WORK.items():
        if "installed spring height" in work.stale and operation != "gauge found out":
            assert "collets seated" in VOIDS[operation], operation
    for check in CHECKS:
        assert any(check in checks for checks in VOIDS.values()), f"nothing ever voids {check}"


def test_a_check_that_is_not_required_is_required_once_it_failed() -> None:
    head = ready()
    head.do(Inspect("leak test", ("1I",), sound=False, words="falls to nothing in 2 s"))
    assert head.words() == ["1I leak test: condemned by A. N.: falls to nothing in 2 s"]
    head.do(DoWork("seat lapped", ("1I",)))
    head.measure()
    head.look()
    assert head.words() == ["1I leak test: looked at before this work: seat lapped; look again"]
    head.do(Inspect("leak test", ("1I",)))
    assert head.words() == []


def test_a_record_gives_the_same_sign_off_again() -> None:
    head = ready()
    head.at(DEPTH, "1.75")
    head.at(AFTER)
    place = head.sign(next(i for i in head.judgement().verdicts if i.verdict == "outside"))
    head.release()
    assert head.replayed().signoff == head.session.signoff
    head.do(StrikeOut(place, "by mistake"))
    head.do(DoWork("spring changed", ("1I",)))
    head.do(Skip("no gauge")) if head.session.step else None
    assert head.replayed() == head.session


def test_the_page_lists_every_check(request) -> None:
    page = request.config.rootpath / "docs" / "release.md"
    assert inspection_page() in page.read_text(encoding="utf-8")

"""A value that looks like a slip goes to the tray, its place stays asked for; a person answers."""

from __future__ import annotations

import pytest
from bench_kit import STEM, run, running, stem
from cable_kit import nothing_left

from gaugelink.capture.actions import act
from gaugelink.deeds import Assign, Retake, Skip, StrikeOut
from gaugelink.errors import SessionError

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]

SHIFTED = stem("79.65")


def shown(rig) -> list[str]:
    return [item.shown.text for item in rig.session.readings()]


def test_a_doubtful_value_is_on_disk_and_in_no_place(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", SHIFTED)
            assert rig.kinds()[-1] == "reading-parked"
            assert shown(rig) == []
            assert rig.session.cursor == STEM
            [entry] = rig.session.tray()
            question = rig.session.question
            assert (question.place, question.step, question.code) == (
                entry.place, STEM, "decimal shift",
            )  # fmt: skip
            assert "79.65 mm" in question.words
            assert question.words in rig.audience.warnings()[-1]

    run(test())


def test_measuring_again_leaves_it_in_the_tray_and_ends_the_question(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", SHIFTED)
            await rig.press("M1", stem("7.965"))
            assert shown(rig) == ["7.965"]
            assert len(rig.session.tray()) == 1
            assert rig.session.question is None
            await rig.bench.go(STEM)
            assert rig.session.question is None
            await rig.bench.do(Retake("dirt"))
            assert rig.session.question is None, "the old question does not come back"

    run(test())


def test_keeping_it_puts_it_in_its_place_with_a_reason(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", SHIFTED)
            question = rig.session.question
            document = {"do": "assign", "place": question.place, "step": question.step,
                        "reason": "looked at twice"}  # fmt: skip
            status, _ = await act(rig.bench, document)
            assert status == 200
            assert shown(rig) == ["79.65"]
            assert rig.session.tray() == []
            assert rig.session.question is None
            assert rig.session.cursor == STEM + 1

    run(test())


def test_what_was_kept_is_not_asked_about_again_at_the_same_valve(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", SHIFTED)
            await rig.bench.do(Assign(rig.session.question.place, STEM, "an oversize"))
            await rig.press("M1", stem("79.64"))
            assert shown(rig) == ["79.65", "79.64"]
            await rig.press("M1", SHIFTED)
            assert rig.session.question.code == "decimal shift", "another valve is asked about"

    run(test())


def test_the_newest_value_is_the_one_that_is_asked_about(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", SHIFTED)
            await rig.press("M1", stem("0.3136"))
            assert rig.session.question.code == "wrong unit"
            assert len(rig.session.tray()) == 2
            await rig.bench.do(StrikeOut(rig.session.question.place, "a slip"))
            assert rig.session.question.code == "decimal shift"

    run(test())


def test_the_question_belongs_to_its_step(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", SHIFTED)
            await rig.bench.go(STEM + 1)
            assert rig.session.question is None
            await rig.bench.go(STEM)
            assert rig.session.question is not None
            await rig.bench.do(Skip("later"))
            await rig.bench.go(STEM)
            assert rig.session.question is None

    run(test())


def test_a_retake_that_looks_like_a_slip_leaves_the_reading_that_counts(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", stem("7.965"))
            await rig.bench.back()
            await rig.press("M1", SHIFTED)
            assert shown(rig) == ["7.965"]
            assert rig.session.question.step == STEM

    run(test())


def test_one_press_sent_twice_is_one_value_and_a_note(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", stem("7.965"))
            # The first is within the bounce of a button, the other after it and within 0.8 s.
            for later_s in (0.2, 0.55):
                rig.clock.pass_s(later_s)
                rig.send("M1", stem("7.965"))
                await rig.heard("M1")
            assert shown(rig) == ["7.965"]
            assert rig.session.question is None
            whys = [entry.event.why for entry in rig.session.tray()]
            assert "bounced" in whys[0]
            assert whys[1].startswith("looks like one press sent twice")

    run(test())


def test_after_a_power_cut_the_question_stands_again(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", SHIFTED)
            question = rig.session.question
        async with running(tmp_path, watchful=True, job=False, reopen=True) as rig:
            assert rig.session.question == question

    run(test())


def test_a_value_from_the_tray_is_not_assigned_twice(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", SHIFTED)
            place = rig.session.question.place
            await rig.bench.do(Assign(place, STEM, "so it is"))
            with pytest.raises(SessionError, match="already"):
                await rig.bench.do(Assign(place, STEM + 1, "again"))

    run(test())

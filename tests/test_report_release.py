"""The report says who released the head, or what stands against it, and what was signed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
import release_sample
from release_kit import AFTER, DEPTH, ready
from report_sample import sample_attachments, sample_document
from test_report_pdf import squeezed, text_of

from gaugelink.deeds import DoWork, Inspect
from gaugelink.report.layout import lay_out
from gaugelink.report.pdf import make_pdf
from gaugelink.report.release import release_part
from gaugelink.view.release import release_document

if TYPE_CHECKING:
    from release_kit import Head


def part(head: Head) -> dict[str, Any]:
    made = release_part(release_document(head.session, head.judgement(), head.day))
    assert made is not None
    return made


def test_a_report_without_a_word_on_release_has_no_such_part() -> None:
    for nothing in (None, {}, [], "released"):
        assert release_part(nothing) is None
        assert lay_out({"release": nothing})["release"] is None


def test_what_stands_against_it_is_printed_by_kind() -> None:
    head = ready()
    head.do(Inspect("spring", ("1I",), sound=False, words="end coil broken"))
    head.do(DoWork("seat cut", ("2I",)))
    made = part(head)
    assert made["sentence"] == "Not released; 6 things stand against it."
    assert [group["title"] for group in made["groups"]] == [
        "Condemned (1)", "Stale after work (1)", "Zero checks (2)", "Not looked at (2)",
    ]  # fmt: skip
    assert made["groups"][1]["rows"] == [
        {"owner": "2I", "words": "stand-down: stale after seat cut; measure again"}
    ]


def test_what_was_looked_at_is_told_with_who_looked() -> None:
    head = ready()
    head.do(Inspect("spring", ("1I",), sound=False, words="end coil broken", by="E. F."))
    looked = {one["name"]: one for one in part(head)["looked"]}
    assert looked["valve"]["found"] == "sound"
    assert looked["valve"]["by"] == "B. T."
    assert looked["spring"]["found"] == "sound: 2I; condemned: 1I (end coil broken)"
    assert looked["spring"]["by"] == "E. F., B. T."
    assert looked["leak test"]["found"] == "not looked at"
    assert looked["crack test"]["found"] == "sound"


def test_deviations_stand_with_name_and_reason() -> None:
    head = ready()
    head.at(DEPTH, "1.75")
    head.at(AFTER)
    head.sign(head.blocks()[0].judged, by="C. D.", reason="the pistons allow it")
    head.release("C. D.")
    made = part(head)
    assert made["released"]
    assert made["sentence"] == "Released at 2026-01-02 00:00 UTC by C. D."
    (row,) = made["deviations"]
    assert row == {
        "owner": "1I", "what": "stand-down 1.75 mm", "limit": "service max 1.60 mm",
        "by": "C. D.", "reason": "the pistons allow it", "state": "",
    }  # fmt: skip


BENT = ({"groups": [{"rows": [{"valves": 5}]}]}, {"checks": 7}, {"deviations": [{"place": None}]},
        {"sentence": None})  # fmt: skip


@pytest.mark.parametrize("wrong", BENT)
def test_a_bent_document_is_printed_all_the_same(wrong) -> None:
    made = release_part(release_sample.blocked(**wrong))
    assert made is not None
    assert isinstance(made["sentence"], str)


def printed(release: dict[str, Any]) -> str:
    document = sample_document() | {"release": release}
    return squeezed(text_of(make_pdf(document, sample_attachments(document))))


def test_the_pdf_says_what_blocks_and_who_looked() -> None:
    page = printed(release_sample.blocked())
    for words in ("Not released; 16 things stand against it.", "2E spring: condemned by B. T.",
                  "4I stand-down: stale after seat cut; measure again",
                  "3I, 3E, 4I, 4E, 5I, 5E, 6I, 6E collets seated: not looked at yet",
                  "A person releases the head, not this program"):  # fmt: skip
        assert squeezed(words) in page, words


def test_the_pdf_says_who_released_and_what_was_accepted() -> None:
    page = printed(release_sample.released())
    for words in ("Released at 2026-11-25 10:30 UTC by C. Invented", "Accepted value",
                  "stand-down 1.63 mm", "pistons leave room"):  # fmt: skip
        assert squeezed(words) in page, words

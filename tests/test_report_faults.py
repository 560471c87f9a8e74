"""The report says whose fault a clearance over its limit is."""

from __future__ import annotations

from typing import Any

import pytest
from report_sample import sample_document
from test_report_pdf import squeezed, text_of

from gaugelink.report.layout import lay_out
from gaugelink.report.pdf import make_pdf


def fault(**more: Any) -> dict[str, Any]:
    return {
        "verdict": 3, "valve": "3E", "method": "direct", "by": "sizes", "answer": "guide",
        "probability": 0.974, "probabilities": None, "sure": True,
        "words": "guide 97 %: a new guide alone brings it within", "remarks": [],
    } | more  # fmt: skip


def printed(*faults: dict[str, Any]) -> str:
    return text_of(make_pdf(sample_document() | {"faults": list(faults)}, {}))


def test_answer_probability_and_what_helps_stand_in_their_table():
    found = printed(
        fault(),
        fault(valve="2E", answer="valve", sure=False, remarks=["A doubt of whoever measured"]),
        fault(valve="1I", answer=None, probability=None, by="", sure=False,
              words="cannot be told", remarks=["missing: the uncertainty of the stem"]),
    )  # fmt: skip
    assert squeezed("Valve or guide") in found
    assert squeezed("3E direct guide 97 % smallest stem, largest bore A new guide alone") in found
    assert squeezed("in doubt") in found
    assert squeezed("A doubt of whoever measured") in found
    assert squeezed("1I direct not told Cannot be told. missing: the uncertainty") in found


def test_without_a_clearance_over_its_limit_the_section_is_not_there():
    assert squeezed("Valve or guide") not in printed()


@pytest.mark.parametrize("answer", ["none", "valve", "guide", "either", "both"])
def test_every_answer_is_a_word_of_its_own(answer):
    made = lay_out({"faults": [fault(answer=answer, words=f"{answer} 97 %: it helps")]})
    (row,) = made["faults"]
    assert (row["answer"], row["share"], row["words"]) == (answer, "97 %", "It helps.")


def test_what_would_decide_stands_in_a_table_of_its_own():
    words = "more readings cannot decide it; a gauge with u of 0.8 um or less can: B2"
    one = {"verdict": 1, "valve": "2I", "characteristic": "guide bore", "method": "", "more": None,
           "u_needed_um": 0.8, "gauges": ["B2"], "words": words}  # fmt: skip
    found = text_of(make_pdf(sample_document() | {"deciders": [one]}, {}))
    assert squeezed("What would decide") in found
    assert squeezed(f"2I guide bore M{words[1:]}.") in found
    assert squeezed("What would decide") not in printed()

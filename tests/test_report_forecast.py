"""The report prints what was foretold after work beside what was found, surprises first."""

from __future__ import annotations

import pytest
from report_sample import sample_attachments, sample_document
from test_report_pdf import squeezed, text_of

from gaugelink.report.forecast import forecast_rows
from gaugelink.report.layout import lay_out
from gaugelink.report.pdf import make_pdf

WORDS = "3E stand-down: seat cut 0.15 mm was told, it moved by 0.31 mm"
CAME = {
    "place": 20, "valve": "3I", "characteristic": "stand-down", "station": "", "direction": "",
    "before": "1.02 mm", "work": "seat cut 0.15 mm", "expected": "1.17 mm",
    "u_text": "0.034 mm", "found": "1.18 mm", "difference": "+0.01 mm", "word": "as foretold",
    "words": "", "meanings": [],
}  # fmt: skip
SURPRISE = CAME | {
    "place": 21, "valve": "3E", "before": "1.08 mm", "expected": "1.23 mm", "found": "1.39 mm",
    "difference": "+0.16 mm", "word": "surprise", "words": WORDS,
    "meanings": ["another valve was measured", "work was done and not told"],
}  # fmt: skip
SILENT = CAME | {
    "place": 22, "characteristic": "seat width", "expected": "", "u_text": "", "difference": "",
    "word": "not foretold", "words": "no depth says what seat cut does to the seat width",
}  # fmt: skip


def test_surprises_stand_first_and_say_what_they_can_mean():
    rows = forecast_rows([CAME, SILENT, SURPRISE])
    assert [(row["owner"], row["word"]) for row in rows] == [
        ("3E", "surprise"), ("3I", "as foretold"), ("3I", "not foretold")
    ]  # fmt: skip
    assert rows[0]["remarks"] == [
        WORDS, "It can be that another valve was measured, or work was done and not told."
    ]  # fmt: skip
    assert rows[1]["remarks"] == []
    assert rows[2]["remarks"] == [SILENT["words"]]


def test_several_places_of_one_part_that_came_out_as_foretold_are_one_row():
    stem = CAME | {"characteristic": "stem diameter", "before": "", "expected": "7.955 mm"}
    taken = [
        stem | {"place": 30, "station": "top", "found": "7.954 mm", "difference": "-0.001 mm"},
        stem | {"place": 31, "station": "mid", "found": "7.957 mm", "difference": "+0.002 mm"},
        stem | {"place": 32, "station": "low", "found": "7.956 mm", "difference": "+0.001 mm"},
    ]
    [row] = forecast_rows(taken)
    assert row["what"] == "stem diameter, 3 places"
    assert (row["found"], row["difference"]) == ("7.954 to 7.957 mm", "+0.002 mm")
    assert (row["before"], row["place"]) == ("", "30 to 32")


@pytest.mark.parametrize(
    "other",
    [{"word": "surprise"}, {"word": "not foretold"}, {"valve": "3E"}, {"expected": "1.2 mm"},
     {"found": "about a millimetre"}, {"found": "0.046 in"}, {"difference": None}],
)  # fmt: skip
def test_what_differs_in_more_than_its_place_keeps_its_own_row(other):
    assert len(forecast_rows([CAME, CAME | {"place": 21} | other])) == 2


@pytest.mark.parametrize("rows", [None, [], "forecast", [None, 7], [{}], [{"word": 3}]])
def test_whatever_is_missing_or_of_another_kind_a_report_can_be_made(rows):
    assert isinstance(lay_out({"forecast": rows})["forecast"], list)


def test_the_pdf_has_the_table_and_without_work_has_none():
    document = sample_document()
    without = squeezed(text_of(make_pdf(document, sample_attachments(document))))
    assert "Forecastandfound" not in without
    made = make_pdf(document | {"forecast": [CAME, SURPRISE, SILENT]}, sample_attachments(document))
    text = squeezed(text_of(made))
    for words in ("Forecast and found", WORDS, "1.23 mm", "+0.16 mm", "± 0.034 mm", "surprise",
                  "as foretold", "not foretold", "work was done and not told"):  # fmt: skip
        assert squeezed(words) in text

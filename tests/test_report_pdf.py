"""The report as a file: it opens, carries the record, and says what has to be said."""

from __future__ import annotations

import copy
import os
import re
import subprocess
import sys
import zlib
from io import BytesIO
from pathlib import Path

import pytest
import typst
from hypothesis import given, settings, strategies as st
from report_sample import sample_attachments, sample_document

import gaugelink.report
from gaugelink.errors import InputError, RecordError
from gaugelink.report import order, pdf, text as report_text
from gaugelink.report.pdf import make_pdf, write_report

pypdf = pytest.importorskip("pypdf", reason="reading a report back needs the dev extra (pypdf)")
DOCS = Path(__file__).parents[1] / "docs" / "report.md"
HOSTILE = (
    '#panic("boom") #import "x": * $x^2$ *bold* _it_ <label> @ref "quoted" \\ \' `raw` // c /* '
    "\n\r\n\t {{}} [ ] #{ } = head"
)


def opened(content):
    return pypdf.PdfReader(BytesIO(content), strict=True)


def squeezed(words):
    """Drop everything that setting in lines adds: spaces and places where a line may end."""
    return re.sub(r"[\s\u200b\u2066\u2069\u00ad]", "", words)


def text_of(content):
    return squeezed(" ".join(page.extract_text() for page in opened(content).pages))


@pytest.fixture(scope="module")
def document():
    return sample_document()


@pytest.fixture(scope="module")
def attachments(document):
    return sample_attachments(document)


@pytest.fixture(scope="module")
def content(document, attachments):
    return make_pdf(document, attachments)


@pytest.fixture(scope="module")
def text(content):
    return text_of(content)


def test_the_attachments_come_out_byte_for_byte(content, attachments):
    found = {name: list(items) for name, items in opened(content).attachments.items()}
    assert found == {name: [data] for name, data in attachments.items()}


def test_it_declares_pdf_a_3b_and_how_each_file_is_related_to_it(content):
    """ISO 19005-3: the claim in the metadata, the associated files (from memory)."""
    root = opened(content).trailer["/Root"]
    metadata = root["/Metadata"].get_data()
    assert b"<pdfaid:part>3</pdfaid:part>" in metadata
    assert b"<pdfaid:conformance>B</pdfaid:conformance>" in metadata
    assert root["/OutputIntents"][0]["/S"] == "/GTS_PDFA1"
    related = {str(item["/UF"]): item["/AFRelationship"] for item in root["/AF"]}
    assert related == {
        "record.jsonl": "/Source", "head.json": "/Supplement", "report.json": "/Data",
    }  # fmt: skip
    for item in root["/AF"]:
        assert item["/EF"]["/F"]["/Subtype"] in {"/application/x-ndjson", "/application/json"}


def test_all_typefaces_are_embedded_ones_of_the_typesetter(content):
    fonts = set()
    for page in opened(content).pages:
        for font in page["/Resources"]["/Font"].values():
            fonts.add(font["/BaseFont"])
            below = font["/DescendantFonts"][0]["/FontDescriptor"]
            assert {"/FontFile2", "/FontFile3"} & set(below), font["/BaseFont"]
    assert len(fonts) >= 3
    assert all(re.search("LibertinusSerif|DejaVuSansMono", name) for name in fonts)


def test_it_says_what_it_is_about(text, document):
    for key in ("name", "head", "serial", "sheet", "source", "stage", "operator", "bench"):
        assert squeezed(document["job"][key]).lower() in text.lower(), key
    assert "INVENTEDDATA" in text


def test_a_report_of_a_real_head_is_not_marked_as_invented(document):
    real = copy.deepcopy(document)
    real["job"]["invented"] = False
    found = text_of(make_pdf(real, {}))
    assert "INVENTEDDATA" not in found
    assert "inventeddata" not in found


def test_every_valve_and_every_verdict_is_there(text, document):
    for valve in document["head"]["valves"]:
        assert valve["name"] in text
    for verdict in document["verdicts"]:
        assert squeezed(verdict["limit"]) in text
        assert squeezed(f"{verdict['text']} {verdict['unit']}") in text or not verdict["text"]


def test_the_first_page_gives_the_outcome_and_each_reason(content, document):
    first = squeezed(opened(content).pages[0].extract_text())
    counts = document["counts"]
    assert f"{counts['outside']}of{sum(counts.values())}verdictsareoutside" in first
    assert f"{counts['undecided']}undecided" in first
    bad = [v for v in document["verdicts"] if v["verdict"] == "outside"]
    assert len(bad) == counts["outside"] > 0
    for verdict in bad:
        assert squeezed(verdict["reason"]) in first
        assert squeezed(verdict["source"]) in first


def test_any_reading_can_be_found_with_its_bytes_and_time(text, document):
    for reading in document["readings"]:
        assert squeezed(reading["raw"]) in text
        assert reading["utc"][11:26] in text
    struck = [r for r in document["readings"] if r["state"] == "struck out"]
    assert len(struck) == 1
    assert squeezed(f"struck out: {struck[0]['reason']}") in text


def test_limits_gauges_rule_cautions_and_record_are_there(text, document):
    wanted = [document["rule"], *document["cautions"]]
    wanted += [row["words"] for row in document["limits"]]
    for gauge in document["gauges"]:
        wanted += [gauge["title"], gauge["serial"], gauge["calibration_due"], gauge["driver"]]
    wanted += [document["record"][key] for key in ("root", "key", "signature", "log", "utc")]
    wanted += ["gaugelink verify REPORT.pdf", "tamper-evident, never tamper-proof"]
    wanted += ["Measured by", "Checked by", "Released by"]
    for words in wanted:
        assert squeezed(words) in text, words


def test_every_page_bears_job_number_count_and_root(content, document):
    pages = opened(content).pages
    assert 8 <= len(pages) <= 14
    root = document["record"]["root"]
    for number, page in enumerate(pages, 1):
        words = squeezed(page.extract_text())
        assert f"page{number}of{len(pages)}" in words
        assert f"Job{document['job']['name']}" in words
        assert f"{root[:8]}…{root[-8:]}" in words


def test_places_lead_to_the_readings(content, document):
    reader = opened(content)
    links = [
        note for page in reader.pages for note in page.get("/Annots", [])
        if note["/Subtype"] == "/Link"
    ]  # fmt: skip
    assert len(links) >= len(document["verdicts"])


def test_the_same_document_gives_the_same_bytes_in_another_process(content):
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); "
        "from report_sample import sample_document, sample_attachments; "
        "from gaugelink.report.pdf import make_pdf; d = sample_document(); "
        "sys.stdout.buffer.write(make_pdf(d, sample_attachments(d)))"
    )
    again = subprocess.run(
        [sys.executable, "-c", code, str(Path(__file__).parent)],
        check=True,
        capture_output=True,
        env={**os.environ, "PYTHONHASHSEED": "77", "TZ": "Pacific/Auckland"},
    )
    assert again.stdout == content


def test_it_is_dated_by_the_job_and_not_by_the_clock(content, document):
    finished = re.sub(r"[-:T]", "", document["job"]["finished"][:19])
    assert opened(content).metadata["/CreationDate"].startswith(f"D:{finished}")


# ------------------------------------------------------------------------- hostile and empty


def poisoned(value, words, *, keep=("verdict", "kind", "state", "side", "utc", "limit_of")):
    if isinstance(value, dict):
        return {k: v if k in keep else poisoned(v, words) for k, v in value.items()}
    if isinstance(value, list):
        return [poisoned(item, words) for item in value]
    return words if isinstance(value, str) else value


def small(document):
    """Keep the first of everything: enough to have all parts, quick to set."""
    made = copy.deepcopy(document)
    for key, count in (("verdicts", 20), ("sweeps", 2), ("readings", 40)):
        made[key] = made[key][:count]
    return made


def test_markup_in_any_text_comes_out_as_text(document):
    found = text_of(make_pdf(poisoned(small(document), HOSTILE), {}))
    assert squeezed(HOSTILE) in found
    assert found.count('#panic("boom")') > 50


def test_right_to_left_and_unknown_characters_come_out_readable(document):
    words = "שלום مرحبا 中 \u202e321 \x00 e\u0301"
    made = small(document)
    made["cautions"] = [words]
    found = text_of(make_pdf(made, {}))
    assert "[U+4E2D]" in found
    assert "[U+202E]321" in found
    assert "[U+0000]" in found
    assert "é" in found
    assert all(letter in found for letter in "שלום")


def test_every_character_that_counts_as_printable_can_be_set():
    parts = [chr(code) for first, last in report_text._RANGES for code in range(first, last + 1)]
    rows = [" ".join(parts[start : start + 40]) for start in range(0, len(parts), 40)]
    readings = [
        {"place": n, "raw": row, "text": row[:40], "reason": row, "state": "good"}
        for n, row in enumerate(rows)
    ]
    # Set directly, so that the last resort of plain letters cannot hide a missing one.
    pdf._set_pages({"readings": readings, "cautions": rows, "job": {"name": rows[0]}}, {})


@settings(max_examples=15, deadline=None)
@given(st.lists(st.text(max_size=60), min_size=6, max_size=6))
def test_any_texts_at_all_make_a_report(words):
    made = {
        "job": {"name": words[0], "stage": words[1], "operator": words[2]},
        "verdicts": [{"valve": words[3], "characteristic": words[4], "verdict": "outside"}],
        "readings": [{"place": 1, "raw": words[5], "state": words[0], "text": words[1]}],
        "sweeps": [{"valve": words[3], "flags": [{"words": words[2]}], "words": [words[4]]}],
    }
    assert make_pdf(made, {"x": words[0].encode("utf-8", "replace")}).startswith(b"%PDF-1.7")


def grey_rows(png):
    """Decode an 8-bit RGBA PNG that is not interlaced, as typst writes it; keep the red channel."""
    width = int.from_bytes(png[16:20], "big")
    assert png[24:29] == bytes((8, 6, 0, 0, 0))
    data, at = b"", 8
    while at < len(png):
        size = int.from_bytes(png[at : at + 4], "big")
        if png[at + 4 : at + 8] == b"IDAT":
            data += png[at + 8 : at + 8 + size]
        at += size + 12
    flat, before, rows = zlib.decompress(data), bytes(4 * width), []
    for start in range(0, len(flat), 4 * width + 1):
        kind, row = flat[start], bytearray(flat[start + 1 : start + 1 + 4 * width])
        for n in range(4 * width if kind else 0):
            left, up = (row[n - 4] if n > 3 else 0), before[n]
            corner = before[n - 4] if n > 3 else 0
            guess = left + up - corner
            paeth = min((left, up, corner), key=lambda value, g=guess: abs(g - value))
            row[n] = (row[n] + (0, left, up, (left + up) // 2, paeth)[kind]) % 256
        before = bytes(row)
        rows.append(before[::4])
    return rows


def test_very_long_texts_stay_off_the_margins(document, monkeypatch):
    pages = []
    real = typst.compile_with_warnings

    def drawn_too(source, **kwargs):
        common = {"root": kwargs["root"], "ignore_system_fonts": True}
        pages.extend(typst.compile(source, format="png", ppi=24, **common))
        return real(source, **kwargs)

    monkeypatch.setattr(typst, "compile_with_warnings", drawn_too)
    made = poisoned(small(document), "x" * 5000)
    for key in ("verdicts", "readings", "limits", "gauges"):
        made[key] = made[key][:3]
    make_pdf(made, {})
    assert len(pages) > 3
    for page in pages:
        rows = grey_rows(page)
        width = len(rows[0])
        margin = width * 15 // 210  # the margin is 18 mm of 210 mm
        for row in rows:
            assert set(row[width - margin :]) == {255}
            assert set(row[:margin]) == {255}
        assert any(set(row) != {255} for row in rows)


@pytest.mark.parametrize("key", ["verdicts", "sweeps", "readings", "limits", "gauges", "head",
                                 "job", "record", "cautions", "rule"])  # fmt: skip
@pytest.mark.parametrize("nothing", [None, "absent"])
def test_any_part_may_be_missing(document, key, nothing):
    made = small(document)
    if nothing is None:
        made[key] = None
    else:
        del made[key]
    assert len(opened(make_pdf(made, {})).pages) >= 2


def test_a_document_with_nothing_in_it_says_so(tmp_path):
    write_report({}, {}, tmp_path / "empty.pdf")
    found = text_of((tmp_path / "empty.pdf").read_bytes())
    assert "Nothinghasbeenjudged." in found
    assert "Nothingisattachedtothisfile" in found


def test_values_that_are_none_leave_gaps_and_nothing_else(document):
    def emptied(value):
        if isinstance(value, dict):
            return {k: emptied(v) for k, v in value.items()}
        return [emptied(item) for item in value] if isinstance(value, list) else None

    assert len(opened(make_pdf(emptied(small(document)), {})).pages) >= 2


@pytest.mark.parametrize("kinds", [("intake", "intake", "exhaust", "exhaust"), ("exhaust",)])
def test_heads_of_other_shapes_are_drawn(document, kinds):
    made = small(document)
    made["head"]["valves"] = [
        {"name": f"{c}{'IE'[kind == 'exhaust']}{n}", "cylinder": c, "kind": kind, "worst": None,
         "state": ("open", "measuring", "skipped")[c % 3], "done": 0, "of": 4}
        for c in range(1, 9) for n, kind in enumerate(kinds, 1)
    ]  # fmt: skip
    found = text_of(make_pdf(made, {}))
    for words in ("notmeasured", "notfinished", "skipped"):
        assert words in found
    assert all(valve["name"] in found for valve in made["head"]["valves"])


def test_odd_sweeps_are_drawn_with_words(document):
    sweep = copy.deepcopy(document["sweeps"][0])
    sweep["points"][20][1] = 99999.0
    sweep["plateaus"][2].update(used=False, why="hesitation")
    sweep.update(usable=False, verdict=None, place=None, direction="", factor="")
    made = {"sweeps": [sweep, {"points": [[0, 1]]}, {"points": [[0, 1], [9, 1]], "limit_um": 3}]}
    found = text_of(make_pdf(made, {}))
    assert "1sampleliesbeyondthedrawing" in found
    assert "1plateauleftout:hesitation" in found
    assert "notusable" in found


# --------------------------------------------------------------------------------- the file


def test_the_file_is_whole_and_leaves_nothing_beside_it(tmp_path, document, attachments, content):
    path = tmp_path / "D-0042.pdf"
    path.write_bytes(b"older")
    write_report(document, attachments, path)
    assert path.read_bytes() == content
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("where", ["missing/report.pdf", "file/report.pdf", "folder"])
def test_a_place_that_cannot_be_written_is_refused_in_one_sentence(tmp_path, where):
    (tmp_path / "file").write_text("not a folder")
    (tmp_path / "folder").mkdir()
    before = sorted(tmp_path.iterdir())
    with pytest.raises(InputError, match="cannot be written here") as caught:
        write_report({}, {}, tmp_path / where)
    assert "\n" not in str(caught.value)
    assert str(tmp_path / where) in str(caught.value)
    assert sorted(tmp_path.iterdir()) == before


def test_a_report_that_is_open_elsewhere_stays_as_it_was(tmp_path, monkeypatch):
    path = tmp_path / "report.pdf"
    path.write_bytes(b"older")

    def locked(self, target):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "replace", locked)
    with pytest.raises(InputError, match="Permission denied"):
        write_report({}, {}, path)
    assert path.read_bytes() == b"older"
    assert list(tmp_path.iterdir()) == [path]


def test_a_typesetter_without_a_promised_character_still_makes_the_report(monkeypatch):
    monkeypatch.setattr(report_text, "has_shape", lambda _: True)
    with pytest.raises(RuntimeError, match="could not be displayed"):
        pdf._set_pages({"job": {"name": "中"}}, {})
    assert "[U+4E2D]" in text_of(make_pdf({"job": {"name": "中"}}, {}))


def test_a_fault_of_the_typesetter_is_one_sentence_without_its_source(monkeypatch):
    monkeypatch.setattr(pdf, "STANDARD", "a-1b")  # this one allows no attachments
    with pytest.raises(RecordError, match="could not be set as pages") as caught:
        make_pdf({}, {"record.jsonl": b"{}\n"})
    assert "\n" not in str(caught.value)
    assert "typ" not in str(caught.value).replace("typesetter", "")
    assert caught.value.__cause__ is None
    assert caught.value.__suppress_context__


def test_the_typesetter_has_no_warnings(tmp_path, document, attachments, monkeypatch):
    seen = []
    real = typst.compile_with_warnings

    def spied(*args, **kwargs):
        made, warnings = real(*args, **kwargs)
        seen.append([warning.message for warning in warnings])
        return made, warnings

    monkeypatch.setattr(typst, "compile_with_warnings", spied)
    make_pdf(document, attachments)
    assert seen == [[]]


def test_every_template_beside_the_module_is_used():
    folder = Path(gaugelink.report.__file__).parent
    assert {path.name for path in folder.glob("*.typ")} == {
        *pdf.TEMPLATES,
        *order.TEMPLATES,
    }


def test_every_part_of_the_report_is_explained_in_the_docs(content):
    parts = [str(item["/Title"]) for item in opened(content).outline]
    assert len(parts) == 11
    explained = re.findall(r"^## (.+)$", DOCS.read_text("utf-8"), flags=re.MULTILINE)
    assert [part for part in parts if part not in explained] == []

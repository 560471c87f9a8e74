"""CSV files of people are read as they mean them, and refused on the line of the fault."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, strategies as st

from gaugelink.content import read_text
from gaugelink.errors import InputError
from gaugelink.tablefile import read_table

COLUMNS = ("valve", "value")


def written(folder: Path, text: str | bytes) -> Path:
    path = folder / "t.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_rows_keep_their_line_past_remarks_and_blank_lines(tmp_path: Path) -> None:
    path = written(tmp_path, "# made by hand\n\nvalve,value\n# first\n1I,7.96\n\n 2I , 7.97 \n")
    rows = read_table(path, required=COLUMNS, optional=("u",))
    assert [(row.line, row["valve"], row["value"], row["u"]) for row in rows] == [
        (5, "1I", "7.96", ""),
        (7, "2I", "7.97", ""),
    ]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_separator_line_end_and_byte_order_mark_make_no_difference(
    tmp_path: Path, separator: str, end: str, mark: str
) -> None:
    """Spreadsheets write all of these (common practice, no source)."""
    lines = [("value", "valve"), ("7.96", "1I"), ("7.97", "2E")]
    text = mark + "".join(separator.join(line) + end for line in lines)
    rows = read_table(written(tmp_path, text), required=COLUMNS)
    assert [(row["valve"], row["value"], row.line) for row in rows] == [
        ("1I", "7.96", 2),
        ("2E", "7.97", 3),
    ]


def test_a_decimal_comma_is_kept_where_the_separator_is_another(tmp_path: Path) -> None:
    rows = read_table(written(tmp_path, "valve;value\n1I;7,96\n"), required=COLUMNS)
    assert rows[0]["value"] == "7,96"


def test_a_decimal_comma_between_commas_is_refused_and_not_cut(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="found 3 cells, accepted: 2") as fault:
        read_table(written(tmp_path, "valve,value\n1I,7,96\n"), required=COLUMNS)
    assert fault.value.line == 2


@pytest.mark.parametrize(
    ("text", "line", "field", "words"),
    [
        ("", None, None, "the file is empty; needed: a header valve,value"),
        ("# only a remark\n", None, None, "the file is empty"),
        ("valve,value\n", 1, None, "there is a header but no row below it"),
        ("\nvalve\n1I\n", 2, "value", "this column is missing; found: valve"),
        ("valve,value,colour\n1I,1,x\n", 1, "colour", "unknown column; accepted: valve, value, u"),
        (
            "valve,value,\n1I,1,\n",
            1,
            "column 3",
            "a column without a name, accepted: valve, value, u; or take the separator at the end",
        ),
        ("# by hand\nvalve;;value\n1I;;1\n", 2, "column 2", "without a name, accepted: valve, v"),
        ("valve,\n1I,1\n", 1, "column 2", "without a name, accepted: valve, value, u; or take"),
        ("valve,value,valve\n1I,1,1I\n", 1, "valve", "stands twice"),
        ("Valve,value\n1I,1\n", 1, "valve", "missing; found: Valve, value"),
        ("valve,value\n1I,1\n2I\n", 3, None, "found 1 cells, accepted: 2"),
        ("valve,value\n1I,1,2\n", 2, None, "found 3 cells, accepted: 2"),
        ('valve,value\n1I,"1\n2",3\n', 2, None, "cannot be read as a row"),
        ('valve,value\n"1I"x,1\n', 2, None, "cannot be read as a row"),
        ("valve,value\n1I," + "1" * 200_000 + "\n", 2, None, "cannot be read as a row"),
        (b"valve,value\n1I,\xff\n", None, None, "not UTF-8 text (byte 15)"),
    ],
)
def test_what_is_no_table_is_refused_on_its_line(
    tmp_path: Path, text: str | bytes, line: int | None, field: str | None, words: str
) -> None:
    path = written(tmp_path, text)
    with pytest.raises(InputError) as fault:
        read_table(path, required=COLUMNS, optional=("u",))
    assert (fault.value.file, fault.value.line, fault.value.field) == (str(path), line, field)
    assert words in fault.value.what


def test_a_column_without_a_name_is_refused_too_where_the_file_names_its_columns(
    tmp_path: Path,
) -> None:
    path = written(tmp_path, "valve,guide A,,guide B\n1I,1,2,3\n")
    with pytest.raises(InputError) as fault:
        read_table(path, required=("valve",), free=True)
    assert str(fault.value) == (
        f"{path}, line 1, column 3: found a column without a name, accepted: valve, any other name"
    )


def test_a_word_that_is_not_accepted_is_refused_with_those_that_are(tmp_path: Path) -> None:
    row = read_table(written(tmp_path, "valve,value\n,MM\n"), required=COLUMNS)[0]
    assert row.one_of("valve", ["a"], empty=True) == ""
    with pytest.raises(InputError) as fault:
        row.one_of("value", ["mm", "in"])
    assert str(fault.value).endswith("t.csv, line 2, value: found 'MM', accepted: mm, in")
    with pytest.raises(InputError, match="found ''"):
        row.one_of("valve", ["a"])


@pytest.mark.parametrize("name", ["absent.csv", "."])
def test_a_file_that_cannot_be_read_is_named(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="cannot be read") as fault:
        read_text(tmp_path / name)
    assert fault.value.file == str(tmp_path / name)


cells = st.text(st.characters(exclude_characters="\r\n", exclude_categories=["Cs"])).map(str.strip)


@given(st.lists(st.tuples(cells, cells), min_size=1), st.sampled_from(",;\t"))
def test_what_a_spreadsheet_writes_is_read_again(
    rows: list[tuple[str, str]], separator: str
) -> None:
    text = io.StringIO()
    writer = csv.writer(text, delimiter=separator, quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(rows)
    with TemporaryDirectory() as folder:
        read = read_table(written(Path(folder), text.getvalue()), required=COLUMNS)
    assert [(row["valve"], row["value"]) for row in read] == rows
    assert [row.line for row in read] == list(range(2, len(rows) + 2))

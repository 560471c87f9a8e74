"""Whatever a file of readings holds, its command gives a result or one sentence."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, NoReturn

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

if TYPE_CHECKING:
    from collections.abc import Sequence

    from conftest import RunCli

GUIDE = ("--guide-length", "50mm", "--reach", "28mm")
READERS = [
    ("oneway", "group,value", ()),
    ("study", "part,operator,trial,value", ("--tolerance", "0.05mm")),
    ("study", "part,operator,trial,value", ("--method", "range")),
    ("study", "part,value", ("--one-person",)),
    ("study", "value", ("--master", "8mm", "--tolerance", "0.05mm")),
    ("chart", "subgroup,value", ("--kind", "individuals", "--upper", "8mm")),
    ("chart", "subgroup,value", ("--kind", "xbar-s", "--lower", "7mm", "--upper", "8mm")),
    ("rock", "time_s,value,unit", GUIDE),
    ("rock", "time_s,value,unit,axis", GUIDE),
    ("guide", "part,depth,direction,value", (*GUIDE, "--travel-along", "0.1mm")),
    ("feeler", "line,goes,stops", ("--limit", "0.05mm")),
]
USUAL = {
    "part": ["1", "2", "bore", "stem"], "operator": ["A", "B"], "trial": ["1", "2"],
    "group": ["1", "2"], "subgroup": ["1", "2", "3"], "unit": ["mm", "in"],
    "axis": ["along", "across"], "direction": ["along", "across"], "depth": ["5", "45", ""],
    "line": ["a", "b", "c"], "time_s": ["0", "0.1", "0.2", "5"],
}  # fmt: skip
SIZES = ["7.96", "7.965", "8", "0", "0.05", "-1", "0,06"]
ODD = [
    "",
    "nan",
    "inf",
    "1e5",
    "9" * 30,
    "0." + "0" * 20 + "1",
    '"',
    "'",
    "\u0663",
    "\x00",
    "#",
    "K",
]


def refused(word: str) -> NoReturn:
    raise AssertionError(word)


@pytest.mark.parametrize(("command", "header", "words"), READERS)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_file_gives_a_result_or_a_sentence(
    command: str, header: str, words: Sequence[str], data: st.DataObject, run_cli: RunCli,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:  # fmt: skip
    """Status 0 or 1 with JSON of plain numbers, or 2 with one line; never anything else."""
    columns = header.split(",")
    odd = data.draw(st.booleans())
    cells = [st.sampled_from(USUAL.get(name, SIZES) + (ODD if odd else [])) for name in columns]
    rows = data.draw(st.lists(st.tuples(*cells), max_size=16, unique=command == "guide"))
    mark = data.draw(st.sampled_from([",", ";", "\t"]))
    end = data.draw(st.sampled_from(["\n", "\r\n"]))
    file = tmp_path_factory.mktemp("any") / "readings.csv"
    text = end.join([mark.join(columns), *(mark.join(row) for row in rows)])
    file.write_bytes(text.encode() + (b"\xff" if data.draw(st.booleans()) and odd else b""))
    status, out, err = run_cli(command, file, *words, "--json")
    if status == 2:
        assert (out, err.count("\n")) == ("", 1)
    else:
        assert status in {0, 1}
        json.loads(out, parse_constant=refused)

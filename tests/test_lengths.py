"""Lengths that arguments give are read alike by every command, and a bad one is named."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gaugelink.commands.lengths import length_above_0, length_at, length_from_0
from gaugelink.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from conftest import RunCli


def test_which_lengths_are_read():
    assert [length_at(text, "--x").pm for text in ("-1 mm", "0 mm", "1 in")] == [
        -1_000_000_000,
        0,
        25_400_000_000,  # the inch is 25.4 mm exactly
    ]
    assert length_from_0("0 mm", "--x") == 0
    assert length_above_0("0.001 mm", "--x") == 1_000_000


@pytest.mark.parametrize(
    ("read", "text", "what"),
    [
        (length_at, "1", "found '1' without a unit, accepted: a number with mm or in"),
        (length_from_0, "1 ell", "found the unit 'ell' in '1 ell', accepted: mm or in"),
        (length_from_0, "-0.001mm", "found '-0.001mm', accepted: 0 or more"),
        (length_above_0, "", "found '', accepted: a plain decimal number with its unit"),
        (length_above_0, "0 mm", "found '0 mm', accepted: more than 0"),
        (length_above_0, "-1mm", "found '-1mm', accepted: more than 0"),
    ],
)
def test_what_is_refused_is_named_by_its_argument(read, text: str, what: str):
    with pytest.raises(InputError) as fault:
        read(text, "--x")
    assert str(fault.value).startswith(f"--x: {what}")


STUDY = "part,value\na,1.00\na,1.01\nb,2.00\nb,2.02\nc,3.00\nc,3.01\n"
GUIDE = "part,depth,direction,value\nbore,-5,along,8.01\n"
MASTER = "value\n1.00\n1.01\n1.00\n1.02\n"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("fit", "14mm", "H7/p6", "--hole", "0mm"), "--hole: found '0mm', accepted: more than 0"),
        (("runout", "f", "--max", "1"), "--max: found '1' without a unit"),
        (("temperature", "--length", "-1mm", "--part", "steel", "--gauge", "steel", "--part-temp",
          "20degC", "--gauge-temp", "20degC"), "--length: found '-1mm', accepted: more than 0"),
        (("fault", "s", "f", "--u-stem", "0mm"), "--u-stem: found '0mm', accepted: more than 0"),
        (("flatness", "f", "--max", "0mm"), "--max: found '0mm', accepted: more than 0"),
        (("guide", "f", "--guide-length", "0mm", "--reach", "1mm"),
         "--guide-length: found '0mm', accepted: more th"),
        (("guide", "f", "--guide-length", "50mm", "--reach", "-1mm"),
         "--reach: found '-1mm', accepted: 0 or more"),
        (("guide", "{guide}", "--guide-length", "50mm", "--reach", "28mm"),
         "{guide}, line 2, depth: found '-5', accepted: 0 or more"),
        (("feeler", "f", "--limit", "-1mm"), "--limit: found '-1mm', accepted: 0 or more"),
        (("recession", "--recession", "1mm", "--tip", "-1mm"), "--tip: found '-1mm', accepted: 0"),
        (("study", "{study}", "--one-person", "--tolerance", "0mm"),
         "--tolerance: found '0mm', accepted: more than 0"),
        (("study", "{study}", "--one-person", "--tolerance", "-1mm"),
         "--tolerance: found '-1mm', accepted: more than 0"),
        (("study", "{master}", "--master", "1mm", "--u-master", "-1mm"),
         "--u-master: found '-1mm', accepted: 0 or more"),
        (("conformity", "--value", "1 ell", "--u", "1mm", "--upper", "1mm"),
         "--value: found the unit 'ell'"),
    ],
)  # fmt: skip
def test_commands_say_it_in_one_way(
    run_cli: RunCli, tmp_path: Path, words: tuple[str, ...], said: str
):
    texts = {"study": STUDY, "master": MASTER, "guide": GUIDE}
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    files = {name: str(tmp_path / name) for name in texts}
    status, out, err = run_cli(*_tied(word.format(**files) for word in words))
    assert (status, out) == (2, "")
    assert err.startswith(f"gaugelink: {said.format(**files)}"), err
    assert len(err.splitlines()) == 1


def _tied(words: Iterable[str]) -> list[str]:
    """Tie a value that looks like an option to its option: ``--reach=-1mm``."""
    found: list[str] = []
    for word in words:
        if word.startswith("-1"):
            found[-1] += f"={word}"
        else:
            found.append(word)
    return found

"""Valves and cylinders that do not go together stand against a release."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import pytest
import release_kit
from release_kit import DEPTH, Head

from gaugelink import sheetfile
from gaugelink.deeds import SignDeviation
from gaugelink.errors import SessionError
from gaugelink.plan import plan_for
from gaugelink.release import Signable, commons_in
from gaugelink.sheetfile import load
from gaugelink.view.release import release_document

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

SPREAD = '[rebuild]\nstand_down_spread = { intake = "0.10 mm" }\n'
CHAMBER = """\
[[limit]]
characteristic = "head thickness"
service_min = "7.00 mm"
[chamber]
volume = "30 cm3"
thickness = "7.95 mm"
stand_down = { intake = "1.25 mm" }
head_diameter = { intake = "40 mm" }
area = "12.57 cm2"
swept_volume = "500 cm3"
compression_ratio_min = "17.6"
"""


def sheet_with(monkeypatch: pytest.MonkeyPatch, more: str) -> None:
    """Let the head of the kit have a sheet that says more."""
    first = release_kit.TEXT.index("[[limit]]")
    text = release_kit.TEXT[:first] + more + release_kit.TEXT[first:]
    sheet = load(text, "s.toml")
    monkeypatch.setattr(release_kit, "TEXT", text)
    monkeypatch.setattr(release_kit, "SHEET", sheet)
    monkeypatch.setattr(release_kit, "PLAN", plan_for(sheet))


def downs(head: Head, *texts: str) -> None:
    """Measure the stand-downs, then everything else."""
    steps = [at for at, step in enumerate(release_kit.PLAN)
             if step.position.characteristic == "stand-down"]  # fmt: skip
    for at in range(len(release_kit.PLAN)):
        head.at(at, texts[steps.index(at)] if at in steps else "")
    head.look()


@pytest.mark.parametrize(
    ("second", "word"), [("1.21", ""), ("1.29", "undecided"), ("1.35", "outside")]
)
def test_a_spread_that_is_not_within_blocks(monkeypatch, second: str, word: str):
    """By hand: u is root two of 8.5 um, so the guard band is 19.8 um: 0.09 of 0.10 is undecided."""
    sheet_with(monkeypatch, SPREAD)
    head = Head()
    downs(head, "1.20", second)
    far = f"{float(second) - 1.2:.3f} mm against max 0.100 mm"
    wanted = f"spread of stand-down, intake: {word}, {far}"
    assert head.words() == [wanted] * bool(word)
    assert [block.kind for block in head.blocks()] == [word] * bool(word)


def test_a_spread_that_is_accepted_by_name_stands_against_nothing(
    monkeypatch, run_cli: RunCli, tmp_path: Path
):
    """It holds for these readings: measured again with the same size, it is another figure."""
    sheet_with(monkeypatch, SPREAD)
    head = Head()
    downs(head, "1.20", "1.35")
    status, out, _ = run_cli("release", str(head.write(tmp_path / "job.sqlite")),
                             "--today", "2026-01-02")  # fmt: skip
    assert status == 1
    assert out.splitlines()[1:3] == [
        "Verdicts: 6 within, 0 outside, 0 undecided.",
        "Not within beside these: spread of stand-down, intake.",
    ]
    (block,) = head.blocks()
    assert block.sign == Signable(
        "", "spread of stand-down, intake", "", "max 0.100 mm", "0.150 mm",
        (head.session.filled[DEPTH], head.session.filled[DEPTH + 1]),
    )  # fmt: skip
    head.do(SignDeviation(**asdict(block.sign), by="C. D.", reason="the book's newer edition"))
    assert head.words() == []
    place = head.release()
    assert head.record[place][1].deviations == (place - 1,)
    head.at(DEPTH + 1, "1.35")
    assert [one.kind for one in head.blocks()] == ["outside", "zero check"]
    (told,) = release_document(head.session, head.judgement(), head.day)["deviations"]
    assert (told["state"], told["why"]) == (
        "void", "it was signed for readings that other ones of the same size have replaced"
    )  # fmt: skip
    with pytest.raises(SessionError, match="have changed meanwhile"):
        head.do(SignDeviation(**asdict(block.sign), by="C. D.", reason="again"))


def test_a_ratio_is_accepted_for_its_own_valves_and_the_thickness(monkeypatch):
    sheet_with(monkeypatch, CHAMBER)
    head = Head()
    downs(head, "1.25", "1.60")
    block = next(one for one in head.blocks() if one.what.startswith("compression"))
    places = {
        (step.position.valve, step.position.characteristic): head.session.filled[number]
        for number, step in enumerate(release_kit.PLAN)
        if number in head.session.filled
    }
    assert block.sign is not None
    assert set(block.sign.places) == {places["2I", "stand-down"], places["", "head thickness"]}


def test_a_spread_is_not_told_of_half_the_valves(monkeypatch):
    """The reading that is missing is asked for, and no verdict is made up before it is there."""
    sheet_with(monkeypatch, SPREAD)
    head = Head()
    for at in range(DEPTH):
        head.at(at)
    head.at(DEPTH, "1.20")
    assert commons_in(head.session, head.judgement()) == ()
    head.at(DEPTH + 1, "1.50")
    (one,) = commons_in(head.session, head.judgement())
    assert one.verdict == "outside"


@pytest.mark.parametrize(("second", "blocked"), [("1.26", False), ("1.60", True)])
def test_a_compression_ratio_that_is_not_within_blocks(monkeypatch, second: str, blocked: bool):
    """By hand: 0.35 deeper is 0.44 cm3 of 40 mm, and 530.44 / 30.44 is 17.43, less than 17.6."""
    sheet_with(monkeypatch, CHAMBER)
    head = Head()
    downs(head, "1.25", second)
    found = [line for line in head.words() if "compression" in line]
    assert len(found) == blocked
    if blocked:
        assert found[0].startswith("compression ratio of cylinder 2: outside, 17.4")
        assert found[0].endswith("against min 17.60")


@pytest.mark.parametrize(("given", "told"), [
    ('intake = "-0.1 mm"', "0 or more"),
    ('intake = "far"', "found 'far'"),
    ('exhaust = "0.10 mm"', "two of them at least"),
    ('middle = "0.10 mm"', "middle"),
])  # fmt: skip
def test_bad_spreads_of_a_sheet_are_refused(given: str, told: str):
    """In one sentence with the field."""
    first = release_kit.TEXT.index("[[limit]]")
    more = f"[rebuild]\nstand_down_spread = {{ {given} }}\n"
    found = sheetfile.check(release_kit.TEXT[:first] + more + release_kit.TEXT[first:], "s.toml")
    assert len(found.errors) == 1
    assert told in str(found.errors[0])
    assert "stand_down_spread" in str(found.errors[0])

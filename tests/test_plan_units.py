"""A limit sheet in inches and the same in millimetres lead to the same plan of the same head."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from hypothesis import given, settings, strategies as st
from test_survey import SHEET, readings

from gaugelink import content, sheetfile
from gaugelink.commands.plan_document import document
from gaugelink.commands.plan_file import load_prices
from gaugelink.judging import judge
from gaugelink.planning.plan import plan
from gaugelink.planning.survey import survey

LIMIT = re.compile(r'((?:new|service)_m(?:in|ax) = )"([0-9.]+) mm"')
INCH = Decimal("25.4")  # exactly: international yard and pound agreement of 1959


def in_both() -> tuple[str, str]:
    """Round every limit to ten-thousandths of an inch; give them so, and exactly as mm."""

    def rounded(found: re.Match[str]) -> Decimal:
        return (Decimal(found[2]) / INCH).quantize(Decimal("0.0001"))

    inch = LIMIT.sub(lambda found: f'{found[1]}"{rounded(found)} in"', SHEET)
    return inch, LIMIT.sub(lambda found: f'{found[1]}"{rounded(found) * INCH} mm"', SHEET)


def planned(sheet_text: str, sizes: dict[str, str]) -> Any:
    sheet = sheetfile.load(sheet_text, "sheet.toml")
    shop = load_prices(*content.read("sim/prices", "demo-shop"), kinds=sheet.head.kinds)
    measured = readings(**sizes)
    task = survey(sheet, measured, judge(sheet, measured), shop).task
    return document(task, plan(task), 1)


off = st.integers(0, 60)


@settings(max_examples=40)
@given(off, off, off, st.integers(-200, 550), st.integers(0, 12))
def test_the_unit_of_the_sheet_changes_nothing(
    stem: int, bore: int, rock: int, down: int, spring: int
) -> None:
    sizes = {
        "v1I_top": f"{Decimal(7968 - stem) / 1000} mm",
        "v1E_bore": f"{Decimal(8006 + bore) / 1000} mm",
        "v1E_rock": f"{Decimal(45 + rock) / 1000} mm",
        "v1I_down": f"{Decimal(1100 + down) / 1000} mm",
        "v1E_spring": f"{Decimal(479 - spring) / 10} mm",
    }
    inch, metric = in_both()
    assert inch.count(" in") > metric.count(" in") + 10
    told = planned(inch, sizes)
    assert told == planned(metric, sizes)
    assert told["parts"]


def test_there_is_work_among_these_heads() -> None:
    """A stem of 7.908 is worn out in either unit, so that equal plans are not empty ones."""
    for text in in_both():
        found = planned(text, {"v1I_top": "7.908 mm"})
        assert [one["steps"][:1] for one in found["valves"]] == [["replace valve"], []]

"""Set a work order on paper, to be ticked and written on at the bench: PDF/A-3b, order attached.

The sheet is set as the report is (`gaugelink.report.pdf`): typefaces that are built into the
typesetter, no clock, so that the same order gives the same bytes; no text is ever markup.
"""

from __future__ import annotations

import json
import tempfile
from importlib import resources
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gaugelink.errors import RecordError
from gaugelink.head import CHARACTERISTICS
from gaugelink.planning.task import SPRING_LOAD
from gaugelink.report.pdf import STANDARD
from gaugelink.report.text import ascii_only, printable

if TYPE_CHECKING:
    from collections.abc import Mapping

TEMPLATES: Final = ("order.typ", "draw.typ")
_TITLES: Final = {
    "guides": "Guides", "valves": "Valves", "seats": "Seats", "face": "Face of the head",
    "lapping": "Lapping", "springs": "Springs and shims",
}  # fmt: skip


def order_pdf(order: Mapping[str, Any], *, invented: bool = False, seconds: int = 0) -> bytes:
    """Make the bytes of the sheet.

    Args:
        order: the document of a work order (`gaugelink.planning.order`).
        invented: the job is for show, and the sheet says so.
        seconds: creation time in the file, since 1970; the same order and time give the same bytes.

    Raises:
        RecordError: it could not be set as pages.
    """
    import typst  # noqa: PLC0415  84 MB of typesetter, needed by this sheet and the report alone

    try:
        try:
            return _set_pages(lay_out(order, invented=invented), order, seconds)
        except typst.TypstError:
            return _set_pages(ascii_only(lay_out(order, invented=invented)), order, seconds)
    except typst.TypstError as fault:
        why = printable(getattr(fault, "message", ""), 120) or "no reason given"
        raise RecordError(f"the work order could not be set as pages ({why})") from None
    except OSError as fault:
        raise RecordError(
            f"the work order could not be made, because the folder for temporary files cannot be "
            f"used ({fault.strerror or 'no reason given'})"
        ) from None


def lay_out(order: Mapping[str, Any], *, invented: bool) -> dict[str, Any]:
    """Make everything that the template prints: finished texts, shortened and fit to be set."""
    money = printable(order["currency"], 8)
    return {
        "name": printable(order["name"], 90) or "without a name",
        "short": printable(order["name"], 40) or "without a name",
        "invented": invented,
        "cost": printable(order["cost_words"], 40),
        "standing": printable(order["standing"], 200),
        "maker": printable(order["cautions"][0], 600),
        "sections": [
            {"name": name, "title": _TITLES.get(name, name),
             "lines": [_line(line) for line in lines],
             "cautions": list(dict.fromkeys(printable(line["caution"], 600) for line in lines
                                            if line["caution"]))}
            for name, lines in ((name, list(some)) for name, some in
                                groupby(order["lines"], key=lambda line: line["section"]))
        ],
        "parts": [
            {"part": f"{printable(one['part'], 40)} {printable(one['kind'], 20)}".strip(),
             "quantity": str(one["quantity"]),
             "valves": printable(", ".join(one["valves"]), 200),
             "each": f"{one['each']:.2f} {money}" if one["each"] else "",
             "note": printable(one["note"], 40)}
            for one in order["parts"]
        ],
        "shims": [
            {"valve": printable(one["valve"], 12),
             "pieces": " + ".join(f"{mm:g}" for mm in one["pieces_mm"]),
             "height": printable(one["height"]["words"], 120) if one["height"] else ""}
            for one in order["shims"]
        ],
        "first": [_again(one, whole=True) for one in order["remeasure"] if one["before_seats"]],
        "again": [
            {"what": printable(what, 60), "gauge": _gauge(what),
             "rows": [_again(one) for one in some]}
            for what, some in groupby(
                (one for one in order["remeasure"] if not one["before_seats"]),
                key=lambda one: one["characteristic"])
        ],
        "missing": [f"{printable(one['valve'], 20) or 'head'}: {printable(one['reading'], 40)}"
                    for one in order["missing"]],
        "unpriced": [printable(words, 200) for words in order["unpriced"]],
        "barred": [printable(words, 600) for words in order["barred"]],
        "untouched": printable(", ".join(order["untouched"]), 300),
    }  # fmt: skip


def _line(line: Mapping[str, Any]) -> dict[str, Any]:
    depth = span = ""
    if line["depth_mm"] is not None:
        depth = f"{line['depth_mm']:.3f}"
        span = f"{line['least_mm']:.3f} to {line['most_mm']:.3f}"
    elif line["about_mm"] is not None and line["step"] == "lap":
        depth = f"{line['about_mm']:.3f}"
        span = "about"
    return {
        "number": str(line["number"]),
        "place": printable(", ".join(line["valves"]), 12) or "face",
        "words": printable(line["words"], 140), "why": printable(line["why"], 200),
        "depth": depth, "span": span,
        "deep": line["depth_mm"] is not None,
        "expected": [printable(one["words"], 120) for one in line["expected"]],
        "part": f"{line['quantity']} \u00d7 {printable(line['part'], 30)}" if line["part"] else "",
    }  # fmt: skip


def _again(one: Mapping[str, Any], *, whole: bool = False) -> dict[str, Any]:
    """Write one row of what is measured again; what is measured stands above its rows."""
    words = one["words"] if whole else one["words"].removeprefix(one["characteristic"]).strip()
    return {"place": printable(one["valve"], 12) or "head",
            "words": printable(words, 120), "because": printable(one["because"], 24)}  # fmt: skip


def _gauge(characteristic: str) -> str:
    """Say with what it is measured; a spring's load is told from a tester, in newtons."""
    if characteristic == SPRING_LOAD:
        return "with the spring tester, N"
    known = CHARACTERISTICS.get(characteristic)
    return f"with the {known.gauge}, mm" if known and known.gauge else "mm"


def _set_pages(printed: Mapping[str, Any], order: Mapping[str, Any], seconds: int) -> bytes:
    import typst  # noqa: PLC0415  see above

    with tempfile.TemporaryDirectory(prefix="gaugelink-order-") as name:
        folder = Path(name)
        for template in TEMPLATES:
            source = resources.files("gaugelink.report").joinpath(template)
            (folder / template).write_bytes(source.read_bytes())
        whole = json.dumps(order, ensure_ascii=False, allow_nan=False, indent=1)
        (folder / "order.json").write_bytes(whole.encode("utf-8", "backslashreplace"))
        (folder / "data.json").write_text(
            json.dumps(printed, ensure_ascii=True, allow_nan=False), encoding="ascii"
        )
        made, _ = typst.compile_with_warnings(
            folder / "order.typ", root=folder, ignore_system_fonts=True, format="pdf",
            pdf_standards=[STANDARD], timestamp=seconds,
        )  # fmt: skip
    assert isinstance(made, bytes)
    return made

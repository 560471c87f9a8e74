"""Whether the head is released, as the report prints it: what blocks, what was looked at."""

from __future__ import annotations

from typing import Any, Final

from gaugelink.report.rows import Doc, Print, mapping, mappings, whole
from gaugelink.report.text import printable

_MOST: Final = 200
_STATES: Final = ("sound", "condemned", "look again", "not looked at")


def release_part(document: Any) -> Print | None:
    """Make the texts of the release; None where the document has none."""
    release = mapping(document)
    if not release:
        return None
    sentence = printable(release.get("sentence"), 400)
    return {
        "sentence": f"{sentence[:1].upper()}{sentence[1:]}",
        "released": release.get("released") is True,
        "groups": [_group(one) for one in mappings(release.get("groups"))],
        "springs": [_spring(one) for one in mappings(release.get("springs"))[:_MOST]],
        "chambers": [_chamber(one) for one in mappings(release.get("chambers"))[:_MOST]],
        "looked": [_check(one) for one in mappings(release.get("checks"))],
        "deviations": [_deviation(one) for one in mappings(release.get("deviations"))[:_MOST]],
    }


def _group(group: Doc) -> Print:
    rows = []
    for row in mappings(group.get("rows"))[:_MOST]:
        what = printable(row.get("what"), 120, unbroken=24)
        why = printable(row.get("why"), 300, unbroken=40)
        rows.append({"owner": _names(row.get("valves")), "words": f"{what}: {why}"})
    more = whole(group.get("more")) or 0
    return {
        "title": f"{printable(group.get('title'), 40)} ({printable(group.get('count'), 8)})",
        "rows": rows,
        "more": f"and {more} more" if more else "",
    }


def _check(check: Doc) -> Print:
    """Tell one check: which valves are sound, which are not and why, and who looked."""
    cells = mappings(check.get("cells"))
    by_state: dict[str, list[Doc]] = {state: [] for state in _STATES}
    for cell in cells:
        by_state.setdefault(printable(cell.get("state"), 20), []).append(cell)
    found = []
    for state, own in by_state.items():
        if not own:
            continue
        whole_row = len(own) == len(cells)
        words = {printable(cell.get("words"), 160, unbroken=30) for cell in own}
        told = [
            f"{printable(cell.get('valve'), 12)} {f'({said})' if said else ''}".strip()
            for cell in own
            for said in (printable(cell.get("words"), 160, unbroken=30),)
        ]
        if whole_row and words == {""}:
            found.append(state)
        else:
            found.append(f"{state}: {', '.join(told)}")
    by = dict.fromkeys(printable(cell.get("by"), 60, unbroken=18) for cell in cells)
    return {
        "name": printable(check.get("name"), 40),
        "at": printable(check.get("at"), 120),
        "found": "; ".join(found),
        "by": ", ".join(name for name in by if name),
    }


def _spring(one: Doc) -> Print:
    """Tell one spring: what it showed on the tester, and what comes of it where it works."""
    void, u = printable(one.get("void"), 24), printable(one.get("u"), 40)
    told, by = printable(one.get("told"), 40), printable(one.get("by"), 60, unbroken=18)
    if told:
        told += f" at {printable(one.get('tested_at'), 24)}"
        told += f", u {u}" if u else ""
        told += f"; stale after {void}" if void else ""
    elif printable(one.get("state"), 16) == "not tested":
        told = "not tested"

    def judged(name: str) -> str:
        words = printable(one.get(f"{name}_words"), 160)
        return f"{printable(one.get(f'{name}_verdict'), 12)}: {words}" if words else ""

    return {"valve": printable(one.get("valve"), 12, unbroken=6), "told": told, "by": by,
            "load": judged("load"), "room": judged("room")}  # fmt: skip


def _chamber(one: Doc) -> Print:
    """Tell one chamber: what was filled in, and what volume and ratio come to now."""
    told, u = printable(one.get("told"), 40), printable(one.get("u"), 40)
    void = printable(one.get("void"), 24)
    if told:
        told += f", u {u}" if u else ""
        told += f"; void after {void}" if void else ""
    how = "measured" if one.get("state") == "measured" else "reckoned"

    def judged(name: str, how: str = "") -> str:
        value = printable(one.get(name), 40)
        word, limit = (printable(one.get(f"{name}_{key}"), 80) for key in ("verdict", "limit"))
        parts = [f"{value} {how}".strip() if value else "", f"{word}: {limit}" if word else ""]
        return ", ".join(part for part in parts if part)

    return {"cylinder": printable(one.get("cylinder"), 6), "told": told or "not filled",
            "volume": judged("volume", how), "ratio": judged("ratio"),
            "by": printable(one.get("by"), 60, unbroken=18)}  # fmt: skip


def _deviation(one: Doc) -> Print:
    state = printable(one.get("state"), 16)
    why = printable(one.get("why"), 200, unbroken=30)
    return {
        "owner": printable(one.get("valve"), 12, unbroken=6) or "head",
        "what": f"{printable(one.get('characteristic'), 60)} {printable(one.get('value'), 60)}",
        "limit": printable(one.get("limit"), 160),
        "by": printable(one.get("by"), 60, unbroken=18),
        "reason": printable(one.get("reason"), 300, unbroken=30),
        "state": "" if state == "holds" else f"{state}: {why}",
    }


def _names(valves: Any) -> str:
    names = valves if isinstance(valves, list) else []
    return ", ".join(printable(name, 12, unbroken=6) for name in names[:96])

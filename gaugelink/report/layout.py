"""Turn a report document into what the template prints: finished texts, and places to draw at.

The template holds no arithmetic and no judgement, and takes every text as data. Whatever is
missing, None, of the wrong kind or overlong in the document becomes an empty or shortened text
here, so that a report can always be made of what there is.
"""

from __future__ import annotations

from typing import Final

from gaugelink.report.advice import advice_part, order_part
from gaugelink.report.faults import decider_rows, fault_rows
from gaugelink.report.forecast import forecast_rows
from gaugelink.report.front import exceptions, head_map, outcome
from gaugelink.report.plot import common_words, face_drawing, sweep_axes, sweep_drawing
from gaugelink.report.release import release_part
from gaugelink.report.rows import (
    Doc,
    Frame,
    Print,
    items,
    label,
    mapping,
    mappings,
    verdict_row,
    whole,
)
from gaugelink.report.scale import VERDICTS, common_axes, verdict_word
from gaugelink.report.text import blocks, moment, moment_words, printable

_KIND_WORDS: Final = {"intake": "intake valve", "exhaust": "exhaust valve"}
_MOST_MAP_VALVES: Final = 96


def lay_out(document: Doc) -> Print:
    """Make everything that the template prints from a report document.

    Args:
        document: the report document; any part of it may be missing or None.

    Returns:
        Texts, numbers, lists and maps of those only: it can be written as JSON.
    """
    job, head = mapping(document.get("job")), mapping(document.get("head"))
    verdicts, readings = mappings(document.get("verdicts")), mappings(document.get("readings"))
    valves = mappings(head.get("valves"))[:_MOST_MAP_VALVES]
    names = [str(valve.get("name")) for valve in valves]
    sweeps = mappings(document.get("sweeps"))
    places = (whole(reading.get("place")) for reading in readings)
    frame = Frame(frozenset(place for place in places if place is not None), common_axes(verdicts))
    return {
        "job": _job(job, worked=bool(document.get("work"))),
        "outcome": outcome(
            printable(job.get("stage"), 60),
            verdicts,
            readings,
            valves,
            mappings(document.get("work")),
            mappings(document.get("beside")),
        ),
        "map": head_map(valves, frame.axes),
        "exceptions": exceptions(verdicts, frame),
        "order": order_part(document.get("order")),
        # An order that is not finished says more than a plan of what would come after it.
        "advice": None if document.get("order") else advice_part(document.get("advice")),
        "faults": fault_rows(mappings(document.get("faults"))),
        "deciders": decider_rows(mappings(document.get("deciders"))),
        "forecast": forecast_rows(mappings(document.get("forecast")), frame.listed),
        "release": release_part(document.get("release")),
        "verdicts": _by_valve(verdicts, valves, frame),
        "sweeps": _sweep_rows(sweeps, names, frame),
        "sweep_words": common_words(sweeps),
        "face": face_drawing(head.get("face")),
        "limits": [
            {
                "characteristic": printable(row.get("characteristic"), 60),
                "valves": printable(row.get("valves"), 60, unbroken=10) or "all",
                "method": printable(row.get("method"), 16, unbroken=8),
                "judge": printable(row.get("judge"), 16, unbroken=10),
                "words": printable(row.get("words"), 300),
                "source": printable(row.get("source"), 80, unbroken=10),
            }
            for row in mappings(document.get("limits"))
        ],
        "gauges": [
            {
                "id": printable(row.get("id"), 12, unbroken=8),
                "kind": printable(row.get("kind"), 30, unbroken=14),
                "title": printable(row.get("title"), 80),
                "serial": printable(row.get("serial"), 40, unbroken=14),
                "driver": printable(row.get("driver"), 40, unbroken=18),
                "due": printable(row.get("calibration_due"), 24, unbroken=12) or "not stated",
                "u": printable(row.get("u_text"), 24, unbroken=10) or "not stated",
            }
            for row in mappings(document.get("gauges"))
        ],
        "readings": _reading_rows(readings, job),
        "rule": printable(document.get("rule"), 1200),
        "cautions": [printable(words, 600) for words in items(document.get("cautions"))][:40],
        "record": _record(mapping(document.get("record"))),
    }


def _job(job: Doc, *, worked: bool) -> Print:
    started, finished = moment(job.get("started")), moment(job.get("finished"))
    facts = (
        ("Head", "head", 160), ("Serial", "serial", 60), ("Stage", "stage", 60),
        ("Limit sheet", "sheet", 160), ("Source of the limits", "source", 200),
        ("Operator", "operator", 60), ("Bench", "bench", 60),
    )  # fmt: skip
    rows = [(label, printable(job.get(key), limit) or "not stated") for label, key, limit in facts]
    if worked:  # the stage is that of the first reading
        rows = [(label, f"{text}, worked on since" if label == "Stage" else text)
                for label, text in rows]  # fmt: skip
    rows.append(("Started", moment_words(started)))
    rows.append(("Finished", moment_words(finished)))
    return {
        "name": printable(job.get("name"), 60) or "without a name",
        "short": printable(job.get("name"), 28) or "without a name",
        "invented": job.get("invented") is True,
        "facts": dict(rows),
    }


def _by_valve(verdicts: list[Doc], valves: list[Doc], frame: Frame) -> list[Print]:
    """Group the verdicts: valves from the front, then valves that the head does not list."""
    words: dict[str | None, str] = {}
    for valve in valves:
        kind = _KIND_WORDS.get(str(valve.get("kind")), printable(valve.get("kind"), 20))
        words[str(valve.get("name"))] = (
            f"{kind} of cylinder {printable(valve.get('cylinder'), 6)}".strip()
        )
    groups: dict[str | None, list[Doc]] = {name: [] for name in words}
    for verdict in verdicts:
        owner = verdict.get("valve")
        groups.setdefault(None if owner is None else str(owner), []).append(verdict)
    own = groups.pop(None, [])
    made = []
    for name, rows in [*groups.items(), (None, own)]:
        if rows:
            found = {verdict_word(row.get("verdict")) for row in rows}
            made.append({
                "name": "Head" if name is None else printable(name, 12),
                "words": "as a whole" if name is None else words.get(name, ""),
                "worst": next((word for word in VERDICTS if word in found), ""),
                "rows": [verdict_row(row, frame) for row in rows],
            })  # fmt: skip
    return made


def _sweep_rows(sweeps: list[Doc], names: list[str], frame: Frame) -> list[list[Print]]:
    """Put the sweeps of a valve side by side, along the head before across it."""
    order = {name: at for at, name in enumerate(names)}
    axes, common = sweep_axes(sweeps), set(common_words(sweeps))
    groups: dict[str, list[Doc]] = {}
    for sweep in sweeps:
        groups.setdefault(str(sweep.get("valve")), []).append(sweep)
    made = []
    for name in sorted(groups, key=lambda name: order.get(name, len(order))):
        own = sorted(groups[name], key=lambda sweep: sweep.get("direction") != "along")
        drawn = [sweep_drawing(sweep, axes, common, frame.listed) for sweep in own]
        made += [drawn[start : start + 2] for start in range(0, len(drawn), 2)]
    return made


def _reading_rows(readings: list[Doc], job: Doc) -> Print:
    stamps = [moment(reading.get("utc")) for reading in readings]
    dates = {date for date, _ in stamps}
    one_day = len(dates) == 1 and "" not in dates
    rows: list[Print] = []
    seen: set[int | None] = set()
    for reading, (date, time) in zip(readings, stamps, strict=True):
        place = whole(reading.get("place"))
        first = place is not None and place not in seen
        seen.add(place)
        state = printable(reading.get("state"), 24)
        reason = printable(reading.get("reason"), 200)
        if doubt := printable(reading.get("doubt"), 200):
            state, reason = "doubtful", f"{doubt}; {reason}" if reason else doubt
        if reading.get("operator") != job.get("operator"):
            taken_by = printable(reading.get("operator"), 40) or "nobody named"
            reason = f"{reason}; by {taken_by}" if reason else f"by {taken_by}"
        what = [
            printable(reading.get(key), 40)
            for key in ("characteristic", "station", "direction")
            if reading.get(key)
        ]
        kind = printable(reading.get("kind"), 16)
        if kind == "sweep":
            what.append("rock sweep")
        value = printable(reading.get("text"), 24, unbroken=12)
        rows.append({
            "place": printable(reading.get("place"), 10, unbroken=10),
            "anchor": label(place) if first and place is not None else None,
            "valve": printable(reading.get("valve"), 12, unbroken=6),
            "what": ", ".join(what) or kind,
            "value": f"{value} {printable(reading.get('unit'), 8)}".strip() if value else "",
            "gauge": printable(reading.get("gauge"), 12, unbroken=8),
            "time": time if one_day or not date else f"{date} {time}",
            "raw": printable(reading.get("raw"), 160, unbroken=26),
            "state": state,
            "reason": reason,
            "struck": reading.get("state") == "struck out",
            "good": reading.get("state") == "good",
        })  # fmt: skip
    return {"day": next(iter(dates)) if one_day else "", "rows": rows}


def _record(record: Doc) -> Print:
    size = whole(record.get("size"))
    root = printable(record.get("root"), 128, unbroken=128)
    short = f"{root[:8]}…{root[-8:]}" if len(root) > 20 else root
    return {
        "size": "not stated" if size is None else f"{size} {'event' if size == 1 else 'events'}",
        "root": blocks(record.get("root")),
        "short": short or "none",
        "log": printable(record.get("log"), 120) or "not stated",
        "key": blocks(record.get("key")),
        "utc": printable(record.get("utc"), 40, unbroken=40) or "not stated",
        "signature": blocks(record.get("signature")),
    }

"""The shapes of the documents that pages and reports draw, written down a second time.

From the description that pages, reports and views were built to. A shape is a type, a set of texts,
a list of one shape, a map with exactly these keys, or `Maybe` for what may be null.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from release_shape import release_shape


@dataclass(frozen=True)
class Maybe:
    """A shape, or null."""

    shape: Any


NUMBER = (int, float)
VERDICT_WORD = {"within", "outside", "undecided"}

SCALE = {
    "lower_mm": Maybe(NUMBER),
    "upper_mm": Maybe(NUMBER),
    "value_mm": Maybe(NUMBER),
    "u_mm": Maybe(NUMBER),
    "verdict": Maybe(VERDICT_WORD),
}
VERDICT = {
    "valve": Maybe(str),
    "characteristic": str,
    "method": {"", "rock", "direct"},
    "text": str,
    "unit": {"mm", "in"},
    "u_text": str,
    "verdict": VERDICT_WORD,
    "probability": Maybe(NUMBER),
    "limit": str,
    "source": str,
    "reason": str,
    "places": [int],
    "scale": SCALE,
}
DECIDER = {
    "verdict": int,
    "valve": Maybe(str),
    "characteristic": str,
    "method": {"", "rock", "direct"},
    "more": Maybe(int),
    "u_needed_um": NUMBER,
    "gauges": [str],
    "words": str,
}
FAULT = {
    "verdict": int,
    "valve": str,
    "method": {"rock", "direct"},
    "by": {"", "sizes", "own and new valve", "new valve"},
    "answer": Maybe({"none", "valve", "guide", "either", "both"}),
    "probability": Maybe(NUMBER),
    "probabilities": Maybe(dict.fromkeys(("none", "valve", "guide", "either", "both"), NUMBER)),
    "sure": bool,
    "words": str,
    "remarks": [str],
}
READING = {
    "place": int,
    "kind": {"reading", "sweep", "parked", "refused", "skipped"},
    "valve": Maybe(str),
    "characteristic": str,
    "station": str,
    "direction": {"", "along", "across"},
    "text": str,
    "unit": {"", "mm", "in"},
    "gauge": str,
    "operator": str,
    "utc": str,
    "raw": str,
    "state": {
        "good",
        "struck out",
        "unassigned",
        "refused",
        "skipped",
        "not usable",
        "stale",
    },
    "reason": str,
    "doubt": str,
    "scale": Maybe(SCALE),
}
SWEEP = {
    "place": Maybe(int),
    "valve": str,
    "direction": {"along", "across"},
    "gauge": str,
    "running": bool,
    "unit": {"mm", "in"},
    "points": [[NUMBER]],
    "plateaus": [
        {
            "t0_s": NUMBER,
            "t1_s": NUMBER,
            "level_um": NUMBER,
            "side": {"high", "low"},
            "used": bool,
            "why": str,
        }
    ],
    "travel_um": Maybe(NUMBER),
    "travel_u_um": Maybe(NUMBER),
    "factor": str,
    "clearance_um": Maybe(NUMBER),
    "clearance_u_um": Maybe(NUMBER),
    "limit_um": Maybe(NUMBER),
    "limit_of": {"travel", "clearance"},
    "limit_words": str,
    "verdict": Maybe(VERDICT_WORD),
    "lift": str,
    "valve_used": str,
    "full_rocks": int,
    "usable": Maybe(bool),
    "flags": [{"code": str, "words": str}],
    "words": [str],
}
GAUGE = {
    "id": str,
    "kind": str,
    "title": str,
    "serial": str,
    "driver": str,
    "port": str,
    "state": {"here", "lost", "back, confirm the position", "check the zero", "battery low"},
    "link": str,
    "text": str,
    "unit": {"", "mm", "in"},
    "u_text": str,
    "calibration_due": str,
}
JOB = {
    "name": str,
    "head": str,
    "serial": str,
    "sheet": str,
    "source": str,
    "stage": str,
    "operator": str,
    "bench": str,
    "invented": bool,
    "started": str,
    "finished": Maybe(str),
}
HEAD = {
    "cylinders": int,
    "kinds": [{"intake", "exhaust"}],
    "face": Maybe(
        {
            "length_mm": NUMBER,
            "width_mm": NUMBER,
            "points": [{"station": str, "x_mm": NUMBER, "y_mm": NUMBER, "value_um": Maybe(NUMBER)}],
        }
    ),
    "valves": [
        {
            "name": str,
            "cylinder": int,
            "kind": {"intake", "exhaust"},
            "state": {"open", "measuring", "within", "outside", "undecided", "skipped"},
            "done": int,
            "of": int,
            "worst": Maybe(VERDICT),
        }
    ],
}
NEXT = {
    "step": int,
    "valve": Maybe(str),
    "characteristic": str,
    "station": str,
    "direction": {"", "along", "across"},
    "gauge": str,
    "gauge_kind": str,
    "own_button": bool,
    "sweep": bool,
    "part": {"stem", "guide", "rock", "stand-down", "spring", "face", "other"},
    "words": str,
    "limit_words": str,
    "lower_mm": Maybe(NUMBER),
    "upper_mm": Maybe(NUMBER),
    "again": str,
    "expected": str,
}
LIVE = {
    "gauge": str,
    "text": str,
    "unit": {"mm", "in"},
    "mode": {"actual", "hold", "max", "min", "tir"},
}
ORDER_FIGURE = {
    "valve": Maybe(str), "figure": str, "expected": str, "moved": str, "done": bool, "found": str,
    "difference": str, "word": {"", "as foretold", "surprise"}, "words": str,
}  # fmt: skip
ORDER = {
    "place": int,
    "cost": str,
    "standing": str,
    "by": str,
    "utc": str,
    "lines": [
        {"operation": str, "words": str, "depth": str, "owners": [{"name": str, "done": bool}],
         "finished": bool, "told": str, "figures": [ORDER_FIGURE]}
    ],
    "done": int,
    "of": int,
}  # fmt: skip
FORECAST = {
    "place": int,
    "valve": Maybe(str),
    "characteristic": str,
    "station": str,
    "direction": {"", "along", "across"},
    "before": str,
    "work": str,
    "expected": str,
    "u_text": str,
    "found": str,
    "difference": str,
    "word": {"as foretold", "surprise", "not foretold"},
    "words": str,
    "answer": str,
    "meanings": [str],
}
STATE = {
    "version": int,
    "job": JOB,
    "head": HEAD,
    "progress": {"done": int, "of": int, "skipped": int},
    "next": Maybe(NEXT),
    "question": Maybe({"place": int, "step": int, "code": str, "words": str}),
    "live": Maybe(LIVE),
    "gauges": [GAUGE],
    "last": Maybe(READING),
    "readings": [READING],
    "tray": [READING],
    "tray_count": int,
    "order": Maybe(ORDER),
    "verdicts": [VERDICT],
    "faults": [FAULT],
    "forecast": [FORECAST],
    "deciders": [DECIDER],
    "sweep": Maybe(SWEEP),
    "messages": [{"level": {"note", "warning"}, "words": str, "utc": str}],
    "record": {"size": int, "root": str, "log": str},
    "operations": [
        {
            "name": str,
            "concerns": {"valves", "head", "gauge"},
            "depth": {"", "seat", "valve face", "tip", "head face", "shims"},
            "sizes": [{"name": str, "valves": [str]}],
            "untold": {"standard", "as it was"},
        }
    ],
    "watching": bool,
    "finished": bool,
    "release": release_shape(Maybe),
}
REPORT = {
    "job": JOB,
    "head": HEAD,
    "gauges": [GAUGE],
    "verdicts": [VERDICT],
    "faults": [FAULT],
    "forecast": [FORECAST],
    "deciders": [DECIDER],
    "not_measured": [{"valve": Maybe(str), "characteristic": str, "method": str, "why": str}],
    "work": [
        {
            "place": int,
            "operation": str,
            "valves": [str],
            "gauge": str,
            "detail": str,
            "by": str,
            "utc": str,
        }
    ],
    "sweeps": [SWEEP],
    "readings": [READING],
    "limits": [
        {
            "characteristic": str,
            "valves": str,
            "method": {"", "rock", "direct"},
            "judge": str,
            "words": str,
            "source": str,
        }
    ],
    "beside": [{"valve": Maybe(str), "what": str, "value": str, "accepted": bool}],
    "release": release_shape(Maybe),
    "counts": {"within": int, "outside": int, "undecided": int},
    "advice": Maybe(dict),
    "order": Maybe(ORDER),
    "rule": str,
    "cautions": [str],
    "record": {
        "size": int,
        "root": str,
        "log": str,
        "key": str,
        "utc": str,
        "signature": str,
    },
}


def misfits(document: Any, shape: Any, where: str = "document") -> list[str]:
    """List everything in which a document does not have a shape."""
    if isinstance(shape, Maybe):
        return [] if document is None else misfits(document, shape.shape, where)
    if isinstance(shape, dict):
        if not isinstance(document, dict):
            return [f"{where} is {document!r:.60}, no map"]
        found = [f"{where}.{key} is missing" for key in shape.keys() - document.keys()]
        found += [f"{where}.{key} is too much" for key in document.keys() - shape.keys()]
        for key in shape.keys() & document.keys():
            found += misfits(document[key], shape[key], f"{where}.{key}")
        return found
    if isinstance(shape, list):
        if not isinstance(document, list):
            return [f"{where} is {document!r:.60}, no list"]
        return [fault for number, item in enumerate(document)
                for fault in misfits(item, shape[0], f"{where}[{number}]")]  # fmt: skip
    if isinstance(shape, set):
        return [] if document in shape else [f"{where} is {document!r:.60}, none of {shape}"]
    kinds = shape if isinstance(shape, tuple) else (shape,)
    return [] if type(document) in kinds else [f"{where} is {document!r:.60}, no {shape}"]


def check(document: dict[str, Any], shape: Any) -> None:
    """Fail where a document does not have a shape, or is nothing that JSON can carry."""
    assert misfits(document, shape) == []
    again = json.loads(json.dumps(document, allow_nan=False))
    assert again == document

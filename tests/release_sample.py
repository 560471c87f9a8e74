"""An invented release document, made from a head that was really looked at and signed."""

from __future__ import annotations

from typing import Any

JSON = dict[str, Any]
VALVES = [f"{cylinder}{kind}" for cylinder in range(1, 7) for kind in "IE"]
NAMES = {
    "valve": "face not burnt or pitted, collet groove and tip not worn",
    "guide": "not cracked or loose, bore clean",
    "seat": "not pitted or cracked, insert tight, valve touches all round",
    "spring": "no pits, no broken or worn coil",
    "collets seated": "both collets home in their groove and in the retainer",
    "leak test": "port holds vacuum or fluid; where the shop tests it",
    "head face": "no scores, no corrosion between the chambers, clean",
    "crack test": "dye, magnetic particle or pressure test shows no crack",
}


def cell(valve: str, state: str = "not looked at", by: str = "", words: str = "",
         place: int | None = None) -> JSON:  # fmt: skip
    return {"valve": valve, "state": state, "by": by, "words": words, "place": place}


def checks(state: str = "not looked at", **known: dict[str, JSON]) -> list[JSON]:
    """Make the grid; `known` are cells by valve, by the name of their check."""
    found = []
    for number, (name, at) in enumerate(NAMES.items()):
        of = "head" if number > 5 else "valve"
        usual = {} if state == "not looked at" else {"by": "B. T.", "place": 100 + number}
        cells = [cell(valve, state, **usual) for valve in ([""] if of == "head" else VALVES)]
        cells = [known.get(name, {}).get(one["valve"], one) for one in cells]
        found.append({"name": name, "of": of, "at": at, "required": name != "leak test",
                      "cells": cells})  # fmt: skip
    return found


def row(valves: list[str], what: str, why: str, step: int | None = None,
        sign: JSON | None = None, strike: int | None = None,
        gauge: str = "") -> JSON:  # fmt: skip
    return {"valves": valves, "what": what, "why": why, "step": step, "sign": sign,
            "strike": strike, "gauge": gauge}  # fmt: skip


def group(kind: str, title: str, *rows: JSON, count: int | None = None, more: int = 0) -> JSON:
    return {"kind": kind, "title": title, "count": len(rows) if count is None else count,
            "rows": list(rows), "more": more}  # fmt: skip


SIGN = {"valve": "3E", "characteristic": "stand-down", "method": "", "value": "1.63 mm",
        "limit": "service max 1.60 mm (0.063 in)", "places": [71, 72]}  # fmt: skip


def blocked(**more: Any) -> JSON:
    """Make the document of a head with all kinds of things against it."""
    groups = [
        group("condemned", "Condemned",
              row(["2E"], "spring", "condemned by B. T.: end coil broken off")),
        group("outside", "Outside its limit",
              row(["3E"], "stand-down", "outside, 1.63 mm against service max 1.60 mm (0.063 in)",
                  97, SIGN)),
        group("stale", "Stale after work",
              row(["4I"], "stand-down", "stale after seat cut; measure again", 98),
              row(["4I"], "tip height", "stale after seat cut; measure again", 110)),
        group("not measured", "Not measured",
              row(["6I", "6E"], "spring free length", "not measured yet", 120), count=2),
        group("zero check", "Zero checks",
              row([], "zero check of the depth gauge, after stand-down",
                  "stale after seat cut; measure again", 104)),
        group("not inspected", "Not looked at",
              row(VALVES[4:], "collets seated", "not looked at yet"),
              row(["4I"], "seat", "looked at before this work: seat cut; look again"), count=9),
    ]  # fmt: skip
    again = cell("4I", "look again", "B. T.", "before this work: seat cut", 102)
    bad = cell("2E", "condemned", "B. T.", "end coil broken off", 131)
    seated = {valve: cell(valve, "sound", "B. T.", "", 140) for valve in VALVES[:4]}
    grid = checks("sound", seat={"4I": again}, spring={"2E": bad})
    grid[4] = checks(**{"collets seated": seated})[4]
    grid[5] = checks()[5]
    return {
        "sentence": "not released; 16 things stand against it.", "released": False, "place": None,
        "at": "", "by": "", "words": "", "taken_back": "", "count": 16, "groups": groups,
        "checks": grid, "springs": [], "chambers": [],
        "deviations": [],
    } | more  # fmt: skip


def spring(valve: str, **more: Any) -> JSON:
    """Make what is known of one spring; within its limits if nothing else is said."""
    return {
        "valve": valve, "kinds": "intake and exhaust", "state": "tested", "void": "",
        "told": "318 N", "u": "2 N", "by": "B. T.",
        "place": 145, "tested_at": "40.5 mm", "installed": "40.72 mm", "step": 110,
        "load": "310.5 N", "load_limit": "min 285 N", "load_verdict": "within",
        "load_words": "310.5 N at 40.72 mm installed, against min 285 N", "room": "3.22 mm",
        "room_limit": "1.50 mm", "room_verdict": "within",
        "room_words": "3.22 mm at full lift, against 1.50 mm at least",
    } | more  # fmt: skip


def sprung() -> list[JSON]:
    """Make the springs of a head in all their states."""
    untold = {"state": "not tested", "told": "", "u": "", "by": "", "place": None, "load": "",
              "load_verdict": "", "load_words": ""}  # fmt: skip
    again = {"state": "test again", "void": "spring changed", "load": "", "load_verdict": "",
             "load_words": "", "place": 146}  # fmt: skip
    weak = {"told": "279 N", "load": "271.4 N", "load_verdict": "outside", "place": 147,
            "load_words": "271.4 N at 40.72 mm installed, against min 285 N"}  # fmt: skip
    known = {"2E": untold, "3I": again, "4I": weak}
    return [spring(valve, **known.get(valve, {})) for valve in VALVES]


def chamber(cylinder: int, **more: Any) -> JSON:
    """Make what is known of one chamber; filled and within its limits if nothing else is said.

    The ratios are (500 + volume + 3) / (volume + 3): what a piston sweeps, and what is left over
    it beside the chamber, in cm3.
    """
    return {
        "cylinder": cylinder, "state": "measured", "void": "", "told": "30.4 cm3", "u": "0.1 cm3",
        "by": "B. T.", "place": 145 + cylinder, "volume": "30.40 cm3",
        "volume_limit": "min 29.00 cm3 to max 32.00 cm3", "volume_verdict": "within",
        "ratio": "15.97", "ratio_limit": "min 15.50 to max 17.00", "ratio_verdict": "within",
    } | more  # fmt: skip


def chambered() -> list[JSON]:
    """Make the chambers of a head in all their states."""
    unfilled = {"state": "reckoned", "told": "", "u": "", "by": "", "place": None}
    known = {
        2: unfilled | {"volume": "30.21 cm3", "ratio": "16.06"},
        3: {"state": "measure again", "void": "seat cut", "volume": "30.62 cm3", "ratio": "15.87"},
        4: {"told": "26.8 ml", "u": "", "volume": "26.80 cm3", "volume_verdict": "outside",
            "ratio": "17.78", "ratio_verdict": "outside"},
        5: {"told": "1.771 in3", "u": "0.01 in3", "by": "", "volume": "29.02 cm3",
            "volume_verdict": "undecided", "ratio": "16.62"},
        6: unfilled | {"volume": "", "volume_verdict": "", "ratio": "", "ratio_verdict": ""},
    }  # fmt: skip
    return [chamber(cylinder, **known.get(cylinder, {})) for cylinder in range(1, 7)]


def deviation(**more: Any) -> JSON:
    return {"place": 150, "utc": "2026-11-25T10:12:00.000000Z", "state": "holds", "why": "",
            "valve": "3E", "characteristic": "stand-down", "method": "", "value": "1.63 mm",
            "limit": SIGN["limit"], "by": "C. Invented", "reason": "pistons leave room",
            } | more  # fmt: skip


def ready(**more: Any) -> JSON:
    """Make the document of a head that nothing stands against."""
    return blocked(
        sentence="not released; nothing stands against it.", count=0, groups=[],
        checks=checks("sound"), deviations=[deviation()],
    ) | more  # fmt: skip


def released(**more: Any) -> JSON:
    """Make the document of a head that is released."""
    return ready(
        sentence="released at 2026-11-25 10:30 UTC by C. Invented.", released=True, place=160,
        at="2026-11-25T10:30:00.000000Z", by="C. Invented",
    ) | more  # fmt: skip

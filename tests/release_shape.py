"""The shape of the document that says whether a head may be released, written down a second time.

A shape is as in view_shapes; what may be null is a pair of it and None here.
"""

from __future__ import annotations

SIGN = {"valve": str, "characteristic": str, "method": {"", "rock", "direct"}, "limit": str,
        "value": str, "places": [int]}  # fmt: skip
KINDS = {
    "condemned", "outside", "undecided", "stale", "surprise", "doubtful",
    "sweep not usable", "skipped", "not measured",
    "question open", "zero check", "calibration", "not inspected",
}  # fmt: skip
VERDICT = {"", "within", "outside", "undecided"}
CHECKS = {
    "valve", "guide", "seat", "spring", "collets seated", "leak test", "head face", "crack test",
}  # fmt: skip


def release_shape(maybe):
    """Write the shape, given what makes another one that may be null."""
    row = {
        "valves": [str],
        "what": str,
        "why": str,
        "step": maybe(int),
        "sign": maybe(SIGN),
        "strike": maybe(int),
        "gauge": str,
    }
    cell = {
        "valve": str,
        "state": {"not looked at", "look again", "sound", "condemned"},
        "by": str,
        "words": str,
        "place": maybe(int),
    }
    return {
        "sentence": str,
        "released": bool,
        "place": maybe(int),
        "at": str,
        "by": str,
        "words": str,
        "taken_back": str,
        "count": int,
        "groups": [{"kind": KINDS, "title": str, "count": int, "rows": [row], "more": int}],
        "checks": [{"name": CHECKS, "of": {"valve", "head"}, "at": str, "required": bool,
                    "cells": [cell]}],
        "springs": [{
            "valve": str, "kinds": str,
            "state": {"not limited", "not tested", "test again", "tested"},
            "void": str, "told": str, "u": str, "by": str, "place": maybe(int), "tested_at": str,
            "installed": str, "step": maybe(int), "load": str, "load_limit": str,
            "load_verdict": VERDICT, "load_words": str, "room": str, "room_limit": str,
            "room_verdict": VERDICT, "room_words": str,
        }],
        "chambers": [{
            "cylinder": int, "state": {"reckoned", "measured", "measure again"}, "void": str,
            "told": str, "u": str, "by": str, "place": maybe(int), "volume": str,
            "volume_limit": str, "volume_verdict": VERDICT, "ratio": str, "ratio_limit": str,
            "ratio_verdict": VERDICT,
        }],
        "deviations": [{
            "place": int, "valve": maybe(str), "characteristic": str,
            "method": {"", "rock", "direct"}, "value": str, "limit": str, "by": str,
            "reason": str, "utc": str, "state": {"holds", "void", "struck out"}, "why": str,
        }],
    }  # fmt: skip

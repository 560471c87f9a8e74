"""The first page: the outcome in one sentence, the head in plan, and what is not within."""

from __future__ import annotations

from collections import Counter
from itertools import groupby
from typing import TYPE_CHECKING, Final

from gaugelink.report.rows import Doc, Frame, Print, items, mapping, verdict_row, whole
from gaugelink.report.scale import (
    VERDICTS,
    Axes,
    axis_of,
    expanded_um,
    is_nearer_than,
    limit_scale,
    verdict_word,
    where_it_lies,
)
from gaugelink.report.text import number, printable

if TYPE_CHECKING:
    from collections.abc import Sequence

_STATE_WORDS: Final = {
    "": "not judged", "open": "not measured", "measuring": "not finished", "skipped": "skipped",
}  # fmt: skip
_MAP_WIDTH_MM: Final = 162.0
_LEAST_COLUMN_MM: Final = 13.4
_WIDEST_COLUMN_MM: Final = 27.0
_MOST_COLUMNS: Final = 6
_MOST_WORK: Final = 40
"""Work that the first page tells; more than is done to a head of twelve valves, one by one."""
_HARD_SPACE: Final = "\u00a0"


def outcome(
    stage: str,
    verdicts: list[Doc],
    readings: list[Doc],
    valves: list[Doc],
    work: Sequence[Doc] = (),
    beside: Sequence[Doc] = (),
) -> Print:
    """Say in one plain sentence how the head stands, with the counts.

    The counts are those of the verdicts that the report lists, so that it cannot contradict itself;
    another sentence names what is not within beside them.

    >>> made = outcome("as received", [{"verdict": "within"}, {"verdict": "outside"}], [], [])
    >>> made["sentence"].replace(chr(0xA0), " ")
    'As received, this head is not within its limits: 1 of 2 verdicts is outside, 1 within.'
    """
    counts = Counter(verdict_word(verdict.get("verdict")) for verdict in verdicts)
    outside, undecided, within = (counts[word] for word in VERDICTS)
    judged = outside + undecided + within
    of = f"of{_HARD_SPACE}{judged} verdicts"
    parts = [
        f"{count}{_HARD_SPACE}{of + (' is ' if count == 1 else ' are ') if not at else ''}{word}"
        for at, (word, count) in enumerate((w, counts[w]) for w in VERDICTS if counts[w])
    ]
    if not judged:
        words = "nothing has been judged."
    elif outside:
        words = f"this head is not within its limits: {', '.join(parts)}."
    elif undecided:
        words = f"nothing is outside its limits, but not all is decided: {', '.join(parts)}."
    elif judged == 1:
        words = "the one verdict is within its limits."
    else:
        words = f"all {judged} verdicts are within their limits."
    when = "after the work that was told" if work else stage
    sentence = f"{when}, {words}" if when else words
    return {
        "sentence": sentence[:1].upper() + sentence[1:] + _beside(beside),
        "valves": [
            {"word": word, "names": names}
            for word in VERDICTS[:2]
            if (names := _names_with(word, verdicts))
        ],
        "remarks": _remarks(readings, valves),
        "work": _work(work),
    }


def _beside(rows: Sequence[Doc]) -> str:
    """Name springs and what places have in common that are not within.

    >>> _beside([{"valve": "2E", "what": "spring load", "accepted": True},
    ...          {"valve": None, "what": "compression ratio of cylinder 2", "accepted": False}])
    ' Not within beside these: 2E spring load (accepted), compression ratio of cylinder 2.'
    """
    names = []
    for row in rows[:_MOST_WORK]:
        name = f"{printable(row.get('valve'), 12, unbroken=6)} {printable(row.get('what'), 80)}"
        names.append(name.strip() + (" (accepted)" if row.get("accepted") is True else ""))
    if len(rows) > _MOST_WORK:
        names.append(f"and {len(rows) - _MOST_WORK} more")
    return f" Not within beside these: {', '.join(names)}." if names else ""


def _work(work: Sequence[Doc]) -> list[str]:
    """Say what was done to the head, in the order in which it was told, and by whom.

    The same work on several valves, told one after the other, is said once.

    >>> told = {"operation": "seat lapped", "gauge": "", "detail": "0.005 mm", "by": "A. N."}
    >>> _work([{**told, "valves": ["2I"]}, {**told, "valves": ["2E", "3E"]}])
    ['seat lapped on 2I, 2E, 3E, 0.005 mm, by A. N.']
    """
    made = []
    for (operation, gauge, detail, by), group in groupby(work, key=_told):
        valves = [name for one in group for name in items(one.get("valves"))]
        words = operation
        if valves:
            words += f" on {printable(', '.join(map(str, valves)), 120, unbroken=18)}"
        if gauge:
            words += f" ({gauge})"
        made.append(f"{words}{f', {detail}' if detail else ''}, by {by or 'nobody named'}")
    rest = len(made) - _MOST_WORK
    return [*made[:_MOST_WORK], f"and {rest} more, in the record"] if rest > 0 else made


def _told(one: Doc) -> tuple[str, str, str, str]:
    operation, gauge, detail = (
        printable(one.get(key), 60, unbroken=18) for key in ("operation", "gauge", "detail")
    )
    return operation, gauge, detail, printable(one.get("by"), 40, unbroken=18)


def _names_with(word: str, verdicts: list[Doc]) -> str:
    names = dict.fromkeys(
        printable(verdict.get("valve"), 12) or "the head itself"
        for verdict in verdicts
        if verdict.get("verdict") == word
    )
    return ", ".join(list(names)[:60])


def _remarks(readings: list[Doc], valves: list[Doc]) -> list[str]:
    """Say what is not as a smooth job would be: an auditor asks for these first."""
    states = Counter(str(reading.get("state")) for reading in readings)
    words = {
        "skipped": ("place was skipped", "places were skipped"),
        "struck out": ("reading was struck out", "readings were struck out"),
        "unassigned": ("reading has no place on the head", "readings have no place on the head"),
        "refused": ("reading was refused", "readings were refused"),
        "stale": ("reading is stale after work", "readings are stale after work"),
        "not usable": ("reading or sweep is not usable", "readings or sweeps are not usable"),
    }
    short = []
    for valve in valves:
        done, of = whole(valve.get("done")), whole(valve.get("of"))
        if done is not None and of is not None and done < of:
            short.append(printable(valve.get("name"), 12))
    made = [f"not everything was measured on {', '.join(short)}"] if short else []
    for state, (one, several) in words.items():
        if count := states[state]:
            made.append(f"{count} {one if count == 1 else several}")
    if count := sum(bool(reading.get("doubt")) for reading in readings):
        one, several = "reading is doubtful", "readings are doubtful"
        made.append(f"{count} {one if count == 1 else several}: a zero check was off")
    return made


def head_map(valves: list[Doc], axes: Axes) -> Print | None:
    """Arrange the valves in plan, front to the left, in bands that fit the page's width.

    Up to two valves a cylinder lie in one row, in the order given; more lie in a row for each kind.
    None where there are no valves, or more in a row than can be drawn.
    """
    cylinders: dict[str, list[Doc]] = {}
    for valve in valves:
        cylinders.setdefault(printable(valve.get("cylinder"), 6), []).append(valve)
    if not cylinders:
        return None
    kinds = dict.fromkeys(str(valve.get("kind")) for valve in valves)
    in_a_row = max(len(own) for own in cylinders.values()) <= 2

    def rows(own: list[Doc]) -> list[list[Doc]]:
        if in_a_row:
            return [own]
        return [[valve for valve in own if str(valve.get("kind")) == kind] for kind in kinds]

    rows_of = [rows(own) for own in cylinders.values()]
    columns = max(len(row) for parts in rows_of for row in parts)
    if columns > _MOST_COLUMNS:
        return None
    fitting = max(1, int(_MAP_WIDTH_MM / (_LEAST_COLUMN_MM * columns)))
    bands = -(-len(cylinders) // fitting)
    each = -(-len(cylinders) // bands)
    made = [
        {"rows": [[_map_valve(valve, axes) for valve in row] for row in parts]} for parts in rows_of
    ]
    return {
        "columns": columns,
        "cylinder_mm": round(min(_MAP_WIDTH_MM / each, _WIDEST_COLUMN_MM * columns), 3),
        "in_a_row": in_a_row,
        "bands": [made[start : start + each] for start in range(0, len(made), each)],
    }


def _map_valve(valve: Doc, axes: Axes) -> Print:
    worst = mapping(valve.get("worst"))
    word = verdict_word(worst.get("verdict")) or verdict_word(valve.get("state"))
    state = str(valve.get("state") or "")
    scale = limit_scale(worst.get("scale"), word, axis_of(worst, axes)) if worst else None
    return {
        "name": printable(valve.get("name"), 6, unbroken=6),
        "intake": valve.get("kind") == "intake",
        "verdict": word,
        "word": word or _STATE_WORDS.get(state, printable(state, 14)),
        "of": printable(worst.get("characteristic"), 26, unbroken=12),
        "scale": scale,
    }


def exceptions(verdicts: list[Doc], frame: Frame) -> list[Print]:
    """List what is outside, then what is undecided, each with the reason in words."""
    made = []
    for word in VERDICTS[:2]:
        for verdict in verdicts:
            if verdict.get("verdict") == word:
                row = verdict_row(verdict, frame)
                row["owner"] = printable(verdict.get("valve"), 12, unbroken=6) or "head"
                row["why"] = _why(verdict, row)
                made.append(row)
    return made


def _why(verdict: Doc, row: Print) -> str:
    scale = mapping(verdict.get("scale"))
    lies, expanded = where_it_lies(scale), expanded_um(scale)
    parts = []
    reason = printable(verdict.get("reason"), 200)
    if not row["value"]:
        parts.append("no value to judge")
    elif lies and verdict.get("verdict") == "undecided" and is_nearer_than(scale, expanded):
        likely = _percent(number(verdict.get("probability")))
        parts.append(f"{lies}, too close to call{f' ({likely} likely within)' if likely else ''}")
    elif lies and " above the upper limit" not in reason and " below the lower limit" not in reason:
        parts.append(lies)
    if reason:
        parts.append(reason)
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _percent(probability: float | None) -> str:
    """Write a probability for reading; never as certain.

    >>> _percent(0.943), _percent(0.9999), _percent(None)
    ('94 %', 'over 99 %', '')
    """
    if probability is None or not 0 <= probability <= 1:
        return ""
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"

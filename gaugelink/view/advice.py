"""A plan as page, report and terminal show it: finished words, in the order of the trade."""

from __future__ import annotations

from itertools import groupby
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

from gaugelink.planning.task import DONE

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from gaugelink.planning.task import Deed
    from gaugelink.view.parts import Document

DEED_WORDS: Final[dict[Deed, str]] = {
    "replace guide": "new guide",
    "ream guide": "ream guide",
    "replace valve": "new valve",
    "move valve": "other valve",
    "reface valve": "grind valve face",
    "grind tip": "grind tip",
    "fit insert": "new seat insert",
    "cut seat": "cut seat",
    "skim": "skim face",
    "lap": "lap",
    "replace spring": "new spring",
    "shim": "shim spring",
}
"""What is done, in a few words."""


AT_LEAST: Final = "at least "
"""Before the cost of a partial plan: what is missing may ask for more work, never for less."""


def advice_document(told: Document, left_out: Iterable[str] = ()) -> Document:
    """Write a plan for drawing.

    Args:
        told: the plan's own document (docs/planning.md).
        left_out: limits that no plan reckons with.

    Returns:
        Texts and lists of texts; ``lines`` are the steps in the order of the trade.
    """
    found: Document = {
        "cost": None, "standing": "", "conflict": [_limit(row) for row in told.get("conflict", ())],
        "conflict_words": "", "more_words": "",
        "lines": [], "valves": [], "untouched": [], "parts": [], "together": [],
        "remeasure": [], "missing": [],
        "alternatives": [], "cautions": told.get("cautions", []),
        "left_out": [*left_out, *(f"without a price: {words}" for words in told["unpriced"])],
        "barred": told.get("barred", []),
    }  # fmt: skip
    if told["cost"] is None:
        return found | {"conflict_words": conflict_words(told)}
    rows = [_line(row) for row in told["operations"]]
    by_valve: dict[str, list[str]] = {item["valve"]: [] for item in told["valves"]}
    for row in rows:
        by_valve.setdefault(row["valve"], []).append(row["words"])
    money = told["currency"]
    open_ = {row["valve"] for row in told["missing"]}  # of these nobody knows yet
    return found | {
        "cost": f"{AT_LEAST if told['at_least'] else ''}{told['cost']:.2f} {money}",
        "standing": _standing(told),
        "lines": list(_together(rows)),
        "valves": [{"valve": valve or "face", "words": "; ".join(words)}
                   for valve, words in by_valve.items() if words],
        "untouched": [valve for valve, words in by_valve.items()
                      if not words and valve not in open_],
        "parts": [f"{row['count']} {row['part']} {row['kind']}".strip() for row in told["parts"]],
        "together": [f"{row['name']} {row['words']}{_ends(row)}" for row in told["together"]],
        "remeasure": [{"what": what, "words": ", ".join(where)} for what, where in again(told)],
        "missing": [f"{row['valve'] or 'head'}: {row['reading']}" for row in told["missing"]],
        "alternatives": [
            {"cost": f"{row['cost']:.2f} {money}",
             "more": f"{row['cost'] - told['cost']:+.2f}", "differs": row["differs"]}
            for row in told["alternatives"]
        ],
        "more_words": more_words(told),
    }  # fmt: skip


def again(told: Document) -> Iterator[tuple[str, list[str]]]:
    """Put what is measured again by what it is, each with its places in the order of the walk.

    >>> rows = [("guide bore", "3E", True), ("margin", "3E", False), ("margin", "1E", False)]
    >>> list(again({"remeasure": [
    ...     {"characteristic": what, "valve": valve, "before_seats": first}
    ...     for what, valve, first in rows]}))
    [('guide bore, before any seat work', ['3E']), ('margin', ['3E', '1E'])]
    """
    for (what, first), some in groupby(
        told["remeasure"], key=lambda row: (row["characteristic"], row["before_seats"])
    ):
        when = ", before any seat work" if first else ""
        yield f"{what}{when}", [row["valve"] or "head" for row in some]


def conflict_words(told: Document) -> str:
    """Say what is proved of limits that are in conflict; nothing of none.

    >>> conflict_words({"conflict": [{}, {}], "smallest": False, "irreducible": True})
    'each of them is needed for that; there may be a smaller set'
    """
    if not told["conflict"]:
        return ""
    if told["smallest"]:
        return "no smaller set is in conflict"
    if told["irreducible"]:
        return "each of them is needed for that; there may be a smaller set"
    return "time ran out: some of them may have nothing to do with it; there may be a smaller set"


def more_words(told: Document) -> str:
    """Say that there may be more alternatives than are told; nothing where there are not.

    >>> more_words({"alternatives": [], "alternatives_complete": False})
    'There may be alternatives within 10 %.'
    """
    if told["alternatives_complete"]:
        return ""
    return f"There may be {'more ' if told['alternatives'] else ''}alternatives within 10 %."


def advice_lines(advice: Document, width: int = 80) -> Iterator[str]:
    r"""Give a plan as lines for a terminal, a valve each.

    Args:
        advice: the document of a plan.
        width: of the terminal, columns.

    >>> told = {"cost": 30.0, "at_least": False, "currency": "EUR", "optimal": True,
    ...         "missing": [], "parts": [], "together": [], "remeasure": [],
    ...         "valves": [{"valve": "1I"}, {"valve": "1E"}],
    ...         "alternatives": [], "alternatives_complete": True, "unpriced": [],
    ...         "operations": [{"operation": "replace valve", "valve": "1E", "why": "valve burnt"}]}
    >>> print(*advice_lines(advice_document(told)), sep="\n")
    What to do: 30.00 EUR, the cheapest at these prices.
      1E    new valve
      Nothing to do: 1I
    """
    barred = [("", row) for row in advice["barred"]]
    lines = [*barred, ("", "What to do: no offered work keeps these limits together:")]
    lines += [("  ", row) for row in advice["conflict"]]
    if advice["conflict_words"]:
        lines.append(("  ", f"({advice['conflict_words']})"))
    if advice["cost"] is not None:
        lines = [*barred, ("", f"What to do: {advice['cost']}, {advice['standing']}.")]
        lines += [(f"  {row['valve']:<5} ", row["words"]) for row in advice["valves"]]
        if advice["untouched"]:
            lines.append(("  ", f"Nothing to do: {', '.join(advice['untouched'])}"))
    for start, words in lines:
        yield from wrap(words, width, initial_indent=start, subsequent_indent=" " * len(start))


def _standing(told: Document) -> str:
    words = "the cheapest " + ("of what has a price" if told["unpriced"] else "at these prices")
    if not told["optimal"]:
        words = f"at most {100 * told['gap']:.1f} % could be saved by a better plan"
    if told["missing"]:
        words += "; a partial plan, because readings are missing"
    elif told["unpriced"]:
        words += "; a partial plan, because prices are missing"
    if told.get("barred"):
        words += "; it does not release the head"
    return words


def _limit(row: Document) -> str:
    return f"{row['valve'] or 'head'}: {row['limit']}"


def _ends(row: Document) -> str:
    ends = [f"{key} {row[key]:g}" for key in ("min", "max") if row[key] is not None]
    return f" ({', '.join(ends)})" if ends else ""


def _line(row: Document) -> Document:
    deed: Deed = row["operation"]
    words, depth = DEED_WORDS[deed], ""
    if "from" in row:
        words = f"takes the valve of {row['from']}"
    if "oversize" in row:
        words += f" to {row['oversize']}"
    if "shims_mm" in row:
        words += f" {' + '.join(f'{high:g}' for high in row['shims_mm'])} mm"
    if deed == "fit insert":
        # Below 0: the seat lies higher than it did.
        rise = _um(-row["depth_mm"], up=False)
        low, high = _um(-row["most_mm"], up=True), _um(-row["least_mm"], up=False)
        words += f", cut until the valve sits {rise} mm higher than now ({low} to {high})"
    elif "least_mm" in row:
        depth = f"{_um(row['depth_mm'], up=True)} mm"
        words += f" {depth}"
        if row["most_mm"] > row["depth_mm"]:
            words += f" (up to {_um(row['most_mm'], up=False)})"
    elif "depth_mm" in row:
        depth = f"{row['depth_mm']:.3f} mm"
        words += f", about {depth}"
    return {"operation": deed, "done": DONE[deed], "valve": row["valve"], "words": words,
            "depth": depth, "why": row["why"]}  # fmt: skip


def _together(rows: Iterable[Document]) -> Iterator[Document]:
    """Put the valves together to which the same is done, as one line of the order."""
    found: dict[tuple[str, str, str], Document] = {}
    for row in rows:
        key = (row["operation"], row["words"], row["depth"])
        line = found.setdefault(key, {**row, "valves": [], "why": {}})
        line.pop("valve", None)
        line["valves"] += [row["valve"]] if row["valve"] else []
        if row["why"]:
            line["why"].setdefault(row["why"], []).append(row["valve"])
    yield from (line | {"why": _whys(line["why"], line["valves"])} for line in found.values())


def _whys(whys: Mapping[str, list[str]], valves: list[str]) -> str:
    """Say why; with its valves where it is not the same for all of them."""
    if list(whys.values()) in ([valves], [[""]]):
        return next(iter(whys))
    return "; ".join(f"{', '.join(some)}: {why}" for why, some in whys.items())


def _um(length_mm: float, *, up: bool) -> str:
    """Write a length in whole micrometres, rounded to the inside of what it may be."""
    pm = round(length_mm * 1e9)
    um: Any = -(-pm // 10**6) if up else pm // 10**6
    return f"{um / 1000:.3f}"

"""What `gaugelink plan` tells: one document, and the text that is printed of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from gaugelink.planning.amount import shown
from gaugelink.planning.barred import barred
from gaugelink.planning.elsewhere import left_afterwards
from gaugelink.planning.order import work_order
from gaugelink.planning.plan import Alternatives, alternatives
from gaugelink.planning.task import DEEDS
from gaugelink.planning.together import SINKS, together
from gaugelink.view.advice import again, conflict_words, more_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gaugelink.planning.allowances import Allowance, Step
    from gaugelink.planning.budget import Budget
    from gaugelink.planning.conflict import Conflict
    from gaugelink.planning.plan import Depth, Plan, Put
    from gaugelink.planning.task import Cylinder, Deed, Task
    from gaugelink.planning.together import Common

_DEPTH_OF: Final[dict[Deed, Step]] = {
    "reface valve": "reface valve",
    "grind tip": "grind tip",
    "fit insert": "cut seat",
    "cut seat": "cut seat",
}


def document(
    task: Task,
    found: Plan | Conflict,
    others: int,
    budget: Budget | None = None,
) -> dict[str, Any]:
    """Make the document.

    Args:
        task: the head.
        found: its plan, or why there is none.
        others: how many alternatives to look for.
        budget: what is left of the time that the plan was found in.
    """
    from gaugelink.planning.conflict import Conflict  # noqa: PLC0415  scipy comes with it when used

    base: dict[str, Any] = {"cost": None, "at_least": False, "currency": task.shop.currency,
                            "optimal": False, "partial": False, "valves": [],
                            "operations": [], "parts": [], "remeasure": [],
                            "barred": list(barred(task)),
                            "unpriced": list(task.shop.unpriced)}  # fmt: skip
    if isinstance(found, Conflict):
        named = [{"valve": place, "limit": name} for place, name in found.limits]
        return base | {"conflict": named, "smallest": found.smallest,
                       "irreducible": found.irreducible}  # fmt: skip
    more = Alternatives((), complete=True)
    if others:
        more = alternatives(task, found, most=others, budget=budget)
    order = work_order(task, found)
    used = [deed for deed in DEEDS if any(deed in put.way.deeds for put in found.puts)
            or (deed == "skim" and found.skim)]  # fmt: skip
    whys = {(line.deed, line.place): line.why for line in order.lines}
    return base | {
        "cost": found.cents / 100,
        "at_least": order.at_least,
        "optimal": found.optimal,
        "gap": found.gap,
        "partial": bool(found.unproved or task.cracked or task.shop.unpriced),
        "valves": [_valve(task, put, left) for put, left in zip(
            found.puts, left_afterwards(task, found), strict=True)],
        "cylinders": [_cylinder(one, found) for one in task.cylinders],
        "together": [common_document(one) for one in in_common(task, found)],
        "operations": [row | {"why": whys[row["operation"], row["valve"]]}
                       for deed in used for row in _operations(task, found, deed)],
        "parts": [{"part": one.part, "kind": one.kind, "count": one.quantity}
                  for one in sorted(order.parts, key=lambda one: (one.part, one.kind))],
        "remeasure": [{"valve": one.place, "characteristic": one.characteristic,
                       "because": one.because, "before_seats": one.before_seats}
                      for one in order.remeasure],
        "missing": [{"valve": place, "reading": name} for place, name in found.unproved],
        "alternatives": [
            {"cost": other.cents / 100, "differs": _differs(task, found, other)}
            for other in more.plans
        ],
        "alternatives_complete": more.complete,
        "cautions": list(order.cautions),
    }  # fmt: skip


def in_common(task: Task, found: Plan) -> tuple[Common, ...]:
    """Reckon what places have in common once a plan is done."""
    sunk = {}
    for put in found.puts:
        depths = [depth.pm for step, depth in put.depths.items() if step in SINKS]
        sunk[put.way.place] = put.way.sunk + put.way.lap_pm + sum(depths)
    return together(task, sunk, found.skim.pm if found.skim else 0)


def common_document(one: Common) -> dict[str, Any]:
    """Write a figure that several places make together."""
    lower, upper = (None if end is None else float(end) for end in (one.lower, one.upper))
    return {"name": one.name, "unit": one.unit, "value": float(one.value), "min": lower,
            "max": upper, "words": shown(one)}  # fmt: skip


def _mm(pm: int) -> float:
    return pm / 1e9


def _depth(depth: Depth) -> dict[str, float]:
    return {"depth_mm": _mm(depth.pm), "least_mm": _mm(depth.least_pm),
            "most_mm": _mm(depth.most_pm)}  # fmt: skip


def _valve(task: Task, put: Put, left: Mapping[Step, Allowance]) -> dict[str, Any]:
    way = put.way
    return {
        "valve": task.places[way.place].name,
        "fitted": "new" if way.valve < 0 else task.places[way.valve].name,
        "steps": list(way.deeds),
        "oversize": way.oversize.name if way.oversize else None,
        "shims_mm": [_mm(pm) for pm in way.stack.pieces],
        "cost": way.cents / 100,
        "expected_mm": {name: _mm(pm) for name, pm in put.figures.items()},
        "left": [
            {"step": step, "most_mm": _mm(one.most_pm), "held_by": one.held_by}
            for step, one in left.items()
            if one.most_pm is not None
        ],
    }


def _cylinder(cylinder: Cylinder, found: Plan) -> dict[str, Any]:
    """Foretell what stands out of a cylinder: it does so further by as much as is skimmed."""
    taken = found.skim.pm if found.skim else 0
    return {
        "cylinder": cylinder.name,
        "expected_mm": {name: _mm(pm + taken) for name, pm in cylinder.readings.items()},
    }


def _operations(task: Task, found: Plan, deed: Deed) -> Iterator[dict[str, Any]]:
    if deed == "skim":
        if found.skim:
            yield {"operation": deed, "valve": "", **_depth(found.skim)}
        return
    for put in found.puts:
        way = put.way
        if deed not in way.deeds:
            continue
        row: dict[str, Any] = {"operation": deed, "valve": task.places[way.place].name}
        if deed in _DEPTH_OF:
            row |= _depth(put.depths[_DEPTH_OF[deed]])
        elif deed == "lap" and way.lap_pm:
            row["depth_mm"] = _mm(way.lap_pm)
        elif deed == "move valve":
            row["from"] = task.places[way.valve].name
        elif deed == "ream guide" and way.oversize:
            row["oversize"] = way.oversize.name
        elif deed == "shim":
            row["shims_mm"] = [_mm(pm) for pm in way.stack.pieces]
        yield row


def _differs(task: Task, found: Plan, other: Plan) -> list[str]:
    """Say what another plan does instead."""

    def steps(put: Put) -> list[str]:
        theirs = task.places[max(put.way.valve, 0)].name
        return [f"the valve of {theirs}" if deed == "move valve" else str(deed)
                for deed in put.way.deeds]  # fmt: skip

    told = []
    for mine, its in zip(found.puts, other.puts, strict=True):
        one, two = steps(mine), steps(its)
        less, more = [step for step in one if step not in two], [s for s in two if s not in one]
        if less or more:
            name = task.places[mine.way.place].name
            told.append(f"{name}: {', '.join(more) or 'nothing'} instead of "
                        f"{', '.join(less) or 'nothing'}")  # fmt: skip
    if bool(found.skim) != bool(other.skim):
        told.append("the face is skimmed" if other.skim else "the face is not skimmed")
    return told


def text(task: Task, told: dict[str, Any]) -> Iterator[str]:
    """Give the lines for people, in the order of the trade."""
    money = task.shop.currency
    yield from told["barred"]
    if told["unpriced"]:
        yield "Without a price:"
        yield from (f"  {words}" for words in told["unpriced"])
    if told["cost"] is None:
        yield "No offered work keeps these limits together:"
        if told["conflict"]:
            yield f"  ({conflict_words(told)})"
        yield from (f"  {one['valve'] or 'head'}: {one['limit']}" for one in told["conflict"])
        if not told["conflict"]:
            yield "  none: even without limits a place is left that no offered work can do"
        return
    word = "the cheapest" if told["optimal"] else (
        f"at most {100 * told['gap']:.1f} % could be saved by a better plan")  # fmt: skip
    if told["optimal"] and told["unpriced"]:
        word += " of what has a price"
    least = "at least " if told["at_least"] else ""
    yield f"Cost: {least}{told['cost']:.2f} {money}, {word}"
    if told["missing"]:
        yield "Partial: made of what is known; measure what is named below, and plan again"
    elif told["unpriced"]:
        yield "Partial: made of what has a price; give the others, and plan again"
    for deed in DEEDS:
        rows = [row for row in told["operations"] if row["operation"] == deed]
        if rows:
            yield f"{deed.capitalize()}:"
            yield from (f"  {_row(row)}{_why(row)}" for row in rows)
    unknown = {one["valve"] for one in told["missing"]}
    left = [one["valve"] for one in told["valves"]
            if not one["steps"] and one["valve"] not in unknown]  # fmt: skip
    if left:
        yield f"Nothing to do: {', '.join(left)}"
    yield "Parts:"
    yield from (f"  {one['count']} {one['part']} {one['kind']}".rstrip() for one in told["parts"])
    if told["together"]:
        yield "In common, after the work:"
        yield from (f"  {one['name']}: {one['words']}{_limit(one)}" for one in told["together"])
    if told["remeasure"]:
        yield "Measure again, gauge by gauge:"
        yield from (f"  {what}: {', '.join(where)}" for what, where in again(told))
    if told["missing"]:
        yield "Not decided until these are measured:"
        yield from (f"  {one['valve'] or 'head'}: {one['reading']}" for one in told["missing"])
    for one in told["alternatives"]:
        more = one["cost"] - told["cost"]
        yield f"Or, for {one['cost']:.2f} {money} ({more:+.2f}):"
        yield from (f"  {line}" for line in one["differs"])
    if words := more_words(told):
        yield words
    yield "Mind:"
    yield from (f"  {line}" for line in told["cautions"])


def _row(row: dict[str, Any]) -> str:
    told: str = row["valve"] or "face"
    if "from" in row:
        told += f", takes the valve of {row['from']}"
    if "oversize" in row:
        told += f", to {row['oversize']}"
    if "shims_mm" in row:
        told += f", {' + '.join(f'{high:g}' for high in row['shims_mm'])} mm"
    if row["operation"] == "fit insert":
        # Below 0: the seat lies higher than it did.
        turned = {"depth_mm": -row["depth_mm"], "least_mm": -row["most_mm"],
                  "most_mm": -row["least_mm"]}  # fmt: skip
        return f"{told}, cut until the seat lies {_span(turned)} higher than now"
    if "least_mm" in row:
        return f"{told} {_span(row)}"
    if "depth_mm" in row:
        return f"{told}, about {row['depth_mm']:g} mm"
    return told


def _why(row: dict[str, Any]) -> str:
    return f" (why: {row['why']})" if row["why"] else ""


def _limit(one: dict[str, Any]) -> str:
    ends = [f"{key} {one[key]:g}" for key in ("min", "max") if one[key] is not None]
    return f" ({', '.join(ends)})" if ends else ""


def _span(row: dict[str, Any]) -> str:
    """Show a depth in micrometres, rounded towards the inside of what it may be."""
    pm = {key: round(row[f"{key}_mm"] * 1e9) for key in ("depth", "least", "most")}
    least, most = -(-pm["least"] // 10**6), pm["most"] // 10**6
    if least > most:  # no whole micrometre lies between
        return f"{row['depth_mm']:.6f} mm"
    depth = min(max(round(pm["depth"] / 10**6), least), most)
    return f"{depth / 1000:.3f} mm ({least / 1000:.3f} to {most / 1000:.3f})"

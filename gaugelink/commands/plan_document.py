"""What `gaugelink plan` tells: one document, and the text that is printed of it."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any, Final

from gaugelink.head import CHARACTERISTICS
from gaugelink.planning.allowances import allowances
from gaugelink.planning.plan import alternatives
from gaugelink.planning.task import DEEDS
from gaugelink.work import WORK, Operation

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.planning.allowances import Step
    from gaugelink.planning.plan import Conflict, Depth, Plan, Put
    from gaugelink.planning.task import Cylinder, Deed, Task

DONE: Final[dict[Deed, Operation]] = {
    "replace guide": "guide replaced",
    "ream guide": "guide reamed",
    "replace valve": "valve replaced",
    "move valve": "valve moved",
    "reface valve": "valve refaced",
    "grind tip": "tip ground",
    "fit insert": "insert fitted",
    "cut seat": "seat cut",
    "skim": "face skimmed",
    "lap": "seat lapped",
    "replace spring": "spring changed",
    "shim": "shim changed",
}
"""What a step of a plan is called once it is done."""

_DEPTH_OF: Final[dict[Deed, Step]] = {
    "reface valve": "reface valve",
    "grind tip": "grind tip",
    "fit insert": "cut seat",
    "cut seat": "cut seat",
}
_PARTS: Final[dict[Deed, str]] = {
    "replace guide": "guide",
    "replace valve": "valve",
    "fit insert": "insert",
    "replace spring": "spring",
}

_LIFTED: Final = "retainer-to-seal"

CAUTIONS: Final[dict[Deed, str]] = {
    "replace guide": "A bore closes when its guide is pressed in: ream to size and measure it "
    "before any seat work. Hot heads burn; too tight a fit cracks a boss.",
    "ream guide": "Ream before any seat work: the seat is cut on the guide's axis.",
    "reface valve": "Never grind or cut a sodium-filled valve through. Scrap a valve whose margin "
    "falls short, whatever the plan says.",
    "grind tip": "Never grind through the hardened layer of a tip; the maker says how much.",
    "fit insert": "Heated heads and chilled inserts burn; dry ice displaces air in a small room.",
    "cut seat": "Take gauge leads off before a machine is started.",
    "skim": "Valves, injectors and prechambers stand prouder after a skim: of their room to a "
    "piston a plan knows only the limits that it was given. Hoist the head; its edges cut.",
    "lap": "Compound is an abrasive: keep it off guides, gauges and bearings, and wash twice.",
    "replace spring": "Springs under a compressor hold hundreds of newtons: guard face and hands.",
    "shim": "Shims bring back a height, never a tired spring.",
    "move valve": "Only where the maker lets valves change places, and before seats are finished.",
}
MAKER: Final = (
    "The manuals of the engine's and the machine's maker come first; never go beyond their limits "
    "because arithmetic says that a part could be saved."
)


def document(
    task: Task, found: Plan | Conflict, others: int, seconds: float = 60.0
) -> dict[str, Any]:
    """Make the document.

    Args:
        task: the head.
        found: its plan, or why there is none.
        others: how many alternatives to look for.
        seconds: the longest that the solver may take for each of them.
    """
    from gaugelink.planning.plan import Conflict  # noqa: PLC0415  scipy comes with it when used

    base: dict[str, Any] = {"cost": None, "currency": task.shop.currency, "optimal": False,
                            "partial": False, "valves": [], "operations": [], "parts": [],
                            "remeasure": []}  # fmt: skip
    if isinstance(found, Conflict):
        named = [{"valve": place, "limit": name} for place, name in found.limits]
        return base | {"conflict": named, "smallest": found.smallest}
    used = [deed for deed in DEEDS if any(deed in put.way.deeds for put in found.puts)
            or (deed == "skim" and found.skim)]  # fmt: skip
    return base | {
        "cost": found.cents / 100,
        "optimal": found.optimal,
        "gap": found.gap,
        "partial": bool(found.unproved),
        "valves": [_valve(task, put) for put in found.puts],
        "cylinders": [_cylinder(one, found) for one in task.cylinders],
        "operations": [row for deed in used for row in _operations(task, found, deed)],
        "parts": _parts(task, found),
        "remeasure": list(_remeasure(task, found)),
        "missing": [{"valve": place, "reading": name} for place, name in found.unproved],
        "alternatives": [
            {"cost": other.cents / 100, "differs": _differs(task, found, other)}
            for other in (
                alternatives(task, found, most=others, seconds=seconds) if others else ()
            )
        ],
        "cautions": [*(CAUTIONS[deed] for deed in used if deed in CAUTIONS), MAKER],
    }  # fmt: skip


def _mm(pm: int) -> float:
    return pm / 1e9


def _depth(depth: Depth) -> dict[str, float]:
    return {"depth_mm": _mm(depth.pm), "least_mm": _mm(depth.least_pm),
            "most_mm": _mm(depth.most_pm)}  # fmt: skip


def _valve(task: Task, put: Put) -> dict[str, Any]:
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
            for step, one in allowances(put.seated).items()
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


def _parts(task: Task, found: Plan) -> list[dict[str, Any]]:
    """Count the parts, stem seals always: they are new after every dismantling."""
    count: Counter[tuple[str, str]] = Counter()
    for put in found.puts:
        kind = task.places[put.way.place].kind
        for deed, part in _PARTS.items():
            if deed in put.way.deeds:
                over = put.way.oversize if part == "valve" else None
                count[f"{part} {over.name}" if over else part, kind] += 1
        for pm in put.way.stack.pieces:
            count[f"shim {_mm(pm):g} mm", ""] += 1
        count["stem seal", kind] += 1
    return [{"part": part, "kind": kind, "count": number}
            for (part, kind), number in sorted(count.items())]  # fmt: skip


def _remeasure(task: Task, found: Plan) -> Iterator[dict[str, Any]]:
    """List every reading that the plan's own work makes stale: valves, cylinders, the head."""
    skimmed: Operation = "face skimmed"
    head = WORK[skimmed].stale if found.skim else ()
    for put in found.puts:
        place = task.places[put.way.place]
        stale = {name: DONE[deed] for deed in reversed(put.way.deeds)
                 for name in WORK[DONE[deed]].stale}  # fmt: skip
        for name, known in CHARACTERISTICS.items():
            if known.of == "valve" and (name in stale or name in head):
                yield {"valve": place.name, "characteristic": name,
                       "because": stale.get(name, skimmed)}  # fmt: skip
        # The retainer follows the valve and its tip's height; nobody asks for it unless it counts.
        if _LIFTED in place.readings and "tip height" in stale:
            moved = next((deed for deed in put.way.deeds if "tip height" in WORK[DONE[deed]].stale
                          and deed != "grind tip"), None)  # fmt: skip
            if moved:
                yield {"valve": place.name, "characteristic": _LIFTED, "because": DONE[moved]}
    for cylinder in task.cylinders if found.skim else ():
        for name in cylinder.readings:
            yield {"valve": cylinder.name, "characteristic": name, "because": skimmed}
    for name in head:
        if CHARACTERISTICS[name].of == "head":
            yield {"valve": "", "characteristic": name, "because": skimmed}


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
    if told["cost"] is None:
        yield "No offered work keeps these limits together:"
        if told["conflict"]:
            yield "  (no smaller set is in conflict)" if told["smallest"] else (
                "  (each of them is needed for that; there may be a smaller set)")  # fmt: skip
        yield from (f"  {one['valve'] or 'head'}: {one['limit']}" for one in told["conflict"])
        if not told["conflict"]:
            yield "  none: even without limits a place is left that no offered work can do"
        return
    word = "the cheapest" if told["optimal"] else (
        f"at most {100 * told['gap']:.1f} % could be saved by a better plan")  # fmt: skip
    least = "at least " if told["missing"] else ""
    yield f"Cost: {least}{told['cost']:.2f} {money}, {word}"
    if told["partial"]:
        yield "Partial: made of what is known; measure what is named below, and plan again"
    for deed in DEEDS:
        rows = [row for row in told["operations"] if row["operation"] == deed]
        if rows:
            yield f"{deed.capitalize()}:"
            yield from (f"  {_row(row)}" for row in rows)
    left = [one["valve"] for one in told["valves"] if not one["steps"]]
    if left:
        yield f"Nothing to do: {', '.join(left)}"
    yield "Parts:"
    yield from (f"  {one['count']} {one['part']} {one['kind']}".rstrip() for one in told["parts"])
    if told["remeasure"]:
        yield "Measure again, after the work:"
        names: dict[str, list[str]] = {}
        for one in told["remeasure"]:
            names.setdefault(one["valve"] or "head", []).append(one["characteristic"])
        yield from (f"  {valve}: {', '.join(what)}" for valve, what in names.items())
    if told["missing"]:
        yield "Not decided until these are measured:"
        yield from (f"  {one['valve'] or 'head'}: {one['reading']}" for one in told["missing"])
    for one in told["alternatives"]:
        more = one["cost"] - told["cost"]
        yield f"Or, for {one['cost']:.2f} {money} ({more:+.2f}):"
        yield from (f"  {line}" for line in one["differs"])
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


def _span(row: dict[str, Any]) -> str:
    """Show a depth in micrometres, rounded towards the inside of what it may be."""
    pm = {key: round(row[f"{key}_mm"] * 1e9) for key in ("depth", "least", "most")}
    least, most = -(-pm["least"] // 10**6), pm["most"] // 10**6
    if least > most:  # no whole micrometre lies between
        return f"{row['depth_mm']:.6f} mm"
    depth = min(max(round(pm["depth"] / 10**6), least), most)
    return f"{depth / 1000:.3f} mm ({least / 1000:.3f} to {most / 1000:.3f})"

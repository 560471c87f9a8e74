"""Make plausible states for the bench page: twelve valves, mid-job. Every figure is invented.

The head is the invented irrigation-pump diesel of the demonstration, its limits are invented too.
The numbers come from a seeded generator, so the same call gives the same document. Verdicts are
reached here by the plainest guarded rule (two standard uncertainties), so that all three words
occur; a page only draws what it is given.

Run as a program it serves the dashboards with such a state that moves, so that a page can be
worked on without a bench: ``python tests/web_sample.py [PORT]``.
"""

from __future__ import annotations

import asyncio
import math
import random
import sys
from typing import Any

from gaugelink import content

JSON = dict[str, Any]
FACTOR = 2.12
"""Travel over clearance for a guide of 50 mm and a reach of 28 mm: 1 + 2 * 28 / 50."""
DASHBOARDS = content.folders("dashboards")[-1]
STATIONS = ("top", "middle", "bottom")
DIRECTIONS = ("along", "across")
VALVES = [f"{cylinder}{kind}" for cylinder in range(1, 7) for kind in "IE"]
GAUGES: list[JSON] = [
    {"id": "M1", "kind": "micrometer", "title": "Micrometer 0-25 mm", "serial": "INV-40117"},
    {"id": "B1", "kind": "bore gauge", "title": "Two-point bore gauge", "serial": "INV-2208"},
    {"id": "D1", "kind": "indicator", "title": "Digital indicator 12.5 mm", "serial": "INV-7733"},
    {"id": "T1", "kind": "depth gauge", "title": "Depth gauge with bridge", "serial": "INV-0915"},
    {"id": "C1", "kind": "caliper", "title": "Caliper 150 mm", "serial": "INV-5512"},
]
OPERATIONS = (("guide replaced", "valves"), ("seat ground", "valves"), ("face skimmed", "head"),
              ("gauge found out", "gauge"))  # fmt: skip
OVERSIZES = {"guide replaced": [{"name": "+0.1", "valves": ["2E", "3E", "5E"]},
                                {"name": "+0.2", "valves": ["3E"]}]}  # fmt: skip
DEPTHS = {"seat ground": "seat", "face skimmed": "head face"}
CLEARANCE_WORDS = "lift 8 mm, new valve: service max 0.100 mm"


def scale(value: float | None, u: float | None, lower: float | None, upper: float | None) -> JSON:
    """Make a scale with its verdict."""
    word = None
    if value is not None:
        reach = 2 * (u or 0)
        low = math.inf if lower is None else value - lower
        high = math.inf if upper is None else upper - value
        room = min(low, high)
        word = "within" if room >= reach else "outside" if room < -reach else "undecided"
    return {"lower_mm": lower, "upper_mm": upper, "value_mm": value, "u_mm": u, "verdict": word}


def reading(place: int, valve: str | None, what: str, **more: Any) -> JSON:
    """Make a reading; what is not given is plain."""
    minute, second = divmod(place * 21, 60)
    doc = {
        "place": place, "kind": "reading", "valve": valve, "characteristic": what, "station": "",
        "direction": "", "text": "", "unit": "mm", "gauge": "M1", "operator": "R. Invented",
        "utc": f"2026-11-25T{8 + minute // 60:02d}:{minute % 60:02d}:{second:02d}.402117Z",
        "raw": "", "state": "good", "reason": "", "doubt": "", "scale": None,
    } | more  # fmt: skip
    if doc["raw"] == "" and doc["text"]:
        doc["raw"] = f"+  {doc['text']} MM\\r"
    return doc


def verdict(valve: str | None, what: str, value: float, u: float, **more: Any) -> JSON:
    """Make a verdict out of a value and its limits (lower, upper)."""
    lower, upper = more.pop("lower", None), more.pop("upper", None)
    drawn = scale(value, u, lower, upper)
    doc = {
        "valve": valve, "characteristic": what, "method": "", "text": f"{value:.3f}",
        "unit": "mm", "u_text": f"{u * 1000:.1f} um", "verdict": drawn["verdict"],
        "probability": None, "limit": "", "source": "p. 12", "reason": "", "places": [],
        "scale": drawn,
    }  # fmt: skip
    return doc | more


def stem_limit(valve: str) -> tuple[float, str]:
    """Give the invented lower limit of a stem, and its words."""
    if valve.endswith("I"):
        return 7.935, "service min 7.935 mm (0.3124 in)"
    return 7.920, "service min 7.920 mm (0.3118 in)"


def sweep(
    valve: str = "3E",
    direction: str = "along",
    *,
    until_s: float = 12.0,
    clearance_um: float = 96.0,
    place: int | None = None,
) -> JSON:
    """Make a rock sweep as it looks after so many seconds; done after 12.

    A rounded square wave: ramps of 0.4 s between plateaus of 0.6 s, five full rocks, a little
    drift, and one end in the middle that does not reach the wall.
    """
    noise = random.Random(7)
    travel = clearance_um * FACTOR
    points: list[list[float]] = []
    plateaus: list[JSON] = []
    for n in range(round(min(until_s, 12.0) * 50)):
        t = n / 50
        half, within = divmod(t, 1.0)
        high = int(half) % 2
        short = 0.82 if half == 4 else 1.0
        before = (-0.82 if half == 5 else -1.0) if high else 1.0
        target = (1.0 if high else -1.0) * short
        ramp = min(within / 0.4, 1.0)
        level = before + (target - before) * (0.5 - 0.5 * math.cos(math.pi * ramp))
        um = 500 + level * travel / 2 + 0.9 * t + noise.gauss(0, 0.7)
        points.append([round(t, 3), round(um)])
    for half in range(int(min(until_s, 12.0))):
        if half + 1 > until_s:
            break
        side = "high" if half % 2 else "low"
        good = half != 4
        level = 500 + (0.5 if side == "high" else -0.5) * travel * (1 if good else 0.82)
        plateaus.append({
            "t0_s": half + 0.42, "t1_s": half + 0.98, "level_um": level + 0.9 * (half + 0.7),
            "side": side, "used": good,
            "why": "" if good else "it does not reach the wall as its neighbours do",
        })  # fmt: skip
    done = until_s >= 12
    word = scale(clearance_um, 2.5, None, 100.0)["verdict"] if done else None
    return {
        "place": place if done else None, "valve": valve, "direction": direction, "gauge": "D1",
        "running": not done, "unit": "mm", "points": points, "plateaus": plateaus,
        "travel_um": travel if done else None, "travel_u_um": 3.8 if done else None,
        "factor": f"{FACTOR:.2f}", "clearance_um": clearance_um if done else None,
        "clearance_u_um": 2.5 if done else None, "limit_um": 100.0, "limit_of": "clearance",
        "limit_words": CLEARANCE_WORDS, "verdict": word, "lift": "8 mm", "valve_used": "new",
        "full_rocks": max(len(plateaus) // 2 - 1, 0), "usable": True if done else None,
        "flags": [{"code": "short-end", "words": "One low end misses the others; it is left out."}]
        if done else [],
        "words": [
            "Five full rocks.",
            "The travel is the distance between high and low plateaus, cleared of drift.",
            "The indicator feels 28 mm above a guide 50 mm long: travel = 2.12 x clearance.",
        ]
        if done else ["Rock the valve until five full rocks are counted."],
    }  # fmt: skip


def job_so_far(seed: int = 5, measured: int = 5) -> tuple[list[JSON], list[JSON]]:
    """Make readings (newest first) and verdicts of the first so many valves."""
    draw = random.Random(seed)
    readings: list[JSON] = []
    verdicts: list[JSON] = []
    place = 3
    for n, valve in enumerate(VALVES[:measured]):
        lower, words = stem_limit(valve)
        wear = {1: 0.027, 3: 0.037, 7: 0.0345, 10: 0.05}.get(n, 0.012)
        least, places = math.inf, []
        for station in STATIONS:
            for direction in DIRECTIONS:
                value = lower + 0.036 - wear + draw.uniform(-0.002, 0.002)
                value -= 0.0015 if station == "middle" else 0
                place += 1
                if (n, station, direction) == (2, "middle", "along"):
                    readings.append(
                        reading(place, valve, "stem diameter", station=station,
                                direction=direction, text="7.694", state="struck out",
                                reason="dirt or oil on the part")
                    )  # fmt: skip
                    place += 1
                places.append(place)
                least = min(least, round(value, 3))
                readings.append(
                    reading(place, valve, "stem diameter", station=station, direction=direction,
                            text=f"{value:.3f}", scale=scale(round(value, 3), 0.0019, lower, None))
                )  # fmt: skip
        verdicts.append(
            verdict(valve, "stem diameter", least, 0.0019, lower=lower, limit=words,
                    reason="smallest of 6 readings", places=places)
        )  # fmt: skip
        mm = 0.0
        for direction in DIRECTIONS:
            clearance = {1: 97.0, 3: 131.0}.get(n, 58.0) + draw.uniform(-4, 4)
            if direction == "along":
                clearance -= 14
            place += 1
            mm = round(clearance / 1000, 4)
            readings.append(
                reading(place, valve, "guide clearance", kind="sweep", direction=direction,
                        text="612 samples", gauge="D1", raw="6120 bytes")
            )  # fmt: skip
        verdicts.append(
            verdict(valve, "guide clearance", mm, 0.0025, upper=0.1, method="rock",
                    text=f"{mm:.4f}", limit=CLEARANCE_WORDS, source="p. 13", places=[place],
                    reason="the larger of along and across")
        )  # fmt: skip
        depth = round(0.92 + draw.uniform(-0.15, 0.15) + (0.52 if n == 8 else 0), 2)
        place += 1
        readings.append(
            reading(place, valve, "stand-down", text=f"{depth:.2f}", gauge="T1",
                    scale=scale(depth, 0.0085, 0.7, 1.4))
        )  # fmt: skip
        verdicts.append(
            verdict(valve, "stand-down", depth, 0.0085, lower=0.7, upper=1.4, text=f"{depth:.2f}",
                    limit="0.70 to 1.10 mm, service max 1.40 mm", source="p. 15",
                    reason="the reading", places=[place])
        )  # fmt: skip
    return readings[::-1], verdicts


def valves_so_far(verdicts: list[JSON], measured: int, *, skipped: str | None = None) -> list[JSON]:
    """Make the head's valves: the first so many done, the next one being measured."""
    order = ["within", "undecided", "outside"]
    valves = []
    for n, name in enumerate(VALVES):
        own = [one for one in verdicts if one["valve"] == name]
        worst = max(own, key=lambda one: order.index(one["verdict"]), default=None)
        state = worst["verdict"] if worst and n < measured else "open"
        done = 16 if n < measured else 0
        if n == measured:
            state, done = "measuring", 4
        if name == skipped:
            state, worst = "skipped", None
        kind = "intake" if name[1] == "I" else "exhaust"
        valves.append({"name": name, "cylinder": int(name[0]), "kind": kind, "state": state,
                       "done": done, "of": 16, "worst": worst})  # fmt: skip
    return valves


def face(done: int = 0) -> JSON:
    """Make the fire face's grid with the first so many points read."""
    points = []
    for n in range(18):
        column, row = n % 6, n // 6
        value = round(9 * math.sin(column) + 4 * row) if n < done else None
        points.append({"station": f"{'ABC'[row]}{column + 1}", "x_mm": 20 + 136 * column,
                       "y_mm": 12 + 83 * row, "value_um": value})  # fmt: skip
    return {"length_mm": 720, "width_mm": 190, "points": points}


def faults_of(verdicts: list[JSON]) -> list[JSON]:
    """Say whose fault the clearances are that are not within: the first one's is not sure."""
    over = [(number, one) for number, one in enumerate(verdicts)
            if one["method"] and one["verdict"] != "within"]  # fmt: skip
    doubt = ("more travel than the bore readings explain: a bell-mouth between the stations, or a "
             "guide loose in the head")  # fmt: skip
    return [
        {
            "verdict": number, "valve": one["valve"], "method": one["method"], "by": "sizes",
            "answer": "valve", "probability": 0.97, "sure": n > 0,
            "probabilities": {"none": 0.01, "valve": 0.97, "guide": 0.0, "either": 0.02,
                              "both": 0.0},
            "words": "valve 97 %: a new valve alone brings it within",
            "remarks": [] if n else [doubt],
        }
        for n, (number, one) in enumerate(over)
    ]  # fmt: skip


def deciders_of(verdicts: list[JSON]) -> list[JSON]:
    """Say what would decide the verdicts that are undecided."""
    return [
        {
            "verdict": number, "valve": one["valve"], "characteristic": one["characteristic"],
            "method": one["method"], "more": None, "u_needed_um": 0.8, "gauges": ["M2"],
            "words": "more readings cannot decide it; a gauge with u of 0.8 um or less can: M2",
        }
        for number, one in enumerate(verdicts)
        if one["verdict"] == "undecided"
    ]  # fmt: skip


def next_step(part: str, valve: str | None = "3E", **more: Any) -> JSON:
    """Make a step for each of the line drawings."""
    lower, words = stem_limit(valve or "1I")
    doc: JSON = {
        "step": 84, "valve": valve, "characteristic": "stem diameter", "station": "middle",
        "direction": "across", "gauge": "M1", "gauge_kind": "micrometer", "own_button": False,
        "sweep": False, "part": part,
        "words": "Exhaust valve of cylinder 3: stem diameter, middle, across the head",
        "limit_words": words, "lower_mm": lower, "upper_mm": None, "again": "", "expected": "",
    }  # fmt: skip
    special: dict[str, JSON] = {
        "guide": {"characteristic": "guide bore", "station": "bottom", "direction": "along",
                  "gauge": "B1", "gauge_kind": "bore gauge", "lower_mm": None, "upper_mm": 8.04,
                  "limit_words": "service max 8.040 mm (0.3165 in)",
                  "words": "Exhaust guide of cylinder 3: bore, bottom, along the head"},
        "rock": {"characteristic": "guide clearance", "station": "", "direction": "along",
                 "gauge": "D1", "gauge_kind": "indicator", "sweep": True, "lower_mm": None,
                 "upper_mm": 0.1, "limit_words": CLEARANCE_WORDS,
                 "words": "Exhaust valve of cylinder 3: rock it along the head, lifted 8 mm"},
        "stand-down": {"characteristic": "stand-down", "station": "", "direction": "",
                       "gauge": "T1", "gauge_kind": "depth gauge", "lower_mm": 0.7,
                       "upper_mm": 1.4, "limit_words": "0.70 to 1.10 mm, service max 1.40 mm",
                       "words": "Exhaust valve of cylinder 3: stand-down below the fire face"},
        "spring": {"characteristic": "spring free length", "station": "free length",
                   "direction": "", "gauge": "C1", "gauge_kind": "caliper", "lower_mm": 47.1,
                   "limit_words": "service min 47.10 mm (1.854 in)",
                   "words": "Spring of exhaust valve 3: free length"},
        "face": {"valve": None, "characteristic": "head-face flatness", "station": "B3",
                 "direction": "", "gauge": "D1", "gauge_kind": "indicator", "lower_mm": None,
                 "upper_mm": 0.05, "limit_words": "service max 0.050 mm (0.002 in)",
                 "words": "Fire face: height at point B3"},
        "other": {"characteristic": "margin", "station": "rim", "direction": "", "gauge": "C1",
                  "gauge_kind": "caliper", "lower_mm": 0.8, "limit_words": "service min 0.80 mm",
                  "words": "Exhaust valve of cylinder 3: margin"},
    }  # fmt: skip
    return doc | special.get(part, {}) | more


def state(part: str = "stem", measured: int = 5, **more: Any) -> JSON:
    """Make a state of the bench in the middle of a job."""
    readings, verdicts = job_so_far(measured=measured)
    valves = valves_so_far(verdicts, measured)
    gauges = [
        gauge | {"driver": "signed-line", "port": f"/dev/ttyUSB{n}", "state": "here", "link": "",
                 "text": "", "unit": "mm", "u_text": "1.9 um", "calibration_due": "2027-03-31"}
        for n, gauge in enumerate(GAUGES)
    ]  # fmt: skip
    return {
        "version": 17,
        "job": {
            "name": "D-0042", "head": "Demo irrigation-pump diesel, six cylinders",
            "serial": "INV-77", "sheet": "Demo pump engine, edition 2",
            "source": "invented workshop book, p. 11 to 17", "stage": "as received",
            "operator": "R. Invented", "bench": "bench 1", "invented": True,
            "started": "2026-11-25T07:52:11.402117Z",
        },
        "head": {"cylinders": 6, "kinds": ["intake", "exhaust"], "face": face(8), "valves": valves},
        "progress": {"done": 9 * measured, "of": 126, "skipped": 0},
        "next": next_step(part),
        "live": {"gauge": "M1", "text": "7.965", "unit": "mm", "mode": "actual"},
        "gauges": gauges, "last": readings[0], "readings": readings, "tray": [], "tray_count": 0,
        "forecast": [],
        "question": None,
        "verdicts": verdicts, "order": None, "faults": faults_of(verdicts),
        "deciders": deciders_of(verdicts), "sweep": None,
        "messages": [
            {"level": "warning", "utc": "2026-11-25T08:21:03.100000Z",
             "words": "Gauge C1 was lost and is back on the same port; confirm the place before "
             "the next reading."},
            {"level": "note", "utc": "2026-11-25T08:02:44.900000Z",
             "words": "Reading 19 of M1 came 0.3 s after one with the same figure: taken as one."},
        ],
        "record": {"size": 88, "root": "9f2c" * 16, "log": "demo/record.sqlite"},
        "operations": [
            {
                "name": name,
                "concerns": concerns,
                "depth": DEPTHS.get(name, ""),
                "sizes": OVERSIZES.get(name, []),
                "untold": "standard",
            }
            for name, concerns in OPERATIONS
        ],
        "watching": False,
        "finished": False,
    } | more  # fmt: skip


def sweep_state(until_s: float, **more: Any) -> JSON:
    """Make a state with a sweep that runs, or that is done after 12 s."""
    now = sweep(until_s=until_s, place=88)
    doc = state("rock")
    text = f"{now['points'][-1][1] / 1000:.3f}"
    doc["live"] = {"gauge": "D1", "text": text, "unit": "mm", "mode": "actual"}
    doc["sweep"] = now
    if not now["running"]:
        doc["last"] = reading(88, "3E", "guide clearance", kind="sweep", direction="along",
                              text="600 samples", gauge="D1", raw="6000 bytes")  # fmt: skip
        doc["readings"] = [doc["last"], *doc["readings"]]
        doc["next"] = next_step("rock", direction="across")
    return doc | more


def finished_state() -> JSON:
    """Make the state at the end of a job, with something skipped and something in the tray."""
    doc = state(measured=12)
    doc["head"]["valves"] = valves_so_far(doc["verdicts"], 12, skipped="4I")
    doc["head"]["face"] = face(18)
    doc["verdicts"].append(
        verdict(None, "head-face flatness", 0.037, 0.004, upper=0.05, source="p. 11",
                limit="service max 0.050 mm (0.002 in)", reason="minimum zone of 18 points")
    )  # fmt: skip
    parked = reading(140, None, "", kind="parked", text="24.98", gauge="C1", state="unassigned",
                     reason="came while nothing was asked for")  # fmt: skip
    missing = reading(139, "4I", "stem diameter", kind="skipped", state="skipped",
                      reason="part is missing", text="")  # fmt: skip
    refused = reading(138, "6E", "stem diameter", station="bottom", direction="along",
                      kind="refused", state="refused", text="0.312", unit="in",
                      reason="the gauge was switched to inches")  # fmt: skip
    doc["readings"] = [missing, refused, *doc["readings"]]
    return doc | {
        "finished": True, "next": None, "tray": [parked], "tray_count": 1,
        "progress": {"done": 125, "of": 126, "skipped": 1},
        "record": {"size": 141, "root": "7be1" * 16, "log": "demo/record.sqlite"},
    }  # fmt: skip


def question_state(**more: Any) -> JSON:
    """Make a state in which the value that came last looks like a slip."""
    doc = state()
    why = ("looks like a wrong unit: Outside micrometer shows inches now, and showed millimetres "
           "before; set the unit back and measure again")  # fmt: skip
    parked = reading(89, None, "", kind="parked", text="0.31370", unit="in", gauge="M1",
                     state="unassigned", reason=why)  # fmt: skip
    doc |= {"tray": [parked], "tray_count": 1}
    doc["readings"] = [parked, *doc["readings"]]
    step = doc["next"]["step"]
    doc["question"] = {"place": 89, "step": step, "code": "wrong unit", "words": why}
    return doc | more


def worked_state(valve: str = "3I") -> JSON:
    """Make a state after work on a valve: its stem readings are stale and asked for again."""
    doc = state()
    words = "stale: valve replaced"
    for one in doc["readings"]:
        if one["valve"] == valve and one["characteristic"] == "stem diameter":
            one.update(state="stale", reason=words, scale=None)
    place = f"Intake valve of cylinder {valve[0]}: stem diameter, top, along the head"
    doc["next"] = next_step("stem", valve, again=words, words=place, station="top",
                            direction="along")  # fmt: skip
    return doc


def hostile_state(text: str) -> JSON:
    """Make a state in which every text that comes from elsewhere is this one."""
    doc = sweep_state(12)
    doc["tray_count"] = 1
    doc["tray"] = [reading(99, None, "", kind="parked", text="1.000", state="unassigned")]
    doc["question"] = {"place": 99, "step": 3, "code": "zero", "words": ""}

    def fill(part: Any, key: str = "") -> Any:
        keep = {"utc", "verdict", "state", "kind", "part", "mode", "level", "unit", "name",
                "valve", "limit_of", "side", "factor", "kinds"}  # fmt: skip
        if isinstance(part, dict):
            return {name: fill(value, name) for name, value in part.items()}
        if isinstance(part, list):
            return part if key == "kinds" else [fill(value, key) for value in part]
        return text if isinstance(part, str) and key not in keep else part

    filled: JSON = fill(doc)
    return filled


async def serve(port: int) -> None:
    """Serve the dashboards with a state that moves, until interrupted."""
    from gaugelink.web import Hub, Server, make_app  # noqa: PLC0415 - only when run as a program

    hub = Hub()

    async def act(doc: JSON) -> tuple[int, JSON]:
        print(doc)
        return 200, {"ok": True, "words": f"Sample: {doc['do']} was asked for."}

    async with Server(make_app(hub, act, [DASHBOARDS]), port=port) as server:
        print(f"{server.url} (end it with Ctrl+C)")
        tick = 0
        while True:
            doc = sweep_state((tick % 200) / 10 + 0.1) if tick % 400 < 200 else state()
            if tick % 10 == 0 or doc["sweep"]:
                hub.publish_state(doc)
            figure = 7.965 + 0.002 * math.sin(tick / 7)
            live = doc["live"] if doc["sweep"] else doc["live"] | {"text": f"{figure:.3f}"}
            hub.publish_live(live)
            tick += 1
            await asyncio.sleep(0.1)


if __name__ == "__main__":
    try:
        asyncio.run(serve(int(sys.argv[1]) if len(sys.argv) > 1 else 0))
    except KeyboardInterrupt:
        sys.exit(0)


async def answer(question: dict[str, Any]) -> tuple[int, dict[str, Any]]:
    """Answer what the page that decides asks for."""
    if question["about"] == "plan":
        return 200, {
            "key": "0", "cost": "30.00 EUR", "standing": "the cheapest at these prices",
            "conflict": [], "untouched": ["1I"], "missing": [], "alternatives": [],
            "conflict_words": "", "more_words": "",
            "lines": [{"operation": "replace valve", "done": "valve replaced", "valves": ["3E"],
                       "words": "new valve", "depth": "", "why": "valve burnt"}],
            "valves": [{"valve": "3E", "words": "new valve"}], "parts": ["1 valve exhaust"],
            "remeasure": [{"what": "stem diameter", "words": "3E"}], "cautions": ["Mind."],
            "left_out": [],
            "together": [],
            "barred": [],
        }  # fmt: skip
    if question["about"] == "work":
        if question["depth"] == "0.":
            return 400, {"ok": False, "words": "found '0.'"}
        return 200, {"lines": [f"{question['valves']} stand-down: 1.08 mm \u2192 1.23 mm",
                               "not foretold: seat width"]}  # fmt: skip
    scale = {"lower_mm": 0.9, "upper_mm": 1.6, "value_mm": 1.2, "u_mm": 0.01, "verdict": "within"}
    return 200, {
        "valve": question["valve"], "step": question["step"], "depth_mm": 0.1, "most_mm": 0.4,
        "cost": "11.00 EUR",
        "figures": [{"name": "stand-down", "before": "1.100 mm", "after": "1.200 mm",
                     "moved": "+0.100", "stays": False, "scale": scale}],
        "broken": [], "mended": [], "beyond": [], "cannot": [], "then": [], "unmeasured": [],
        "left": [{"step": "cut seat", "words": "up to 0.300 mm, then stand-down max"}],
    }  # fmt: skip

"""Make a plausible report document: twelve-valve head, 24 rock sweeps. Every figure is invented.

The head is the invented irrigation-pump diesel of the demonstration, its limits are invented too.
The numbers are drawn from a seeded generator, so the same seed gives the same document. Judging is
done here by the plainest form of guarded acceptance (two standard uncertainties), so that all
three verdicts occur; the report only draws what it is given.

Run as a program it writes the sample beside its attachments: ``report_sample.py OUT.pdf``.
"""

from __future__ import annotations

import hashlib
import json
import math
import random
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

JSON = dict[str, Any]
START = datetime(2026, 11, 25, 7, 52, 11, 402117, tzinfo=UTC)
STATIONS = ("top", "middle", "bottom")
DIRECTIONS = ("along", "across")
FACTOR = "2.12"
"""Travel over clearance for a guide of 50 mm and a reach of 28 mm: 1 + 2 * 28 / 50."""

TRAVEL_WORDS = (
    "The travel is the distance between high and low plateaus, each cleared of drift by its "
    "neighbours."
)
CAUTIONS = (
    (
        "This report records and compares measurements; it does not replace the engine "
        "maker's book, local law or a qualified person's judgement."
    ),
    (
        "A verdict is only as good as the limits, the zero of the gauge and the place that was "
        "measured; a person releases the head, not this report."
    ),
    (
        "Never exceed the maker's limits for skimming, shimming or grinding. Clearance between "
        "valve and piston is not looked at here."
    ),
    "Rock and direct clearance answer different questions and are judged apart.",
)

GAUGES: tuple[JSON, ...] = (
    {"id": "M1", "kind": "micrometer", "title": "Micrometer 0-25 mm", "serial": "INV-40117",
     "driver": "signed-line", "u": 1.9, "due": "2027-03-31"},
    {"id": "B1", "kind": "bore gauge", "title": "Two-point bore gauge 6-10 mm",
     "serial": "INV-2208", "driver": "bcd52", "u": 2.4, "due": "2027-01-15"},
    {"id": "D1", "kind": "indicator", "title": "Digital indicator 12.5 mm", "serial": "INV-7733",
     "driver": "status-letters", "u": 2.2, "due": "2027-03-31"},
    {"id": "T1", "kind": "depth gauge", "title": "Depth gauge with bridge", "serial": "INV-0915",
     "driver": "scale24", "u": 8.5, "due": "2026-12-20"},
    {"id": "C1", "kind": "caliper", "title": "Caliper 150 mm", "serial": "INV-5512",
     "driver": "scale24", "u": 12.0, "due": "2027-06-30"},
)  # fmt: skip
U_UM = {gauge["id"]: gauge["u"] for gauge in GAUGES}


def limit_rows() -> list[JSON]:
    """List the invented limits as the report shows them."""
    rows = (
        ("stem diameter", "intake", "", "smallest",
         "new 7.960 to 7.975 mm, service min 7.935 mm (0.3124 in)", "p. 12"),
        ("stem diameter", "exhaust", "", "smallest",
         "new 7.945 to 7.960 mm, service min 7.920 mm (0.3118 in)", "p. 12"),
        ("guide bore", "all", "", "largest",
         "new 8.000 to 8.018 mm, service max 8.040 mm (0.3165 in)", "p. 12"),
        ("guide clearance", "all", "rock", "largest",
         "lift 8 mm, new valve: service max 0.100 mm", "p. 13"),
        ("guide clearance", "all", "direct", "largest", "service max 0.100 mm", "p. 13"),
        ("stand-down", "all", "", "each", "0.70 to 1.10 mm, service max 1.40 mm", "p. 15"),
        ("spring free length", "all", "", "smallest", "service min 47.10 mm (1.854 in)", "p. 17"),
        ("margin", "all", "", "smallest", "service min 0.80 mm (1/32 in)", "p. 14"),
        ("head-face flatness", "head", "", "each", "service max 0.050 mm (0.002 in)", "p. 11"),
    )  # fmt: skip
    keys = ("characteristic", "valves", "method", "judge", "words", "source")
    return [dict(zip(keys, row, strict=True)) for row in rows]


def judge(value: float, u: float, lower: float | None, upper: float | None) -> tuple[str, float]:
    """Judge with a guard band of two standard uncertainties; give verdict and probability."""
    edge = min(
        value - lower if lower is not None else math.inf,
        upper - value if upper is not None else math.inf,
    )
    edge = round(edge, 9)
    probability = 0.5 * math.erfc(-edge / u / math.sqrt(2))
    if edge >= 2 * u:
        return "within", probability
    return ("outside" if edge <= -2 * u else "undecided"), probability


class _Maker:
    """Take invented readings one after the other, as a walk along the head would."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.utc = START
        self.place = 3
        self.readings: list[JSON] = []
        self.verdicts: list[JSON] = []
        self.sweeps: list[JSON] = []

    def stamp(self, seconds: float) -> str:
        self.utc += timedelta(seconds=seconds, microseconds=self.random.randrange(999_999))
        return self.utc.isoformat(timespec="microseconds").replace("+00:00", "Z")

    def reading(
        self, gauge: str, valve: str | None, characteristic: str, value: float, *,
        station: str = "", direction: str = "", places: int = 3, **more: Any,
    ) -> JSON:  # fmt: skip
        self.place += 1
        text = f"{value:.{places}f}"
        digits = text.replace(".", "").lstrip("-").zfill(6)
        raw = {
            "M1": f"+ {text},MM\\r",
            "B1": f"ffff0{digits}{places}0",
            "D1": f"a{text} M=\\x20\\n",
        }.get(gauge, f"{int(digits):06x}")
        made: JSON = {
            "place": self.place, "kind": "reading", "valve": valve,
            "characteristic": characteristic, "station": station, "direction": direction,
            "text": text, "unit": "mm", "gauge": gauge, "operator": "R. Invented",
            "utc": self.stamp(self.random.uniform(4, 14)), "raw": raw, "state": "good",
            "reason": "", "scale": None,
        }  # fmt: skip
        made.update(more)
        self.readings.append(made)
        return made

    def verdict(
        self, valve: str | None, characteristic: str, value: float | None, u_um: float,
        lower: float | None, upper: float | None, limit: str, source: str, reason: str,
        used: list[int], *, method: str = "", places: int = 3,
    ) -> None:  # fmt: skip
        word, probability = ("undecided", None)
        if value is not None:
            word, probability = judge(value, u_um / 1000, lower, upper)
        self.verdicts.append({
            "valve": valve, "characteristic": characteristic, "method": method,
            "text": "" if value is None else f"{value:.{places}f}", "unit": "mm",
            "u_text": f"{u_um:.1f} um", "verdict": word, "probability": probability,
            "limit": limit, "source": source, "reason": reason, "places": used,
            "scale": {"lower_mm": lower, "upper_mm": upper, "value_mm": value,
                      "u_mm": u_um / 1000, "verdict": word},
        })  # fmt: skip

    def size(self, gauge: str, valve: str, what: str, true: float, taper: float) -> list[JSON]:
        made = []
        for step, station in enumerate(STATIONS):
            for direction in DIRECTIONS:
                oval = 0.004 if direction == "across" else 0.0
                sign = -1 if what == "stem diameter" else 1
                value = true + sign * (taper * step / 2 + oval) + self.random.gauss(0, 0.001)
                made.append(self.reading(
                    gauge, valve, what, value, station=station, direction=direction
                ))  # fmt: skip
        return made

    def sweep(self, valve: str, direction: str, travel_um: float) -> float | None:
        """Rock a valve: a rounded square wave with creep, drift and now and then a short end."""
        rng = self.random
        short = valve == "4E" and direction == "along"
        points: list[list[float]] = []
        plateaus: list[JSON] = []
        t, base, drift = 0.0, rng.uniform(900, 1600), rng.uniform(-0.5, 0.7)
        level = base
        for half in range(3 if short else 11):
            side = "high" if half % 2 else "low"
            reached = base + (travel_um if side == "high" else 0) + drift * t + rng.gauss(0, 0.8)
            late = half == 6 and rng.random() < 0.5
            if late:
                reached += 0.3 * travel_um
            ramp, dwell = rng.uniform(0.3, 0.6), rng.uniform(0.5, 0.9)
            begin, count = level, max(2, int(ramp * 16))
            for step in range(count):
                part = 0.5 - 0.5 * math.cos(math.pi * step / count)
                points.append([round(t + step / 16, 4), round(begin + part * (reached - begin))])
            t += count / 16
            hold = int(dwell * 16)
            for step in range(hold):
                creep = 2.0 * math.exp(-step / 3) * (-1 if side == "high" else 1)
                points.append([round(t + step / 16, 4), round(reached + creep + rng.gauss(0, 0.6))])
            plateaus.append({
                "t0_s": round(t + hold / 48, 3), "t1_s": round(t + hold / 16, 3),
                "level_um": round(reached, 1), "side": side, "used": not late,
                "why": "the hand did not reach the wall" if late else "",
            })  # fmt: skip
            t += hold / 16
            level = reached
        if not short and rng.random() < 0.2:
            points[len(points) // 2][1] += 140
        clearance = None if short else travel_um / float(FACTOR)
        word = None if clearance is None else judge(clearance / 1000, 0.0025, None, 0.100)[0]
        left_out = sum(not plateau["used"] for plateau in plateaus)
        words = [TRAVEL_WORDS]
        flags = []
        if left_out:
            flags.append({"code": "short-end", "words": "One end stops short of the others."})
        if short:
            flags.append({"code": "few-rocks", "words": "One full rock; at least three are needed "
                          "for a verdict."})  # fmt: skip
        made = self.reading(
            "D1", valve, "guide clearance", travel_um / 1000, direction=direction, kind="sweep",
            text="" if short else f"{travel_um / 1000:.3f}",
            raw=f"a{base / 1000:.3f} M=\\x20\\n a{base / 1000:.3f} M=\\x20\\n", state="good",
        )  # fmt: skip
        if short:
            made.update(state="not usable", reason="one full rock; at least three are needed")
        self.sweeps.append({
            "place": made["place"], "valve": valve, "direction": direction, "gauge": "D1",
            "running": False, "unit": "mm", "points": points, "plateaus": plateaus,
            "travel_um": None if short else round(travel_um, 1), "travel_u_um": 2.6,
            "factor": FACTOR, "clearance_um": None if clearance is None else round(clearance, 2),
            "clearance_u_um": None if short else 2.5, "limit_um": 100.0, "limit_of": "clearance",
            "limit_words": "service max 0.100 mm", "verdict": word, "lift": "8 mm",
            "valve_used": "new", "full_rocks": (len(plateaus) - 1) // 2, "usable": not short,
            "flags": flags, "words": words,
        })  # fmt: skip
        return clearance


def _valve(make: _Maker, name: str) -> None:
    rng = make.random
    exhaust = name.endswith("E")
    service = 7.920 if exhaust else 7.935
    words = "7.920 mm (0.3118 in)" if exhaust else "7.935 mm (0.3124 in)"
    worn = {"3E": 0.028, "2I": 0.0165, "5E": 0.020}.get(name, rng.uniform(0.002, 0.012))
    stems = make.size("M1", name, "stem diameter", service + 0.034 - worn, 0.010)
    if name == "5E":
        stems[3].update(state="struck out", reason="slipped off the stem, taken again")
        again = make.reading("M1", name, "stem diameter", float(stems[2]["text"]) - 0.003,
                             station="middle", direction="across")  # fmt: skip
        stems[3] = again
    smallest = min(stems, key=lambda made: float(made["text"]))
    make.verdict(name, "stem diameter", float(smallest["text"]), U_UM["M1"], service, None,
                 f"service min {words}", "p. 12", "smallest of 6 readings",
                 [made["place"] for made in stems])  # fmt: skip
    wide = {"3E": 0.026, "6E": 0.016}.get(name, rng.uniform(0.0, 0.008))
    bores = make.size("B1", name, "guide bore", 8.010 + wide, 0.006)
    largest = max(bores, key=lambda made: float(made["text"]))
    make.verdict(name, "guide bore", float(largest["text"]), U_UM["B1"], None, 8.040,
                 "service max 8.040 mm (0.3165 in)", "p. 12", "largest of 6 readings",
                 [made["place"] for made in bores])  # fmt: skip
    direct = float(largest["text"]) - float(smallest["text"])
    make.verdict(name, "guide clearance", direct, 3.1, None, 0.100, "service max 0.100 mm",
                 "p. 13", "largest bore less smallest stem",
                 [made["place"] for made in (*stems, *bores)], method="direct")  # fmt: skip
    rocked = [make.sweep(name, d, (direct - 0.004 * (d == "along")) * 2120) for d in DIRECTIONS]
    used = [made["place"] for made in make.readings[-2:]]
    usable = [value for value in rocked if value is not None]
    complete = len(usable) == len(rocked)
    make.verdict(
        name, "guide clearance", round(max(usable) / 1000, 5) if complete else None, 2.5, None,
        0.100, "service max 0.100 mm, lift 8 mm, new valve", "p. 13",
        "larger of along and across" if complete else "the sweep along the head is not usable",
        used, method="rock", places=4,
    )  # fmt: skip
    depth = make.reading("T1", name, "stand-down", 1.46 if name == "6E" else rng.uniform(.75, 1.3),
                         places=2)  # fmt: skip
    make.verdict(name, "stand-down", float(depth["text"]), U_UM["T1"], 0.70, 1.40,
                 "0.70 mm to service max 1.40 mm", "p. 15", "each reading", [depth["place"]],
                 places=2)  # fmt: skip
    lengths = [make.reading("C1", name, "spring free length", (47.02 if name == "1E" else 47.6)
                            + rng.gauss(0, 0.05), direction=d, places=2)
               for d in DIRECTIONS]  # fmt: skip
    shortest = min(float(made["text"]) for made in lengths)
    make.verdict(name, "spring free length", shortest, U_UM["C1"], 47.10, None,
                 "service min 47.10 mm (1.854 in)", "p. 17", "smallest of 2 readings",
                 [made["place"] for made in lengths], places=2)  # fmt: skip
    if name == "4I":
        make.place += 1
        make.readings.append({**depth, "place": make.place, "kind": "skipped", "text": "",
                              "characteristic": "margin", "gauge": "", "raw": "",
                              "state": "skipped", "reason": "valve head burnt away",
                              "utc": make.stamp(3)})  # fmt: skip
        return
    edge = make.reading("C1", name, "margin", 0.81 if name == "5I" else rng.uniform(0.9, 1.3),
                        places=2)  # fmt: skip
    make.verdict(name, "margin", float(edge["text"]), U_UM["C1"], 0.80, None,
                 "service min 0.80 mm (1/32 in)", "p. 14", "smallest of 1 reading",
                 [edge["place"]], places=2)  # fmt: skip


def _face(make: _Maker) -> list[JSON]:
    points = []
    for row in range(3):
        for column in range(7):
            x, y = 115.0 * column, 85.0 * row
            bow = 28 * (1 - ((x - 345) / 345) ** 2) + 9 * (x - 345) / 345 * (y - 85) / 85
            made = make.reading("D1", None, "face height", (bow + make.random.gauss(0, 1)) / 1000,
                                station=f"{'ABC'[row]}{column + 1}")  # fmt: skip
            points.append({"station": made["station"], "x_mm": x, "y_mm": y,
                           "value_um": round(float(made["text"]) * 1000)})  # fmt: skip
    heights = [point["value_um"] for point in points]
    make.verdict(None, "head-face flatness", (max(heights) - min(heights)) * 0.9 / 1000, 2.6, None,
                 0.050, "service max 0.050 mm (0.002 in)", "p. 11", "minimum zone of 21 points",
                 [made["place"] for made in make.readings[-21:]], places=4)  # fmt: skip
    return points


def _state(make: _Maker, name: str) -> JSON:
    own = [verdict for verdict in make.verdicts if verdict["valve"] == name]
    order = ("outside", "undecided", "within")
    worst = min(own, key=lambda v: (order.index(v["verdict"]), v["probability"] or 0.0))
    skipped = 1 if name == "4I" else 0
    return {"name": name, "cylinder": int(name[0]), "state": worst["verdict"],
            "kind": "exhaust" if name.endswith("E") else "intake",
            "done": 18 - skipped, "of": 18, "worst": worst}  # fmt: skip


def sample_document(seed: int = 42) -> JSON:
    """Make the sample document; see docs/report.md for what each part of it becomes."""
    make = _Maker(seed)
    names = [f"{cylinder}{kind}" for cylinder in range(1, 7) for kind in "IE"]
    for name in names:
        _valve(make, name)
        if name == "2E":
            make.reading("M1", None, "", 7.951, state="unassigned", kind="parked",
                         reason="arrived while nothing was asked for")  # fmt: skip
            make.reading("D1", "3I", "guide clearance", 0.214, state="refused", kind="refused",
                         reason="the gauge shows its largest value, not the actual one",
                         raw="l0.214 M=\\x20\\n")  # fmt: skip
    points = _face(make)
    counts = {
        word: sum(verdict["verdict"] == word for verdict in make.verdicts)
        for word in ("within", "outside", "undecided")
    }
    size = make.place + 4
    finished = make.stamp(40)
    root = hashlib.sha256(f"invented root {seed}".encode()).hexdigest()
    return {
        "job": {
            "name": "D-0042", "head": "Demo irrigation-pump diesel, six cylinders",
            "serial": "INV-6C-00317", "sheet": "Demo pump engine, twelve valves, edition 2",
            "source": "Workshop book of the demo pump engine (invented), chapter 4",
            "stage": "as received", "operator": "R. Invented", "bench": "bench 1",
            "invented": True, "started": START.isoformat().replace("+00:00", "Z"),
            "finished": finished,
        },
        "head": {
            "cylinders": 6, "kinds": ["intake", "exhaust"],
            "face": {"length_mm": 690, "width_mm": 170, "points": points},
            "valves": [_state(make, name) for name in names],
        },
        "gauges": [
            {"id": gauge["id"], "kind": gauge["kind"], "title": gauge["title"],
             "serial": gauge["serial"], "driver": gauge["driver"], "port": "", "state": "here",
             "link": "", "text": "", "unit": "mm", "u_text": f"{gauge['u']:.1f} um",
             "calibration_due": gauge["due"]}
            for gauge in GAUGES
        ],
        "verdicts": make.verdicts, "sweeps": make.sweeps, "readings": make.readings,
        "limits": limit_rows(), "counts": counts,
        "rule": "Guarded acceptance: within when the value is inside the limit by at least its "
                "expanded uncertainty U (k = 2), outside when it is beyond the limit by at least "
                "U, undecided between the two; a value at a guard point is decided.",
        "cautions": list(CAUTIONS),
        "record": {
            "size": size, "root": root, "log": "bench-1/2026",
            "key": hashlib.sha256(b"invented key").hexdigest(), "utc": finished,
            "signature": hashlib.sha512(b"invented signature").hexdigest(),
        },
    }  # fmt: skip


def sample_attachments(document: JSON) -> dict[str, bytes]:
    """Make the three attachments in their shape; the lines stand in for a real record."""
    lines = [
        json.dumps({"place": r["place"], "raw": r["raw"], "utc": r["utc"]}, sort_keys=True)
        for r in document["readings"]
    ]
    return {
        "record.jsonl": ("\n".join(lines) + "\n").encode(),
        "head.json": json.dumps(document["record"], sort_keys=True).encode(),
        "report.json": json.dumps(document, sort_keys=True).encode(),
    }


if __name__ == "__main__":
    from gaugelink.report.pdf import write_report

    made = sample_document()
    write_report(made, sample_attachments(made), Path(sys.argv[1]))

"""The simulated head: true sizes of everything, in micrometres, and the physics of a rocked valve.

One workpiece serves all gauges of a bench, so that bore, stem, rock and stand-down of a valve agree
with each other as they do on a real head. What is drawn at random comes from a generator of its own
for each place, so that the same seed gives the same head whatever order it is measured in.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from itertools import combinations
from math import cos, pi
from typing import TYPE_CHECKING

from gaugelink.head import zero_check_of
from gaugelink.simulate.scenario import Wear

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.head import Head, Position, ValveKind
    from gaugelink.simulate.scenario import Scenario

STATION_DEPTH = {"top": 0.9, "middle": 0.5, "bottom": 0.1}
"""Stations along a guide as parts of its length from the head end (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """What the work has left at one valve's place, micrometres.

    Attributes:
        valve_of: the place that its used valve came from; empty: it is its own, or a new one.
        stem: the stem of a new valve; None: the valve is a used one.
        guide: the bore of a new or a reamed guide; None: the guide is the old one.
        drop: how much deeper the valve sits than when the head came in.
        shims: under the spring.
        new_spring: whether the spring is a new one.
    """

    valve_of: str = ""
    stem: float | None = None
    guide: float | None = None
    drop: float = 0.0
    shims: float = 0.0
    new_spring: bool = False


AS_IT_CAME = Fitted()


@dataclass(frozen=True, slots=True)
class Workpiece:
    """A head with wear, and with what was done about it.

    Attributes:
        scenario: its sizes and its wear.
        head: its valves and its face.
        seed: what is drawn at random follows from it.
        fitted: what the work has left, by valve; a valve that is absent is as it came in.
        skimmed: taken off the face, micrometres; a face that was skimmed is flat.
    """

    scenario: Scenario
    head: Head
    seed: int
    fitted: Mapping[str, Fitted] = field(default_factory=dict, kw_only=True)
    skimmed: float = field(default=0.0, kw_only=True)

    def chance(self, *names: object) -> random.Random:
        """Give the generator of one place and purpose."""
        return random.Random("/".join(map(str, (self.seed, *names))))  # noqa: S311  a simulation

    def size_um(self, position: Position) -> float:
        """Tell the true size at a place, micrometres.

        Raises:
            LookupError: the simulation does not model that characteristic.
        """
        valve = position.valve
        if check := zero_check_of(position):
            return self.scenario.sizes.masters.get(check[0], 0.0)
        match position.characteristic:
            case "stem diameter":
                return self._stem(valve, position.station, position.direction)
            case "guide bore":
                return self.bore_um(valve, STATION_DEPTH[position.station], position.direction)
            case "stand-down":
                base = self.scenario.sizes.stand_down[self.kind(valve)] - self.skimmed
                sunk = self._wear(valve).stand_down + self.at(valve).drop
                return base + 30 * self._spread("sd", valve) + sunk
            case "installed spring height":
                base = self.scenario.sizes.spring_height[self.kind(valve)]
                # A seat that was cut lets the valve drop, and the spring's retainer with it.
                sunk = self._wear(valve).stand_down + self.at(valve).drop
                return base + 30 * self._spread("height", valve) + sunk - self.at(valve).shims
            case "spring free length":
                # A coil is seldom quite square, so its length differs a little round the turn.
                around = 20 * self._spread("coil", valve, position.direction)
                return self._spring_um(valve) + around
            case "face height":
                return self._face(position.station)
            case other:
                raise LookupError(f"the simulated head has no {other}")

    def at(self, valve: str) -> Fitted:
        """Tell what the work has left at a valve's place."""
        return self.fitted.get(valve, AS_IT_CAME)

    def load_n(self, valve: str, height_um: float) -> float:
        """Tell the load of a valve's spring at a height, newtons; none where it is loose.

        Raises:
            LookupError: the scenario has no springs on a tester.
        """
        if self.scenario.springs is None:
            raise LookupError("the simulated head has no springs on a tester")
        return max(0.0, self.scenario.springs.rate * (self._spring_um(valve) - height_um) / 1000)

    def bore_um(self, valve: str, depth: float, direction: str) -> float:
        """Tell the true bore, micrometres, at a part of the guide's length from the head end.

        Guides wear along the rocker's push, across the head, more than along it, and most at the
        ends, where they go bell-mouthed (common practice, no source).
        """
        base = self.scenario.sizes.bore[self.kind(valve)]
        wear, guide = self._wear(valve), self.at(valve).guide
        if guide is not None:
            return guide + self.scenario.sizes.spread * self._spread("new bore", valve)
        share = 1.0 if direction == "across" else 0.6
        end = abs(2 * depth - 1)
        flare = wear.bell_mouth * max(0.0, (end - 0.7) / 0.3)
        return (
            base
            + self.scenario.sizes.spread * self._spread("bore", valve)
            + share * (wear.bore * (0.7 + 0.3 * end) + flare)
        )

    def travel_um(self, valve: str, direction: str) -> float:
        """Reckon how far the indicator travels when a new valve is rocked, micrometres.

        The stem is a straight rod that may lean as far as the walls allow; the greatest swing at
        the contact point is found by trying every pair of stations as the two points of contact.
        The stations include every depth at which the bore changes its taper, which makes it exact.
        """
        sizes = self.scenario.sizes
        fresh = self.at(valve).stem  # a reamed guide is rocked with a valve of its own size
        stem = sizes.new_stem[self.kind(valve)] if fresh is None else fresh
        depths = [n / 20 for n in range(21)]
        gaps = [(d, (self.bore_um(valve, d, direction) - stem) / 2) for d in depths]
        reach = -sizes.reach / sizes.guide_length
        best = 0.0
        for (z0, c0), (z1, c1) in combinations(gaps, 2):
            for end0, end1 in ((c0, -c1), (c0, c1)):
                slope = (end1 - end0) / (z1 - z0)
                offset = end0 - slope * z0
                if all(abs(offset + slope * z) <= c + 1e-9 for z, c in gaps):
                    best = max(best, abs(offset + slope * reach))
        return 2 * best

    def _spring_um(self, valve: str) -> float:
        base = self.scenario.sizes.spring_length
        if self.at(valve).new_spring:
            return base + 60 * self._spread("new spring", valve)
        return base + 60 * self._spread("spring", valve) - self._wear(valve).spring_length

    def kind(self, valve: str) -> ValveKind:
        """Tell the kind of a valve by its name."""
        return "exhaust" if "E" in valve else "intake"

    def _wear(self, valve: str) -> Wear:
        for entry in self.scenario.worn:
            if entry.valve == valve:
                return entry
        return Wear(valve=valve)

    def _spread(self, *names: object) -> float:
        """A draw between -1 and 1 that belongs to a place."""
        return max(-1.0, min(1.0, self.chance("size", *names).gauss(0, 0.5)))

    def _stem(self, valve: str, station: str, direction: str) -> float:
        oval = 0.3 if direction == "across" else -0.3
        here = self.at(valve)
        if here.stem is not None:
            return here.stem + self.scenario.sizes.spread * self._spread("new stem", valve) + oval
        owner = here.valve_of or valve
        base = self.scenario.sizes.stem[self.kind(owner)]
        # Stems wear where they slide most, which is near the head end and the middle.
        share = {"top": 0.35, "middle": 0.85, "bottom": 1.0}[station]
        fresh = base + self.scenario.sizes.spread * self._spread("stem", owner) + oval
        return fresh - share * self._wear(owner).stem

    def _face(self, station: str) -> float:
        face = self.head.face
        assert face is not None
        if self.skimmed:
            return 2.0 * self._spread("skimmed face", station)
        row, column = ord(station[0]) - ord("A"), int(station[1:]) - 1
        x = 2 * column / (face.columns - 1) - 1
        y = 2 * row / (face.rows - 1) - 1
        sizes = self.scenario.sizes
        bow = sizes.face_bow * (cos(pi * x / 2) - 0.5)
        return bow + sizes.face_twist * x * y / 2 + 2.0 * self._spread("face", station)

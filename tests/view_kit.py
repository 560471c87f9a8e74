"""Steps of a job that the tests of several documents share."""

from __future__ import annotations

from typing import Any

from bench_kit import (
    ROCK,
    SHEET,
    STAND_DOWN,
    Rig,
    rocked,
    spring,
    stem,
    sweep,
)

FACE = STAND_DOWN + 4
WITH_FACE = (
    SHEET.replace(
        '"exhaust"]\n',
        '"exhaust"]\nface = { length = "300 mm", width = "100 mm", rows = 2, columns = 2 }\n', 1)
    + '[[limit]]\ncharacteristic = "head-face flatness"\nservice_max = "0.10 mm"\nsource = "p. 5"\n'
)  # fmt: skip
"""The kit's sheet with four points on the head's face, which come last in the plan."""


def valve(state: dict[str, Any], name: str) -> dict[str, Any]:
    """Find a valve by its name."""
    return next(item for item in state["head"]["valves"] if item["name"] == name)


def reading(state: dict[str, Any], place: int) -> dict[str, Any]:
    """Find a reading by its place in the record."""
    return next(item for item in state["readings"] if item["place"] == place)


async def rock_at(rig: Rig, step: int, **options: int) -> int:
    """Record a sweep at a step; give its place."""
    await rig.bench.go(step)
    rig.bench.sweep_start()
    await rig.rock(sweep(**options))
    await rig.bench.sweep_stop()
    return rig.store.size - 1


async def take(rig: Rig, gauge: str, data: bytes) -> int:
    """Take a value of a gauge that is asked or sends all the time; give its place."""
    rig.clock.pass_s(2)
    rig.bench.take(gauge)
    rig.send(gauge, data)
    await rig.heard(gauge)
    return rig.store.size - 1


async def measure_all(rig: Rig) -> None:
    """Measure everything: 1E has a stem below its limit, the rest is good."""
    for text in ("7.964", "7.962", "7.930", "7.940"):
        await rig.press("M1", stem(text))
    for step in (ROCK, ROCK + 1):
        await rock_at(rig, step, travel_um=120)
    for answer in (b" 1.08\r", b" 1.12\r"):
        await take(rig, "D1", answer)
    for hundredths in (4790, 4788):
        await take(rig, "C1", spring(hundredths))
    for um in (0, 12, -8, 5):
        await take(rig, "I1", rocked(um))
    assert rig.session.finished

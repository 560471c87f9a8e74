"""Draw a sweep with plain characters, for a terminal without graphics."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.metrology.sweep_result import Sweep

WIDE: Final = 72
HIGH: Final = 11


def plot(t_ns: Sequence[int], value_pm: Sequence[int], sweep: Sweep) -> list[str]:
    """Draw readings as dots, ends that count as ``=``, ends left out as ``x``.

    Spikes beyond the ends are not drawn: they would leave no room for the rest.

    >>> from gaugelink.metrology.sweep_result import Sweep
    >>> plot([0, 1], [0, 0], Sweep(0, 0, 0, 0, 1, (), ()))
    []
    """
    if not sweep.plateaus or len(t_ns) < 2:
        return []
    levels = [int(end.level_pm) for end in sweep.plateaus]
    margin = max(max(levels) - min(levels), 1) // 8
    low, high = min(levels) - margin, max(levels) + margin
    begin, span = min(t_ns), max(max(t_ns) - min(t_ns), 1)
    grid = [[" "] * WIDE for _ in range(HIGH)]

    def mark(t: int, value: int, sign: str) -> None:
        if low <= value <= high:
            row = (HIGH - 1) * (high - value) // max(high - low, 1)
            grid[row][(WIDE - 1) * (t - begin) // span] = sign

    for t, value in zip(t_ns, value_pm, strict=True):
        mark(t, value, ".")
    for end in sweep.plateaus:
        for t in t_ns[end.start : end.end + 1]:
            mark(t, int(end.level_pm), "=" if end.used else "x")
    lines = ["".join(row).rstrip() for row in grid]
    drawn = [place for place, line in enumerate(lines) if line]
    return lines[drawn[0] : drawn[-1] + 1]

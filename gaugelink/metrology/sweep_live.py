"""A rock sweep while it is going on: the result so far, as the samples come.

What an early sample means depends on all that follow: whether it is a spike, a turn or an end is
held against the swing of the whole sweep, and each end's level goes into the fit. Two beginnings
that give one and the same result so far may be told apart by what follows, however long ago they
parted (a test shows it for each of many), so whatever keeps less than all samples gives some sweep
a wrong result. The memory has a stated bound instead of a constant size: `MOST_READINGS` samples
are kept, and what comes after is counted and left out.

Time is bounded as well. Up to `FRESH` samples each look takes in everything; a longer sweep is gone
through again only when it has grown by one part in `GROWTH`, so that a sample costs what
`GROWTH` + 1 samples cost in one analysis, however long the sweep is.
"""

from __future__ import annotations

from array import array
from typing import TYPE_CHECKING, Final

import numpy as np

from gaugelink.metrology.sweep import measure_travel

if TYPE_CHECKING:
    from gaugelink.metrology.sweep_result import Sweep

MOST_READINGS: Final = 100_000
"""Samples kept of one sweep: more than eight minutes at 200 a second. A rock takes one."""
FRESH: Final = 2_000
GROWTH: Final = 32


class LiveSweep:
    """Collects the samples of a sweep and gives the travel at any time.

    Attributes:
        step_pm: step of the display, pm.
        range_pm: lowest and highest figure that the gauge can show, where known.
        most: how many samples are kept at most.
        left_out: how many came after that.
        seen: how many samples the last look took in.
        gone_through: samples that all looks together went through.

    >>> sweep = LiveSweep(1_000_000)
    >>> rock = [0] * 8 + [30, 70] + [100] * 8 + [70, 30]
    >>> for number, value in enumerate(rock * 4 + [0] * 8):
    ...     kept = sweep.add(number * 100_000_000, value * 1_000_000, "mm")
    >>> sweep.so_far().travel_pm, sweep.so_far().full_rocks, len(sweep)
    (100000000, 4, 88)
    """

    def __init__(
        self, step_pm: int, *, range_pm: tuple[int, int] | None = None, most: int = MOST_READINGS
    ) -> None:
        """Begin a sweep.

        Args:
            step_pm: step of the display, pm.
            range_pm: lowest and highest figure that the gauge can show, where known.
            most: how many samples are kept at most, 16 bytes each.

        Raises:
            ValueError: the step or the number of samples is not positive.
        """
        if step_pm <= 0 or most <= 0:
            raise ValueError("the display step and the number of samples must be positive")
        self.step_pm, self.range_pm, self.most = step_pm, range_pm, most
        self.left_out = self.seen = self.gone_through = 0
        self._t_ns, self._value_pm = array("q"), array("q")
        # The unit hardly ever changes: each place where one begins, and which.
        self._units: list[tuple[int, str]] = []
        self._last: tuple[int, Sweep] | None = None

    def __len__(self) -> int:
        """Say how many samples are kept."""
        return len(self._t_ns)

    @property
    def full(self) -> bool:
        """Whether no further sample is kept."""
        return len(self) >= self.most

    def add(self, t_ns: int, value_pm: int, unit: str = "") -> bool:
        """Take in one sample.

        Args:
            t_ns: monotonic time of arrival, ns.
            value_pm: the sample, pm.
            unit: the unit shown with it, for every sample or for none.

        Returns:
            Whether it was kept; a full sweep keeps no more.
        """
        if self.full:
            self.left_out += 1
            return False
        if not self._units or self._units[-1][1] != unit:
            self._units.append((len(self), unit))
        self._t_ns.append(t_ns)
        self._value_pm.append(value_pm)
        return True

    def so_far(self, u_instrument_pm: int = 0) -> Sweep:
        """Give the result of the first `seen` samples.

        These are all samples, or in a sweep of more than `FRESH` at least `GROWTH` parts of
        `GROWTH` + 1. The last plateau is still growing, and what was seen as an end may turn out
        short when a farther one follows.

        Args:
            u_instrument_pm: standard uncertainty of the indicator over the travel, pm.
        """
        grown = len(self) - self.seen
        stale = len(self) > FRESH and grown * GROWTH <= self.seen
        if self._last is not None and self._last[0] == u_instrument_pm and (stale or not grown):
            return self._last[1]
        return self.result(u_instrument_pm)

    def result(self, u_instrument_pm: int = 0) -> Sweep:
        """Give the result of all samples kept, the same as `measure_travel` gives for them.

        Args:
            u_instrument_pm: standard uncertainty of the indicator over the travel, pm.
        """
        sweep = measure_travel(
            np.array(self._t_ns, dtype=np.int64),
            np.array(self._value_pm, dtype=np.int64),
            self.step_pm,
            units=self._unit_of_each(),
            u_instrument_pm=u_instrument_pm,
            range_pm=self.range_pm,
        )
        self.seen = len(self)
        self.gone_through += self.seen
        self._last = u_instrument_pm, sweep
        return sweep

    def _unit_of_each(self) -> list[str] | None:
        """Give the unit of each sample; None where all have the same, which says as much."""
        if len(self._units) <= 1:
            return None
        ends = [place for place, _ in self._units[1:]] + [len(self)]
        return [
            unit
            for (begin, unit), end in zip(self._units, ends, strict=True)
            for _ in range(begin, end)
        ]

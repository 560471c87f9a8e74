"""Triggers without a button: a value that has come to rest, and a spindle that begins to move.

Pure state machines: values and times are pushed in, nothing is read. Times are those of the bench
clock, so they are tested without waiting.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Generic, TypeVar

Sample = TypeVar("Sample")


@dataclass(slots=True)
class Steady:
    """Fires once when a value has come to rest, and again only after it has moved away.

    A hand that sets a gauge makes it wander, then rest. The rest is the reading. The gauge then
    has to leave the part before another rest counts, or one part would be read twice.

    Attributes:
        still_steps: how many display steps the value may wander and still be at rest. Two, because
            a value between two steps flickers by one and noise adds another.
        hold_ns: how long it has to rest (common practice, no source: a little longer than a hand
            needs to notice, shorter than it can hold a gauge still).
        away_steps: how many steps it has to move from the reading before it is armed again; many
            more than a resting value wanders.

    >>> steady = Steady(hold_ns=700)
    >>> [steady.feed(value, 1, t) for value, t in [(5, 0), (90, 300), (91, 700), (90, 1000)]]
    [False, False, False, True]
    >>> steady.feed(90, 1, 9000)  # it still rests: the same part
    False
    """

    still_steps: int = 2
    hold_ns: int = 700_000_000
    away_steps: int = 20
    _since_ns: int | None = None
    _low: int = 0
    _high: int = 0
    _taken: int | None = None

    def feed(self, value_pm: int, step_pm: int, mono_ns: int) -> bool:
        """Take in a value; True if it is the one to be taken as the reading.

        Args:
            value_pm: the value shown, picometres.
            step_pm: the display step, picometres, above 0.
            mono_ns: when it came, nanoseconds of the bench clock, never running back.
        """
        if self._taken is not None:
            if abs(value_pm - self._taken) <= self.away_steps * step_pm:
                return False
            self._taken = None
            self._since_ns = None
        low, high = min(self._low, value_pm), max(self._high, value_pm)
        if self._since_ns is None or high - low > self.still_steps * step_pm:
            self._since_ns, self._low, self._high = mono_ns, value_pm, value_pm
            return False
        self._low, self._high = low, high
        if mono_ns - self._since_ns < self.hold_ns:
            return False
        self._taken = value_pm
        return True

    def disarm(self, value_pm: int) -> None:
        """Take note that this value was taken by other means: it must move away first."""
        self._taken = value_pm

    def forget(self) -> None:
        """Begin anew: another place is asked for, or the gauge was laid down."""
        self._since_ns = None
        self._taken = None


@dataclass(slots=True)
class ZeroPressed:
    """Tells when the zero of a gauge that sends all the time was set while it lay on something.

    The display rests somewhere, shows exactly zero in the very next sample, and rests there. No
    spindle moves so; one that is moved to zero is seen on the way.

    Attributes:
        still_steps: how many display steps a resting value may wander.
        rest_ns: how long it has to rest before.
        jump_steps: how far from zero it rested at least; a hand moves a spindle by less between
            two samples, and small sizes may be exactly zero by chance.

    >>> pressed = ZeroPressed(rest_ns=100)
    >>> [pressed.feed(value, 1, t) for value, t in [(790, 0), (791, 60), (790, 120), (0, 180)]]
    [False, False, False, False]
    >>> pressed.feed(1, 1, 240)
    True
    """

    still_steps: int = 2
    rest_ns: int = 500_000_000
    jump_steps: int = 100
    _low: int = 0
    _high: int = 0
    _since_ns: int | None = None
    _at_zero: bool = False

    def feed(self, value_pm: int, step_pm: int, mono_ns: int) -> bool:
        """Take in a sample; True if the zero was set just before it.

        Args:
            value_pm: the value shown, picometres.
            step_pm: the display step, picometres, above 0.
            mono_ns: when it came, nanoseconds of the bench clock, never running back.
        """
        still = self.still_steps * step_pm
        if self._at_zero:
            self._at_zero = False
            if abs(value_pm) <= still:
                self._since_ns, self._low, self._high = mono_ns, value_pm, value_pm
                return True
        low, high = min(self._low, value_pm), max(self._high, value_pm)
        if self._since_ns is not None and high - low <= still:
            self._low, self._high = low, high
            return False
        rested = self._since_ns is not None and mono_ns - self._since_ns >= self.rest_ns
        away = min(abs(self._low), abs(self._high)) > self.jump_steps * step_pm
        self._at_zero = value_pm == 0 and rested and away
        self._since_ns, self._low, self._high = mono_ns, value_pm, value_pm
        return False


@dataclass(slots=True)
class Motion(Generic[Sample]):
    """Tells when a spindle that has been at rest begins to move, and keeps what came just before.

    It has to rest first: while somebody is still setting up stand and valve, the spindle moves all
    the time. And a sweep that starts at the first movement has lost its beginning; so the samples
    of the last moment are kept and become the sweep's first ones.

    Attributes:
        move_steps: how many steps from its rest the value has to be, well above flicker and creep.
        rest_ns: how long it has to rest, and how much of what came before is kept.

    >>> motion = Motion(move_steps=5, rest_ns=100)
    >>> [motion.feed(0, 1, t, f"s{t}") for t in (0, 60, 120)]
    [False, False, False]
    >>> motion.feed(9, 1, 150, "s150"), motion.before()
    (True, [(60, 's60'), (120, 's120'), (150, 's150')])
    """

    move_steps: int = 8
    rest_ns: int = 1_000_000_000
    _kept: deque[tuple[int, int, Sample]] = field(default_factory=deque)
    _begun_ns: int = 0
    _rested: bool = False

    def feed(self, value_pm: int, step_pm: int, mono_ns: int, sample: Sample) -> bool:
        """Take in a sample; True if the spindle has begun to move after a rest.

        Args:
            value_pm: the value shown, picometres.
            step_pm: the display step, picometres, above 0.
            mono_ns: when it came, nanoseconds of the bench clock, never running back.
            sample: what is kept of it.
        """
        if not self._kept:
            self._begun_ns = mono_ns
        self._kept.append((mono_ns, value_pm, sample))
        while self._kept[0][0] < mono_ns - self.rest_ns:
            self._kept.popleft()
        values = [value for _, value, _ in self._kept]
        moves = max(values) - min(values) > self.move_steps * step_pm
        if moves:
            return self._rested
        self._rested = self._rested or mono_ns - self._begun_ns >= self.rest_ns
        return False

    def before(self) -> list[tuple[int, Sample]]:
        """Give what was kept, with its times, and begin anew."""
        kept = [(mono_ns, sample) for mono_ns, _, sample in self._kept]
        self.forget()
        return kept

    def forget(self) -> None:
        """Begin anew."""
        self._kept.clear()
        self._rested = False

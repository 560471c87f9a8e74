"""Codec `scale48`: two words of 24 bits from a free-running low-cost scale, least bit first.

The first word counts from where the scale was switched on, the second from where zero was pressed;
both two's complement. Authors disagree about the counts in an inch (20480, 10240) and whether the
second word is inverted; the driver file says which, and there is no check in the frame that could.
A count is 25.4/20480 mm, which no decimal shows exactly: the length is rounded to `step`, at most a
tenth of a count. Sources: two hobby descriptions of such scales on the web.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, ClassVar, Literal

from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER_INCH, from_decimal, parse_length
from gaugelink.wire.bits import ClockedFrame, number

if TYPE_CHECKING:
    from gaugelink.quantity import Displayed
    from gaugelink.wire.settings import Fault

_WORD = 24


class Scale48Frame(ClockedFrame):
    """The ``[frame]`` table of codec `scale48`.

    Attributes:
        word: which of the two words is the value: ``"absolute"`` (since power-on, the first) or
            ``"relative"`` (since zero, the second).
        inverted: the word whose bits are all turned round.
        counts_per_inch: 20480 or 10240.
        step: what a value is rounded to, with its unit, such as ``"0.0001 mm"``.
        range: the longest length, to either side, that the scale can have, such as ``"400 mm"``.
    """

    bits: ClassVar[int] = 2 * _WORD

    codec: Literal["scale48"]
    word: Literal["absolute", "relative"]
    inverted: Literal["none", "second word", "both words"]
    counts_per_inch: Literal[20480, 10240]
    step: str
    range: str

    def fault(self) -> Fault | None:
        """Find a step that is coarser than a tenth of a count, or lengths that are none."""
        for name in ("step", "range"):
            try:
                shown = parse_length(getattr(self, name))
            except InputError as fault:
                return ("frame", name), fault.what
            if shown.pm <= 0:
                return ("frame", name), f"found {shown}, accepted: a length above zero"
        step = parse_length(self.step)
        if step.pm != step.step_pm:
            return ("frame", "step"), f"found {step}, accepted: a one in one place, as 0.0001 mm"
        if step.pm * 10 * self.counts_per_inch > PM_PER_INCH:
            return ("frame", "step"), f"found {step}, accepted: at most a tenth of a count"
        return super().fault()

    def length(self, bits: list[int]) -> Displayed:
        """Make the length of a frame of 48 bits.

        Raises:
            InputError: one of the two words is out of the range of the scale.

        >>> frame = Scale48Frame(codec="scale48", edge="rising", pause="1 ms", word="relative",
        ...     inverted="none", counts_per_inch=20480, step="0.0001 mm", range="400 mm")
        >>> inch = [20480 >> place & 1 for place in range(24)]
        >>> str(frame.length([0] * 24 + inch))
        '25.4000 mm'
        """
        step = parse_length(self.step)
        most_pm = parse_length(self.range).pm
        lengths = {
            "absolute": self._pm(bits[:_WORD], turned=self.inverted == "both words"),
            "relative": self._pm(bits[_WORD:], turned=self.inverted != "none"),
        }
        for word, pm in lengths.items():
            if abs(pm) > most_pm:
                raise InputError(f"the {word} word is beyond {self.range}, the range of the scale")
        places = len(step.text.partition(".")[2])
        return from_decimal(round(lengths[self.word] / step.pm), places, step.unit)

    def _pm(self, word: list[int], *, turned: bool) -> Fraction:
        count = number([1 - bit for bit in word] if turned else word)
        if count >> _WORD - 1:
            count -= 1 << _WORD
        return Fraction(count * PM_PER_INCH, self.counts_per_inch)

"""From keys to characters: a keyboard's codes say which key it was, not what is printed on it.

A gauge that types is set to a layout, and presses the keys at which that layout has its characters.
Whoever reads the keys has to know the same layout. Tables of three are here; codes are those of the
Linux kernel (its header ``input-event-codes.h``), characters those of the xkb layouts ``us``,
``de`` and ``fr``. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

Layout = Literal["us", "de", "fr"]

NOTHING_SENSIBLE: Final = "\N{REPLACEMENT CHARACTER}"
"""What stands for a key that gives no character here; no value has it in it."""

ENTER, KP_ENTER, TAB, CAPS_LOCK, NUM_LOCK = 28, 96, 15, 58, 69
SHIFTS: Final = frozenset({42, 54})
OTHER_MODIFIERS: Final = frozenset({29, 97, 56, 100, 125, 126})
"""Control, alt and the two keys of the desktop: with one of them held no key is a character."""

_ROWS: Final = (
    (*range(2, 14),),  # digits
    (*range(16, 28),),
    (*range(30, 42), 43),
    (86, *range(44, 54)),
)

# Where nothing sensible comes (a dead key waits for the next one) stands the replacement character.
_PLAIN: Final[Mapping[Layout, tuple[str, str, str, str]]] = {
    "us": ("1234567890-=", "qwertyuiop[]", "asdfghjkl;'`\\", "<zxcvbnm,./"),
    "de": ("1234567890ß\ufffd", "qwertzuiopü+", "asdfghjklöä\ufffd#", "<yxcvbnm,.-"),
    "fr": ("&é\"'(-è_çà)=", "azertyuiop\ufffd$", "qsdfghjklmù²*", "<wxcvbn,;:!"),
}
_SHIFTED: Final[Mapping[Layout, tuple[str, str, str, str]]] = {
    "us": ("!@#$%^&*()_+", "QWERTYUIOP{}", 'ASDFGHJKL:"~|', ">ZXCVBNM<>?"),
    "de": ('!"§$%&/()=?\ufffd', "QWERTZUIOPÜ*", "ASDFGHJKLÖÄ°'", ">YXCVBNM;:_"),
    "fr": ("1234567890°+", "AZERTYUIOP\ufffd£", "QSDFGHJKLM%\ufffdµ", ">WXCVBN?./§"),
}

_PAD_DIGITS: Final = {
    71: "7", 72: "8", 73: "9", 75: "4", 76: "5", 77: "6", 79: "1", 80: "2", 81: "3", 82: "0",
}  # fmt: skip
_PAD_POINT: Final = 83
_PAD_OTHERS: Final = {55: "*", 74: "-", 78: "+", 98: "/"}
_POINT_OF_PAD: Final[Mapping[Layout, str]] = {"us": ".", "de": ",", "fr": "."}


def _table(rows: Mapping[Layout, tuple[str, str, str, str]], layout: Layout) -> dict[int, str]:
    return {
        code: letter
        for codes, letters in zip(_ROWS, rows[layout], strict=True)
        for code, letter in zip(codes, letters, strict=True)
    }


@dataclass(slots=True)
class Keys:
    """Turns key events of one keyboard into what they type.

    Args:
        layout: what the gauge is set to type for.
        num_lock, caps_lock: whether they are on now.

    >>> keys = Keys("fr")
    >>> [keys.feed(42, 1), keys.feed(8, 1), keys.feed(8, 0), keys.feed(42, 0), keys.feed(8, 1)]
    ['', '7', '', '', 'è']
    """

    layout: Layout
    num_lock: bool = True
    caps_lock: bool = False
    _plain: dict[int, str] = field(init=False)
    _shifted: dict[int, str] = field(init=False)
    _held: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        """Look the tables up."""
        self._plain = _table(_PLAIN, self.layout)
        self._shifted = _table(_SHIFTED, self.layout)

    def feed(self, code: int, value: int) -> str:
        """Take in an event of a key; give what it types: one character, or nothing.

        Args:
            code: the key's number in the kernel.
            value: 0 it was let go, 1 it was pressed, 2 it repeats because it is held.
        """
        if value == 0:
            self._held.discard(code)
            return ""
        if code in SHIFTS or code in OTHER_MODIFIERS:
            self._held.add(code)
            return ""
        if code == CAPS_LOCK:
            self.caps_lock ^= value == 1
            return ""
        if code == NUM_LOCK:
            self.num_lock ^= value == 1
            return ""
        if self._held & OTHER_MODIFIERS:
            return NOTHING_SENSIBLE
        if code in {ENTER, KP_ENTER}:
            return "\n"
        if code == TAB:
            return "\t"
        if code == 57:
            return " "
        return self._pad(code) or self._letter(code)

    def _letter(self, code: int) -> str:
        shifted = bool(self._held & SHIFTS)
        plain = self._plain.get(code, NOTHING_SENSIBLE)
        if self.caps_lock and "a" <= plain <= "z":
            shifted = not shifted
        return self._shifted.get(code, NOTHING_SENSIBLE) if shifted else plain

    def _pad(self, code: int) -> str:
        if code in _PAD_OTHERS:
            return _PAD_OTHERS[code]
        if code not in _PAD_DIGITS and code != _PAD_POINT:
            return ""
        if not self.num_lock or self._held & SHIFTS:
            return NOTHING_SENSIBLE  # arrows and the like: a figure typed so has lost its digits
        return _PAD_DIGITS.get(code, _POINT_OF_PAD[self.layout])


def strokes(text: str, layout: Layout) -> Iterator[tuple[int, int]]:
    """Give the key events that type a text on a layout, as a keyboard would.

    Raises:
        KeyError: the layout has no key for a character.

    >>> [*strokes("7", "fr")]
    [(42, 1), (8, 1), (8, 0), (42, 0)]
    """
    plain = {letter: code for code, letter in _table(_PLAIN, layout).items()}
    shifted = {letter: code for code, letter in _table(_SHIFTED, layout).items()}
    plain |= {"\n": ENTER, "\t": TAB, " ": 57}
    for letter in text:
        if letter in plain:
            yield from [(plain[letter], 1), (plain[letter], 0)]
        else:
            code = shifted[letter]
            yield from [(42, 1), (code, 1), (code, 0), (42, 0)]


@dataclass(slots=True)
class KeyTimes:
    """Dates keys by the bench clock, with the distances at which the keyboard sent them.

    The kernel dates each event when it comes in; a program that is held up reads several at once.
    Dated by the moment of reading, a person's keys would then look like a gauge's. The kernel's
    clock may be set while the program runs, so only distances count, and only short ones. A key may
    so be dated later than it was read, by as long as the first one of its row was read late.

    Attributes:
        longest_ns: after a pause of at least this the bench clock dates anew.

    >>> KeyTimes().date([5_000_000_000, 5_060_000_000], 400_000_000)
    [340000000, 400000000]
    """

    longest_ns: int = 1_000_000_000
    _event_ns: int | None = None
    _given_ns: int = 0

    def date(self, events_ns: Sequence[int], mono_ns: int) -> list[int]:
        """Give the times of events by the bench clock.

        Args:
            events_ns: the kernel's times of events that were read at once.
            mono_ns: the bench clock now, never running back.
        """
        found = []
        for event_ns in events_ns:
            passed = -1 if self._event_ns is None else event_ns - self._event_ns
            if 0 <= passed < self.longest_ns:
                self._given_ns += passed
            else:
                least = self._given_ns + (self.longest_ns if passed >= 0 else 0)
                self._given_ns = max(mono_ns - max(events_ns[-1] - event_ns, 0), least)
            self._event_ns = event_ns
            found.append(self._given_ns)
        return found

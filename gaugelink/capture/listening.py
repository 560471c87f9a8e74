"""Which driver files understand what a port sends.

Every driver is tried on all the bytes, and each is told with what it made of them. Where more than
one fits, nobody guesses: the sentence says in what they differ, or that what was sent cannot tell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelink.wire.base import Noise, Partial, Value

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gaugelink.ports.port import Chunk
    from gaugelink.wire.base import Decoder, Item
    from gaugelink.wire.driver import Driver


@dataclass(frozen=True, slots=True)
class Score:
    """What one driver made of what came.

    Attributes:
        driver: its name.
        values: the values, as shown, with their units, in order.
        value_bytes: bytes that made them.
        noise_bytes: bytes that made no sense to it.
        partial_frames: frames that broke off, the one that listening began in included.
        channels: of a multiplexer, or displays of one gauge, that values came from.
    """

    driver: str
    values: tuple[str, ...]
    value_bytes: int
    noise_bytes: int
    partial_frames: int
    channels: tuple[str, ...] = ()

    @property
    def fits(self) -> bool:
        """Whether it read something, and more of it than it did not understand."""
        return bool(self.values) and self.value_bytes > self.noise_bytes


def score(driver: Driver, chunks: Iterable[Chunk], opened_ns: int) -> Score:
    """Let a driver read what came down a port.

    Args:
        driver: the driver.
        chunks: what came, with the times of arrival.
        opened_ns: when the port was opened, by the same clock.
    """
    decoder = driver.decoder(joined_midstream=True)
    return score_of(driver.name, decoder, driver.pause_ns, chunks, opened_ns)


def score_of(
    name: str, decoder: Decoder, pause_ns: int, chunks: Iterable[Chunk], opened_ns: int
) -> Score:
    """Let a fresh decoder read what came; `pause_ns` of silence is a pause to it."""
    heard_ns = opened_ns
    items: list[Item] = []
    for chunk in chunks:
        if chunk.mono_ns - heard_ns >= pause_ns:
            items += decoder.gap()
        heard_ns = chunk.mono_ns
        items += decoder.feed(chunk.data)
    items += decoder.end()
    values = [item for item in items if isinstance(item, Value)]
    return Score(
        name,
        tuple(str(item.shown) for item in values),
        sum(len(item.raw) for item in values),
        sum(len(item.raw) for item in items if isinstance(item, Noise)),
        sum(isinstance(item, Partial) for item in items),
        tuple(sorted({item.channel for item in values if item.channel})),
    )


def conclude(scores: Sequence[Score], heard: int) -> tuple[list[str], str]:
    """Say which drivers fit, and why it cannot be told where that is so.

    Args:
        scores: of all drivers that were tried.
        heard: bytes that came.

    Returns:
        The names of those that fit, and a sentence.

    >>> mux = Score("mux-line", ("7.965 mm", "4.000 mm"), 26, 0, 0, ("01", "12"))
    >>> conclude([mux], 26)[1]
    'mux-line fits: it read 7.965 mm, 4.000 mm from channels 01, 12'
    >>> mm = Score("plain-line", ("8.105 mm",), 7, 0, 0)
    >>> inch = Score("plain-line-inch", ("8.105 in",), 7, 0, 0)
    >>> print(conclude([mm, inch], 7)[1])
    plain-line and plain-line-inch both fit, and read different values from the same bytes \
(8.105 mm, 8.105 in): only the gauge's display can tell
    """
    fitting = [one for one in scores if one.fits]
    names = [one.driver for one in fitting]
    if not heard:
        return names, "nothing came; press the gauge's button, or look at its cable and switch"
    if not fitting:
        return names, f"{heard} bytes came, and no driver file understands them"
    if len(fitting) == 1:
        read = f"{', '.join(_some(fitting[0].values))}{_from(fitting[0].channels)}"
        return names, f"{names[0]} fits: it read {read}"
    which = f"{', '.join(names[:-1])} and {names[-1]}"
    both = "both" if len(names) == 2 else "all"
    if len({one.values for one in fitting}) == 1:
        read = f"{', '.join(_some(fitting[0].values))}{_from(fitting[0].channels)}"
        return names, (
            f"{which} {both} fit, and read the same ({read}): what tells them apart was not sent; "
            "send a value in the other unit, or look up the gauge's sheet"
        )
    first = ", ".join(one.values[0] for one in fitting)
    return names, (
        f"{which} {both} fit, and read different values from the same bytes ({first}): only the "
        "gauge's display can tell"
    )


def _from(channels: Sequence[str]) -> str:
    if not channels:
        return ""
    return f" from channel{'s' if len(channels) > 1 else ''} {', '.join(channels)}"


def _some(values: Sequence[str]) -> list[str]:
    return [*values] if len(values) <= 3 else [*values[:3], f"... {len(values)} values"]

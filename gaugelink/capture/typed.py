"""Keys that the capture field of the bench page sends: a gauge's become a value, a person's do not.

The cable's decoder judges, and the cable tells, as with any port: a figure that somebody typed by
hand is never a reading. What is said here is the answer to the page.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gaugelink.errors import SessionError
from gaugelink.ports.keeping import KeepingPort
from gaugelink.ports.keylayout import NOTHING_SENSIBLE
from gaugelink.ports.page import PagePort
from gaugelink.wire.base import Value

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.capture.bench import Bench
    from gaugelink.capture.cable import Cable
    from gaugelink.wire.driver import Driver

KEYS_MOST: Final = 64
"""Keys that may come in one row; no value is half as long."""

PAUSE_MOST_MS: Final = 60_000
"""The longest pause before a key that is told; longer ones are told as this."""

_NAMED: Final = {"Enter": "\n", "Tab": "\t"}

NOT_A_VALUE: Final = "keys came that are no value"


def text_of(key: str) -> str:
    r"""Give what a key types, by the name that a browser gives it (W3C UI Events, ``key``).

    >>> text_of("7"), text_of("Enter"), text_of("Dead"), text_of("\ud800")
    ('7', '\n', '�', '�')
    """
    if key in _NAMED:
        return _NAMED[key]
    return key if len(key) == 1 and key.isprintable() else NOTHING_SENSIBLE


async def take_keys(bench: Bench, keys: Sequence[tuple[str, int]]) -> str:
    """Give keys from the page to the gauge that types into it. On return all is done with them.

    Args:
        bench: the bench.
        keys: the name of each, and the milliseconds since the one before it.

    Returns:
        What was read.

    Raises:
        SessionError: they are no value; the sentence says why. Nothing is on record, and the
            audience has been told.
        PortError: the gauge is not connected.
    """
    cable, port = _cable(bench)
    typed = [(text_of(key), min(passed, PAUSE_MOST_MS)) for key, passed in keys]
    channels = cable.channels.values()
    mark = next(channel.gauge.id for channel in channels)
    async with port.turn:
        before = sum(channel.values for channel in channels)
        await bench.heard(mark, cable.bytes_in + port.type(typed))
        came = sum(channel.values for channel in channels) - before
    if came:
        shown = [str(channel.last.shown) for channel in channels if channel.last is not None]
        return f"typed by the gauge: {', '.join(shown)}"
    driver = next(channel.driver for channel in channels)
    raise SessionError(f"{NOT_A_VALUE} ({why_not(driver, typed)})")


def why_not(driver: Driver, typed: Sequence[tuple[str, int]]) -> str:
    """Say why keys are no value.

    Args:
        driver: the driver of the gauge that types.
        typed: what each key typed, and the milliseconds since the one before it.
    """
    decoder = driver.decoder()
    items = []
    for place, (text, passed) in enumerate(typed):
        if place and passed * 1_000_000 >= driver.pause_ns:
            items += decoder.gap()
        items += decoder.feed(text.encode())
    items += decoder.end()
    for item in items:
        if not isinstance(item, Value):
            return item.why
    return "keys that had no end came before them; press the gauge's button once more"


def _cable(bench: Bench) -> tuple[Cable, PagePort]:
    for cable in bench.cables:
        port = cable.port.kept if isinstance(cable.port, KeepingPort) else cable.port
        if isinstance(port, PagePort):
            return cable, port
    raise SessionError("no gauge of this bench types into this page")

"""What a gauge sent, out of a record: its bytes with their times, to be played again."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from gaugelink.errors import RecordError
from gaugelink.events import (
    ReadingParked,
    ReadingRefused,
    ReadingTaken,
    SweepParked,
    SweepTaken,
)
from gaugelink.ports.replay import Recorded
from gaugelink.wire.base import Value
from gaugelink.wire.bits import ClockedFrame
from gaugelink.wire.bridge import ThroughBridge

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from gaugelink.events import Event
    from gaugelink.wire.base import Item
    from gaugelink.wire.driver import Driver

BRIDGE_LINE: Final = re.compile(rb"@1 bits (?P<channel>[1-9]) ")
NEW_RUN_NS = 1_000_000_000
"""The monotonic clock begins anew with each start of the program; a start is played as a second."""


def recording_of(events: Iterable[Event], gauge: str, driver: Driver) -> list[Recorded]:
    """Gather what a gauge sent.

    A reading has the time at which it was put on record; the samples of a sweep have their own
    times, the last of them at the moment at which the sweep was put on record. What came and was
    never wanted (a gauge that sends all the time) is in no record, nor is noise.

    Args:
        events: of the record, in order.
        gauge: the gauge's mark.
        driver: the driver that decoded it then; cuts the bytes of a sweep into its samples.

    Returns:
        The bytes, the first at the time 0.

    Raises:
        RecordError: the driver does not find as many samples in a sweep as the record has.
    """
    found: list[Recorded] = []
    shift = before = 0
    first = True
    for mono_ns, portions in _sent(events, gauge, driver):
        if first:
            shift, first = -(mono_ns + portions[0].t_ns), False
        elif mono_ns + portions[0].t_ns + shift < before:
            shift = before + NEW_RUN_NS - (mono_ns + portions[0].t_ns)
        found += [Recorded(mono_ns + item.t_ns + shift, item.data) for item in portions]
        before = found[-1].t_ns
    return found


def _sent(
    events: Iterable[Event], gauge: str, driver: Driver
) -> Iterator[tuple[int, list[Recorded]]]:
    """Give each entry's time, and its bytes with times relative to it."""
    for event in events:
        match event:
            case ReadingTaken(stamp=stamp, tag=tag, raw=raw) if tag.gauge == gauge:
                yield stamp.mono_ns, [Recorded(0, raw)]
            case ReadingParked(stamp=stamp, gauge=mark, raw=raw) if mark == gauge:
                yield stamp.mono_ns, [Recorded(0, raw)]
            case ReadingRefused(stamp=stamp, gauge=mark, raw=raw) if mark == gauge:
                yield stamp.mono_ns, [Recorded(0, raw)]
            case SweepTaken(stamp=stamp, tag=tag) if tag.gauge == gauge:
                yield stamp.mono_ns, _samples(event, driver)
            case SweepParked(stamp=stamp, gauge=mark) if mark == gauge:
                yield stamp.mono_ns, _samples(event, driver)
            case _:
                pass


def _samples(sweep: SweepTaken | SweepParked, driver: Driver) -> list[Recorded]:
    items = _items(sweep.raw, driver)
    values = [item.raw for item in items if isinstance(item, Value)]
    times = sweep.trace.t_us
    if b"".join(values) != sweep.raw or len(values) != len(times):
        where = sweep.tag.position.words if isinstance(sweep, SweepTaken) else "no position"
        raise RecordError(
            f"the sweep of {where} has {len(times)} samples, and the driver "
            f"{driver.name} finds {len(values)} in its bytes; give the driver that decoded it then"
        )
    return [
        Recorded((t_us - times[-1]) * 1000, raw) for t_us, raw in zip(times, values, strict=True)
    ]


def _items(raw: bytes, driver: Driver) -> list[Item]:
    """Cut the bytes of a sweep; a clocked gauge behind a bridge has whole lines of it on record."""
    line = BRIDGE_LINE.match(raw)
    if line is not None and isinstance(driver.frame, ClockedFrame):
        channel = int(line["channel"])
        through = ThroughBridge(driver.frame, channel)
        return through.feed(raw) + through.end()
    decoder = driver.decoder()
    return decoder.feed(raw) + decoder.end()

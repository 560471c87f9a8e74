"""What comes out of a cable: values with their gauges, sentences, and what is to be sent back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gaugelink.capture.channel import Channel
    from gaugelink.wire.base import Value


@dataclass(frozen=True, slots=True)
class Arrived:
    """A value, and the gauge that sent it; late where newer ones came with it after a silence."""

    channel: Channel
    value: Value
    late: bool = False


@dataclass(frozen=True, slots=True)
class BatterySaid:
    """A gauge says how its battery is."""

    channel: Channel
    low: bool
    words: str


@dataclass(frozen=True, slots=True)
class Remark:
    """Something about the cable that the operator is to be told.

    Attributes:
        words: the sentence; empty where it was told before.
        gauges: the gauges whose stream has a gap here, by their mark.
        flag: what is said of a sweep that one of them is recording.
    """

    words: str
    gauges: tuple[str, ...] = ()
    flag: str = ""


@dataclass(frozen=True, slots=True)
class Send:
    """Bytes that the other end of the cable needs now."""

    data: bytes

"""A port and the gauges behind it: bytes in, values out, each under its own gauge.

Behind most ports sits one gauge. A multiplexer or a bridge has several, and says with each value
which of them it came from. A value is never given to a gauge that is not known by that mark.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from gaugelink.capture.arrivals import Arrived, BatterySaid, Remark, Send
from gaugelink.capture.bridged import Bridge, is_bridge
from gaugelink.capture.signs import LATE_NS, battery_reply, bunch_words, came_late, link_words
from gaugelink.errors import InputError
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.keystrokes import KeystrokesFrame

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from gaugelink.capture.bridged import Said
    from gaugelink.capture.channel import Channel
    from gaugelink.ports.identity import PortIdentity
    from gaugelink.ports.port import Port
    from gaugelink.wire.base import Decoder
    from gaugelink.wire.driver import Driver


Item = Arrived | BatterySaid | Remark | Send

_KEYS: Final = "\n"
"""Under this it is noted that stray keys have been told of; no gauge is marked so."""


@dataclass(slots=True, eq=False)
class Cable:
    """One port and the gauges behind it.

    Args:
        port: the port; nothing is opened here.
        channels: the gauges by the mark that the wire gives them: "" where the port has one gauge
            and says nothing of it, ``01`` and so on of a multiplexer, ``1`` to ``9`` of a bridge.
        identity: what the port's adapter is known by; None: once lost it is not looked for.
        plug: makes a port of the same kind and settings under another name.

    Attributes:
        here: the port is open.
        decoder: takes the bytes of the port apart.
        bytes_in: bytes since the start.
        noise_bytes: those that made no value.
        heard_ns: when the last of them came.

    Raises:
        InputError: no gauge is behind the port, or they do not speak alike and it is no bridge.
    """

    port: Port
    channels: Mapping[str, Channel]
    identity: PortIdentity | None = None
    plug: Callable[[str], Port] | None = None
    here: bool = False
    decoder: Decoder | Bridge = field(init=False)
    bytes_in: int = 0
    noise_bytes: int = 0
    heard_ns: int = 0
    _driver: Driver = field(init=False)
    _bridged: bool = field(init=False)
    _told: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        """Start decoding; the stream is joined somewhere in the middle."""
        if not self.channels:
            raise InputError(f"{self.port.name} has no gauge; accepted: one or more")
        self._bridged = is_bridge(self.channels)
        drivers = {channel.driver.name: channel.driver for channel in self.channels.values()}
        for mark, channel in self.channels.items():
            if channel.driver.port.kind == "bridge" and not mark:
                raise InputError(
                    f"the gauge {channel.gauge.id} on {self.port.name} is behind a bridge; "
                    "accepted: its channel there, 1 to 9"
                )
        if len(drivers) > 1 and not self._bridged:
            raise InputError(
                f"the gauges on {self.port.name} have the drivers {' and '.join(drivers)}; "
                "accepted: the same for all of them"
            )
        self._driver = next(iter(drivers.values()))
        self.decoder = self._fresh()

    @property
    def titles(self) -> str:
        """Name the gauges to a person: ``Micrometer, Bore gauge and Caliper``."""
        *most, last = [channel.gauge.title for channel in self.channels.values()]
        return f"{', '.join(most)} and {last}" if most else last

    @property
    def link(self) -> str:
        """How much of what came was noise, in words; empty where nothing was."""
        return link_words(self.bytes_in, self.noise_bytes)

    @property
    def several(self) -> bool:
        """Whether there is more than one gauge behind the port."""
        return len(self.channels) > 1

    @property
    def greeting(self) -> bytes:
        """What the other end is sent at opening; nothing, where no bridge is there."""
        return self.decoder.greeting if isinstance(self.decoder, Bridge) else b""

    def feed(self, data: bytes, mono_ns: int) -> list[Item]:
        """Decode what came, counting what made no value.

        Args:
            data: the bytes.
            mono_ns: when they came. After a silence as long as the driver's pause a new frame
                begins; what had begun before it is dropped.
        """
        items: list[Said] = []
        silence_ns = mono_ns - self.heard_ns
        if silence_ns >= self._driver.pause_ns:
            items += self.decoder.gap()
        self.heard_ns = mono_ns
        self.bytes_in += len(data)
        items += self.decoder.feed(data)
        found: list[Item] = []
        for item in items:
            match item:
                case Value():
                    found += self._value(item)
                case Noise() | Partial():
                    self.noise_bytes += len(item.raw)
                    found += self._reply(item.why)
                    found += self._stray_keys(item)
                case Remark() | Send():
                    found.append(item)
        return self._with_late(found, silence_ns) if silence_ns >= LATE_NS else found

    def restart(self, mono_ns: int) -> None:
        """Begin a new stream: the port was opened, now, or again."""
        self.heard_ns = mono_ns
        self.decoder = self._fresh()
        self._told.clear()
        for channel in self.channels.values():
            channel.restart()

    def _fresh(self) -> Decoder | Bridge:
        if self._bridged:
            return Bridge(self.port.name, self.channels)
        return self._driver.decoder(joined_midstream=True)

    def _with_late(self, found: list[Item], silence_ns: int) -> list[Item]:
        """Mark what came late: all but the newest of several values that came at once."""
        for channel in self.channels.values():
            if channel.driver.sends != "all the time":
                continue
            places = [n for n, item in enumerate(found)
                      if isinstance(item, Arrived) and item.channel is channel]  # fmt: skip
            if not came_late(len(places), silence_ns):
                continue
            for place in places[:-1]:
                item = found[place]
                assert isinstance(item, Arrived)
                found[place] = Arrived(channel, item.value, late=True)
            words = bunch_words(channel.gauge.title, len(places), silence_ns)
            said = words if channel.gauge.id not in self._told else ""
            self._told.add(channel.gauge.id)
            found.append(Remark(said, (channel.gauge.id,), words))
        return found

    def _reply(self, why: str) -> list[Item]:
        """Tell what a line without a number says of the battery; with several gauges, of none."""
        reply = None if self.several else battery_reply(why)
        return [BatterySaid(next(iter(self.channels.values())), *reply)] if reply else []

    def _stray_keys(self, item: Noise | Partial) -> list[Item]:
        """Tell of keys that are no value, once up to the next end: somebody may think they are."""
        frame = self._driver.frame
        if not isinstance(frame, KeystrokesFrame):
            return []
        said = _KEYS in self._told
        self._told.add(_KEYS)
        if item.raw.endswith(frame.ends):
            self._told.discard(_KEYS)
        words = f"{self.titles}: keys came that are no value ({item.why})"
        return [] if said else [Remark(words)]

    def _value(self, value: Value) -> list[Item]:
        channel = self.channels.get(value.channel)
        if channel is not None:
            channel.last = value
            channel.values += 1
            battery = channel.signs.battery(value)
            arrived: list[Item] = [Arrived(channel, value)]
            return [BatterySaid(channel, *battery), *arrived] if battery else arrived
        # A gauge that sends all the time would drown everything else that is told.
        if value.channel in self._told and self._driver.sends == "all the time":
            return []
        self._told.add(value.channel)
        where = f"channel {value.channel}" if value.channel else "a gauge without a channel"
        return [
            Remark(
                f"{value.shown} came from {where} on {self.port.name}, and no gauge of this bench "
                "is entered there; it is not on record"
            )
        ]


def alone(
    port: Port,
    channel: Channel,
    identity: PortIdentity | None = None,
    plug: Callable[[str], Port] | None = None,
) -> Cable:
    """Make the cable of a gauge that has a port to itself; the arguments are those of `Cable`.

    Behind a bridge it is the gauge on the channel that its driver file names.
    """
    on_bridge = channel.driver.port.channel
    return Cable(port, {str(on_bridge or ""): channel}, identity, plug)

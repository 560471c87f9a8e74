"""A bench with several gauges behind one port, on the same clock and record as `bench_kit`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from bench_kit import KEY, SHEET, Audience, Clock, Rig, WatchedStore
from cable_kit import make_cable

from gaugelink import content, sheetfile
from gaugelink.capture.bench import Bench
from gaugelink.capture.cable import Cable as Wires
from gaugelink.capture.channel import Channel, line_of
from gaugelink.plan import plan_for
from gaugelink.ports.serial import SerialPort
from gaugelink.ports.tcp import TcpPort
from gaugelink.reading import Gauge
from gaugelink.session import Session
from gaugelink.wire.driver import Driver, load_driver

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from cable_kit import Cable

    from gaugelink.ports.port import Port

KEY_OF = {"M1": "micrometer", "I1": "indicator", "D1": "depth gauge", "C1": "caliper"}


def gauge_of(mark: str, driver: str = "") -> Gauge:
    """A gauge of the test bench."""
    kind = KEY_OF[mark]
    return Gauge(mark, kind, kind.capitalize(), f"no. {mark}", driver, 1_900_000, "2030-01-01")


def driver_of(name: str) -> Driver:
    """A driver that ships."""
    return load_driver(*content.read("drivers", name))


class NoPort:
    """A port for tests that open none."""

    name = "the port"


def wires(behind: Mapping[str, str], driver: str | Mapping[str, Driver]) -> Wires:
    """A cable that is not plugged in: wire mark to gauge, and the driver or that of each mark."""
    channels = {
        mark: Channel(
            gauge_of(gauge), driver_of(driver) if isinstance(driver, str) else driver[mark]
        )
        for mark, gauge in behind.items()
    }
    return Wires(NoPort(), channels)


@dataclass
class SharedRig(Rig):
    """A rig whose gauges are all behind one cable."""

    wires: Wires

    @property
    def cable(self) -> Cable:
        """The box's end of the cable."""
        return next(iter(self.cables.values()))

    def say(self, data: bytes) -> None:
        """Have the box send something."""
        self.sent["all"] += len(data)
        self.cable.send(data)

    async def taken_in(self) -> None:
        """Wait until everything that was sent has been dealt with."""
        mark = next(iter(self.bench.channels))
        await self.bench.heard(mark, self.sent["all"])

    async def said(self, data: bytes, *, after_s: float = 2.0) -> None:
        """Let some time pass, send, and wait for the end."""
        self.clock.pass_s(after_s)
        self.say(data)
        await self.taken_in()

    def plug_again(self) -> Cable:
        """Plug the box in again; everything that was sent before is forgotten."""
        cable = make_cable()
        for mark in self.cables:
            self.cables[mark] = cable
        self.wires.bytes_in = self.sent["all"] = 0
        return cable

    def port(self, name: str) -> Port:
        """A port as the box needs it."""
        driver = next(iter(self.bench.channels.values())).driver
        if name.startswith("tcp://"):
            return TcpPort(name, self.clock.mono_ns)
        return SerialPort(name, line_of(driver), self.clock.mono_ns)


def make_shared(
    folder: Path, behind: Mapping[str, str], driver: str | Mapping[str, Driver]
) -> SharedRig:
    """Plug several gauges together behind one cable; nothing is opened yet.

    Args:
        folder: where the record goes.
        behind: the mark that the wire gives to each gauge.
        driver: the driver of all of them by its name, or that of each wire mark.
    """
    clock, audience, sheet = Clock(), Audience(), sheetfile.load(SHEET, "sheet.toml")
    cable = make_cable()
    both = wires(behind, driver)
    registered = {item.gauge.id: item.gauge for item in both.channels.values()}
    store = WatchedStore.create(folder / "job.record", key=KEY)
    session = Session(plan_for(sheet), registered, "as received")
    bench = Bench(session, store, clock, [both], "A. N. Other", "bench 1", audience)
    rig = SharedRig(folder, sheet, clock, audience, dict.fromkeys(registered, cable), store, bench,
                    {"all": 0}, both)  # fmt: skip
    both.port = rig.port(cable.name)
    return rig

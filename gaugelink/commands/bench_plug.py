"""The cables of a bench: which port each is now, and what it is to be known by."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from gaugelink.capture.cable import Cable
from gaugelink.capture.channel import Channel, line_of
from gaugelink.errors import InputError
from gaugelink.ports.absent import AbsentPort
from gaugelink.ports.identity import NotFound, PortIdentity, find, identity_of
from gaugelink.ports.keeping import KeepingPort, Recording, file_name
from gaugelink.ports.naming import port_for
from gaugelink.ports.replay import REPLAY

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gaugelink.benchfile import BenchFile, Placed, Where
    from gaugelink.capture.clock import Clock
    from gaugelink.ports.identity import PresentPort
    from gaugelink.ports.port import Port


class Plugging:
    """Makes the cables of a bench.

    Args:
        file: the bench file.
        job: the name of the job; recordings carry it in theirs.
        clock: the clocks of the bench.
        tell: is told what is wrong with a recording, from a port's thread.
    """

    def __init__(
        self, file: BenchFile, job: str, clock: Clock, tell: Callable[[str], None]
    ) -> None:
        self._file = file
        self._job = job
        self._clock = clock
        self._tell = tell

    def cables(self, present: Sequence[PresentPort]) -> list[Cable]:
        """Make them all; opens nothing.

        Raises:
            InputError: two of them are the same port, or a recording cannot be read.
        """
        found: list[Cable] = []
        names: dict[str, Placed] = {}
        for where, gauges in self._file.by_place():
            cable = self._cable(where, gauges, present)
            name = os.path.realpath(cable.port.name)  # a link is another name of the same port
            if name in names:
                raise InputError(
                    f"{where.words} is {cable.port.name}, and the gauge {names[name].gauge.id} is "
                    "on that already; accepted: a port of its own, or the same text and a channel "
                    "at both",
                    file=self._file.file, line=gauges[0].line, field="gauge",
                )  # fmt: skip
            names[name] = gauges[0]
            found.append(cable)
        return found

    def _cable(
        self, where: Where, gauges: Sequence[Placed], present: Sequence[PresentPort]
    ) -> Cable:
        driver = gauges[0].driver
        mark = "-".join(item.gauge.id for item in gauges)
        recording = self._recording(mark)

        def plug(name: str) -> Port:
            port = port_for(name, line_of(driver), self._clock.mono_ns)
            return KeepingPort(port, recording) if recording is not None else port

        channels = {item.channel: Channel(item.gauge, item.driver) for item in gauges}
        if where.identity is not None:
            now = find(where.identity, present)
            port = AbsentPort(where.words, now.reason) if isinstance(now, NotFound) else (
                plug(now.name)
            )  # fmt: skip
            return Cable(port, channels, where.identity, plug)
        return Cable(plug(where.name), channels, identity_now(where.name, present), plug)

    def _recording(self, mark: str) -> Recording | None:
        if self._file.keep_bytes is None:
            return None
        utc = self._clock.utc()
        day = utc[:19].replace("-", "").replace(":", "")
        path = self._file.keep_bytes / f"{file_name(f'{self._job}-{mark}-{day}')}.txt"
        return Recording(
            path, f"{mark} on {self._file.name}, job {self._job}, from {utc}", self._tell
        )


def identity_now(name: str, present: Sequence[PresentPort]) -> PortIdentity | None:
    """Say what a port that the bench file names is to be known by while the bench runs.

    An adapter that is here is known by itself from now on. What the system does not list (a link, a
    pseudo-terminal, an address, an adapter that is still to come) is known by its name; a recording
    that is over does not come back.
    """
    if name.startswith(REPLAY):
        return None
    real = os.path.realpath(name) if "://" not in name else name
    for port in present:
        if port.name in {name, real}:
            return identity_of(port, present)
    return PortIdentity("given name", name=name)

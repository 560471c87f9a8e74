"""A counter with a display, served by pymodbus: a Modbus device that shares no code with ours.

Written against pymodbus 3.16, whose device model and servers change between versions.
"""

from __future__ import annotations

import asyncio
import queue
import threading
from typing import TYPE_CHECKING

from cable_kit import PATIENCE_S, Sink
from pymodbus.framer import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from gaugelink.ports.port import Chunk
from gaugelink.wire.base import Noise, Value

if TYPE_CHECKING:
    from collections.abc import Callable

    from pymodbus.constants import ExcCodes
    from pymodbus.server.base import ModbusBaseServer

    from gaugelink.ports.port import Port
    from gaugelink.wire.base import Item
    from gaugelink.wire.driver import Driver


class Counter:
    """What the counter shows, and how it behaves. Change it while it runs, as at its buttons.

    The places of the registers are those of drivers/modbus-*.toml: value in two, places, unit, and
    four more in which a second program may be interested.

    Attributes:
        refuses: answers with this exception instead.
        asked: start and number of the registers of each request, in order.
        turn: cleared, it takes its time to answer until it is set.
    """

    def __init__(self, *, low_word_first: bool = False, address: int = 1) -> None:
        self.address = address
        self.refuses: ExcCodes | None = None
        self.asked: queue.Queue[tuple[int, int]] = queue.Queue()
        self.turn = threading.Event()
        self.turn.set()
        self._low_word_first = low_word_first
        self._registers = [0] * 8
        self.show(0, 3, "mm")

    def show(self, counts: int, places: int, unit: str) -> None:
        """Show ``counts`` of the last place: ``show(7965, 3, "mm")`` is 7.965 mm."""
        high, low = divmod(counts % 2**32, 2**16)
        value = [low, high] if self._low_word_first else [high, low]
        self._registers = [*value, places, {"mm": 0, "in": 1}.get(unit, 7), 111, 222, 3, 0]

    def device(self) -> SimDevice:
        """Make the device for pymodbus."""
        data = SimData(0, values=self._registers, datatype=DataType.REGISTERS)
        return SimDevice(self.address, [data], action=self._answer)

    async def _answer(
        self,
        _function: int,
        _first: int,
        address: int,
        count: int,
        registers: list[int],
        _written: list[int] | list[bool] | None,
    ) -> ExcCodes | None:
        self.asked.put((address, count))
        await asyncio.to_thread(self.turn.wait, PATIENCE_S)
        registers[:] = self._registers
        return self.refuses


class Served:
    """A counter that is being served, by a thread with a loop of its own, until `stop`.

    Attributes:
        number: of its TCP port; 0 on a serial line.
    """

    def __init__(self, make: Callable[[], ModbusBaseServer]) -> None:
        self._make = make
        self._ready = threading.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._over: asyncio.Event | None = None
        self.number = 0
        self._fault: Exception | None = None
        self._thread = threading.Thread(target=self._run)
        self._thread.start()
        assert self._ready.wait(PATIENCE_S)
        if self._fault is not None:
            self._thread.join()
            raise self._fault

    def _run(self) -> None:
        try:
            asyncio.run(self._serve())
        except Exception as fault:  # noqa: BLE001  told to the test, which waits
            self._fault = fault
        finally:
            self._ready.set()

    async def _serve(self) -> None:
        self._loop, self._over = asyncio.get_running_loop(), asyncio.Event()
        server = self._make()
        await server.serve_forever(background=True)
        sockets = getattr(server.transport, "sockets", ())
        self.number = sockets[0].getsockname()[1] if sockets else 0
        self._ready.set()
        await self._over.wait()
        await server.shutdown()

    def stop(self) -> None:
        """Switch the counter off."""
        if self._thread.is_alive():
            assert self._loop is not None
            assert self._over is not None
            self._loop.call_soon_threadsafe(self._over.set)
        self._thread.join()


def serve_rtu(counter: Counter, name: str) -> Served:
    """Serve a counter on a serial line. A pseudo-terminal has no parity."""
    return Served(
        lambda: ModbusSerialServer(
            counter.device(), framer=FramerType.RTU, port=name, baudrate=19200, parity="N"
        )
    )


def serve_tcp(counter: Counter, *, rtu: bool = False) -> Served:
    """Serve a counter in the network, with Modbus TCP or with RTU frames."""
    framer = FramerType.RTU if rtu else FramerType.SOCKET
    return Served(
        lambda: ModbusTcpServer(counter.device(), framer=framer, address=("127.0.0.1", 0))
    )


class Asker:
    """Our side: a port and a driver's decoder, as capture joins them."""

    def __init__(self, port: Port, driver: Driver) -> None:
        self.port, self.driver = port, driver
        self.sink = Sink()
        self.sent = 0
        self.raw = b""
        self._decoder = driver.decoder()
        port.open(self.sink)

    def ask(self) -> None:
        """Send the driver's request."""
        assert self.driver.request is not None
        self.port.write(self.driver.request)
        self.sent += 1

    def hear(self, count: int = 1) -> list[Item]:
        """Wait for so many items."""
        items: list[Item] = []
        while len(items) < count:
            chunk = self.sink.next()
            assert isinstance(chunk, Chunk), chunk
            self.raw += chunk.data
            items += self._decoder.feed(chunk.data)
        assert len(items) == count, items
        return items

    def value(self) -> str:
        """Ask, and give the value that comes, in words."""
        self.ask()
        (item,) = self.hear()
        assert isinstance(item, Value), item
        return str(item.shown)

    def noise(self) -> str:
        """Ask, and give the reason why what comes is no value."""
        self.ask()
        (item,) = self.hear()
        assert isinstance(item, Noise), item
        return item.why

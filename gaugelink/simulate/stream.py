"""Streams that simulated gauges speak on: pseudo-terminals, or loopback TCP where there are none.

`open_endpoint` picks: `stream_posix` holds everything that only exists on Unix-like systems,
`stream_tcp` is its counterpart for Windows, and works everywhere.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable


class Endpoint(Protocol):
    """The gauge's end of a stream; `name` is what the program opens at the other end."""

    name: str

    def write(self, data: bytes) -> None:
        """Send bytes; what nobody reads in time is lost, as on a serial line."""
        ...

    def close(self) -> None:
        """Pull the cable."""
        ...


async def open_endpoint(
    heard: Callable[[bytes], None], *, tcp: bool = sys.platform == "win32"
) -> Endpoint:
    """Make a stream; `heard` is called with whatever the program sends to the gauge."""
    if tcp or sys.platform == "win32":
        from gaugelink.simulate.stream_tcp import TcpEndpoint  # noqa: PLC0415

        return await TcpEndpoint.create(heard)
    from gaugelink.simulate.stream_posix import TerminalEndpoint  # noqa: PLC0415

    return TerminalEndpoint(heard)

"""What stands for a port as long as nobody knows its name."""

from __future__ import annotations

from gaugelink.errors import PortError
from gaugelink.ports.port import Port


class AbsentPort(Port):
    """Stands for an adapter that is not plugged in; opening it says so."""

    def __init__(self, name: str, reason: str) -> None:
        super().__init__(name, lambda: 0)
        self._why = reason

    def _open(self) -> None:
        raise PortError(self._why)

    def _read(self) -> bytes:
        raise OSError(self._why)

    def _write(self, _data: bytes) -> None:
        raise OSError(self._why)

    def _close(self) -> None:
        """There is nothing to give back."""

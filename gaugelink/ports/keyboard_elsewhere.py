"""Where no program can have a keyboard to itself: says so, and what to use instead."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.errors import PortError
from gaugelink.ports.port import Port

if TYPE_CHECKING:
    from collections.abc import Callable

    from gaugelink.ports.identity import PresentPort
    from gaugelink.ports.keylayout import Layout


class KeyboardPort(Port):
    """A port that cannot be opened here."""

    def __init__(
        self,
        name: str,
        device: str,  # noqa: ARG002  the same call as where there is one
        layout: Layout,  # noqa: ARG002
        mono_ns: Callable[[], int],
    ) -> None:
        super().__init__(name, mono_ns)

    def _open(self) -> None:
        raise PortError(
            f"{self.name} cannot be opened: this system lets no program have a keyboard to itself; "
            "name the port page: instead, and let the gauge type into the capture field of the "
            "bench page"
        )

    def _read(self) -> bytes:
        raise OSError("not open")

    def _write(self, data: bytes) -> None:  # noqa: ARG002
        raise OSError("not open")

    def _close(self) -> None:
        """There is nothing to give back."""


def list_keyboards(_prefix: str) -> list[PresentPort]:
    """List none."""
    return []

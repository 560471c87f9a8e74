"""Who is told what happens on a bench."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from gaugelink.wire.base import Value


class Audience(Protocol):
    """Whoever is told: a page, a terminal, a test. Telling must not fail."""

    def live(self, gauge: str, value: Value) -> None:
        """A gauge shows a new figure."""
        ...

    def changed(self) -> None:
        """Something else is new: a reading is on disk, a gauge is lost, another place is next."""
        ...

    def say(self, level: str, words: str) -> None:
        """A sentence for the operator; level is ``note`` or ``warning``."""
        ...

"""The codecs there are. A new one is a module with a ``[frame]`` model, and a row here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gaugelink.wire.bcd28 import Bcd28Frame
from gaugelink.wire.bcd52 import Bcd52Frame
from gaugelink.wire.hidreport import HidReportFrame
from gaugelink.wire.keystrokes import KeystrokesFrame
from gaugelink.wire.line import LineFrame
from gaugelink.wire.registers import RegistersFrame
from gaugelink.wire.scale24 import Scale24Frame
from gaugelink.wire.scale48 import Scale48Frame

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.wire.settings import Frame

CODECS: Final[Mapping[str, type[Frame]]] = {
    "line": LineFrame,
    "bcd52": Bcd52Frame,
    "scale24": Scale24Frame,
    "scale48": Scale48Frame,
    "bcd28": Bcd28Frame,
    "modbus-registers": RegistersFrame,
    "keystrokes": KeystrokesFrame,
    "hid-report": HidReportFrame,
}
"""The model of the ``[frame]`` table, for each codec."""

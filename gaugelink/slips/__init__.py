"""Slips caught before a reading is recorded; docs/slips.md explains the rules.

`look` says what a value looks like that is not what it should be.
"""

from gaugelink.slips.look import look
from gaugelink.slips.note import Noted, read_note, write_note
from gaugelink.slips.rounds import Part, comparable
from gaugelink.slips.suspicion import Code, Suspicion, Taken

__all__ = [
    "Code",
    "Noted",
    "Part",
    "Suspicion",
    "Taken",
    "comparable",
    "look",
    "read_note",
    "write_note",
]

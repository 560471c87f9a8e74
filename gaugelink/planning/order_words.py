"""What a work order says at each step: what to do, which part, and what can hurt somebody.

Source: common practice, no source. The maker's manual comes before every word of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gaugelink.planning.task import FITS

if TYPE_CHECKING:
    from gaugelink.planning.task import Deed

TO_DO: Final[dict[Deed, str]] = {
    "replace guide": "Press the old guide out, a new one in, and ream it to size",
    "ream guide": "Ream the guide wider",
    "replace valve": "Fit a new valve",
    "move valve": "Fit the valve",
    "reface valve": "Grind the valve's face",
    "grind tip": "Grind the tip",
    "fit insert": "Fit a new seat insert and cut it until the valve sits this much higher than now",
    "cut seat": "Cut the seat",
    "skim": "Skim the face",
    "lap": "Lap the valve in, and keep it with its seat from now on",
    "replace spring": "Fit a new spring",
    "shim": "Shim the spring with",
}
"""What to do; the place, sizes and depths are told beside it."""

PART_OF: Final[dict[Deed, str]] = {**FITS, "shim": "shim"}
"""What a step fits."""

CAUTIONS: Final[dict[Deed, str]] = {
    "replace guide": "Press fit: wear eye protection and keep hands clear of the press. A heated "
    "head burns, dry ice and liquid nitrogen burn too and displace the air of a small room. A bore "
    "closes as its guide is pressed in: measure it again before any seat work.",
    "ream guide": "Wear eye protection; no gloves near a turning spindle. Ream before any seat "
    "work: the seat is cut on the guide's axis. Where the sheet has no limits of this size, those "
    "of the standard size hold, and the place is released by a signed deviation only.",
    "reface valve": "Grinding dust and sparks: eye protection, and do not breathe it. Never grind "
    "or cut a sodium-filled valve through. Scrap a valve whose margin falls short, whatever this "
    "order says.",
    "grind tip": "Grinding dust and sparks: eye protection. Never grind through the hardened layer "
    "of a tip; the maker says how deep it is.",
    "fit insert": "Press fit: a heated head and a chilled insert burn; dry ice and liquid nitrogen "
    "displace the air of a small room, so open it. Wear eye protection: an insert that is driven "
    "in can chip.",
    "cut seat": "Take gauge leads off before the machine is started; no gloves near a turning "
    "spindle. Grinding dust: eye protection, and do not breathe it.",
    "skim": "Hoist the head, never reach under it; its edges cut. Valves, injectors and "
    "prechambers stand prouder after a skim: see that nothing meets the piston. Never go below "
    "the maker's least thickness.",
    "lap": "Compound is an abrasive: keep it off guides, gauges and bearings, off skin and out of "
    "eyes, and wash twice.",
    "replace spring": "Springs under a compressor hold hundreds of newtons: guard face and hands, "
    "wear eye protection, and see that the compressor is seated before reaching for the keepers.",
    "shim": "Springs are under load again once they are compressed: guard face and hands. Shims "
    "bring back a height, never a tired spring.",
    "move valve": "Only where the maker lets valves change places, and before seats are finished.",
}
"""What can hurt somebody, or spoil the part, at a step."""

MAKER: Final = (
    "The manuals of the engine's and the machine's maker come first, then local law and a "
    "qualified person's judgement. Aviation, marine and rail parts need licensed release. Never go "
    "beyond a maker's limit because arithmetic says that a part could be saved."
)
"""Stands above all others."""

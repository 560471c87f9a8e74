"""What stands against releasing a head: `blocks` lists it, in plain words."""

from gaugelink.release.against import blocks, valves_of
from gaugelink.release.block import (
    KINDS,
    Block,
    Kind,
    Signable,
    signable,
    signed,
    value_text,
)
from gaugelink.release.common import (
    ChamberNow,
    chambers_in,
    commons_in,
    ends_words,
    limit_words,
    volumes_in,
)
from gaugelink.release.papers import beside, lapsed_words, signables
from gaugelink.release.springs import Sprung, coil_words, length, load_words, springs_in
from gaugelink.release.surprises import Surprise, surprises_in

__all__ = [
    "KINDS",
    "Block",
    "ChamberNow",
    "Kind",
    "Signable",
    "Sprung",
    "Surprise",
    "beside",
    "blocks",
    "chambers_in",
    "coil_words",
    "commons_in",
    "ends_words",
    "lapsed_words",
    "length",
    "limit_words",
    "load_words",
    "signable",
    "signables",
    "signed",
    "springs_in",
    "surprises_in",
    "value_text",
    "valves_of",
    "volumes_in",
]

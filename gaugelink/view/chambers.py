"""The chambers of a head, as its page and its report draw them."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

from gaugelink.planning.amount import shown
from gaugelink.planning.chamber import CUBIC_CM
from gaugelink.release import chambers_in, limit_words

if TYPE_CHECKING:
    from gaugelink.course import Course
    from gaugelink.judging import Judgement
    from gaugelink.planning.together import Common
    from gaugelink.release import ChamberNow

Document = dict[str, Any]


def chamber_documents(course: Course, judgement: Judgement) -> list[Document]:
    """Write what is known of every chamber, the first cylinder first; none without their table."""
    return [_document(one) for one in chambers_in(course, judgement)]


def _document(one: ChamberNow) -> Document:
    told = one.told
    volume = "" if one.volume is None else f"{float(Fraction(one.volume, CUBIC_CM)):.2f} cm3"
    return {
        "cylinder": one.cylinder,
        "state": "reckoned" if told is None else "measure again" if told.void else "measured",
        "void": told.void if told else "",
        "told": told.event.volume if told else "",
        "u": (told.event.u or "") if told else "",
        "by": told.event.by if told else "",
        "place": told.place if told else None,
        "volume": volume,
        **_judged("volume", one.room),
        "ratio": shown(one.ratio) if one.ratio else "",
        **_judged("ratio", one.ratio),
    }


def _judged(key: str, one: Common | None) -> Document:
    return {
        f"{key}_limit": limit_words(one) if one else "",
        f"{key}_verdict": one.verdict if one else "",
    }

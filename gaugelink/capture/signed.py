"""What people say and sign on a page: inspections, deviations, the release."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.capture.measured import judge_session
from gaugelink.deeds import FillChamber, Inspect, Release, SignDeviation, TellSpring
from gaugelink.errors import SessionError
from gaugelink.events import ChamberFilled, HeadReleased, Inspected, SpringTested
from gaugelink.planning.amount import shown
from gaugelink.planning.ties import VOLUME
from gaugelink.planning.together import RATIO
from gaugelink.release import (
    Signable,
    chambers_in,
    limit_words,
    load_words,
    signables,
    springs_in,
)

if TYPE_CHECKING:
    from gaugelink.capture.bench import Bench
    from gaugelink.judging import Judgement


async def inspect(bench: Bench, told: Inspect) -> str:
    """Put an inspection on record, and say so.

    Raises:
        SessionError: it cannot be told so.
    """
    [(_, event)] = await bench.do(told)
    assert isinstance(event, Inspected)
    owner = f" of {', '.join(event.valves)}" if event.valves else ""
    return f"{event.check}{owner}: {'sound' if event.sound else f'condemned, {event.words}'}"


async def tell_spring(bench: Bench, told: TellSpring) -> str:
    """Put the load of a spring on record, and say so, with what it comes to where it works.

    Raises:
        SessionError: it cannot be told so.
    """
    [(_, event)] = await bench.do(told)
    assert isinstance(event, SpringTested)
    said = f"spring of {event.valve}: {event.load} at {event.height}"
    known = next(one for one in springs_in(bench.session) if one.valve == event.valve)
    return f"{said}; {known.load}, {load_words(known)}" if known.load else said


async def tell_chamber(bench: Bench, told: FillChamber) -> str:
    """Put the volume of a chamber on record, and say so, with what it comes to.

    Raises:
        SessionError: it cannot be told so.
    """
    [(_, event)] = await bench.do(told)
    assert isinstance(event, ChamberFilled)
    said = f"chamber of cylinder {event.cylinder}: {event.volume}"
    now = chambers_in(bench.session, _judgement(bench))[event.cylinder - 1]
    for name, one in ((VOLUME, now.room), (RATIO, now.ratio)):
        if one is not None:
            said += f"; {name} {shown(one)}, {one.verdict}, against {limit_words(one)}"
    return said


async def sign_deviation(bench: Bench, told: SignDeviation) -> str:
    """Put a deviation on record for a verdict or a surprise as it stands now, and say so.

    Raises:
        SessionError: there is no such verdict now, or it is within; or no such surprise.
    """
    wanted = Signable(told.valve, told.characteristic, told.method, told.limit, told.value,
                      told.places)  # fmt: skip
    if wanted not in signables(bench.session, _judgement(bench)):
        raise SessionError("this stands no longer as it was seen; look at it again")
    await bench.do(told)
    return f"signed by {told.by.strip()}: {told.valve} {told.characteristic} {told.value}"


async def release(bench: Bench, by: str, words: str, seen: int) -> str:
    """Release the head, and say so.

    Args:
        bench: the bench.
        by: who signs.
        words: a remark.
        seen: how many entries the record had when the person looked.

    Raises:
        SessionError: something stands against it, or has gone on record since.
    """
    done = await bench.do(Release(by, words, _judgement(bench), seen))
    event = next(event for _, event in done if isinstance(event, HeadReleased))
    return f"released by {event.by}"


def _judgement(bench: Bench) -> Judgement:
    if bench.session.sheet is None:
        raise SessionError("there is no limit sheet to judge the head by")
    return judge_session(bench.session.sheet, bench.session, bench.analyses)

"""The round before: the readings of an earlier record of the same head, to hold values against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, get_args

from gaugelink.errors import InputError
from gaugelink.event_documents import events_of
from gaugelink.events import JobOpened, OtherSize
from gaugelink.record import read_signed
from gaugelink.session import Session
from gaugelink.slips import comparable
from gaugelink.slips.rounds import MADE_OF, Part
from gaugelink.work import STAGES

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from gaugelink.commands.bench_job import Taken
    from gaugelink.limits import Sheet
    from gaugelink.reading import Reading

FIELD = "--earlier"


@dataclass(frozen=True, slots=True)
class Before:
    """What the round before gave, as far as it can be compared.

    Attributes:
        readings: those that counted in it, without those of parts that are others now.
        words: which round it was, for the operator.
        sizes: the guides and valves that were of another size then, without those that are others
            now; None: there is no round before.
    """

    readings: Sequence[Reading] = ()
    words: str = ""
    sizes: tuple[OtherSize, ...] | None = None


def round_before(path: Path, changed: Sequence[str], taken: Taken) -> Before:
    """Read the record of the round before. Nothing in it is changed.

    Args:
        path: the record; it may be open in another program.
        changed: parts that were replaced or machined since, such as ``3E valve`` or ``face``.
        taken: the job on the bench, whose head it has to be.

    Raises:
        InputError: it is the job's own record, one of another head or sheet, of a stage that is
            not earlier, or of no job; or something among the changed is no part of this head.
        RecordError: no such file, not a record, or it does not fit what was signed.
    """
    parts = [_part(text, taken.sheet) for text in changed]
    if path.resolve() == taken.path.resolve():
        what = "this is the record of the job itself; name that of the round before"
        raise InputError(what, file=str(path), field=FIELD)
    events = list(events_of(read_signed(path), str(path)))
    opened = [event for _, event in events if isinstance(event, JobOpened)]
    if not opened:
        raise InputError("no job was ever opened in this record", file=str(path), field=FIELD)
    first = opened[0]
    here, there = taken.sheet, f"{first.sheet_name}, edition {first.sheet_edition}"
    for what, found, wanted, same in (
        ("head number", first.serial, taken.job.serial, first.serial == taken.job.serial),
        ("sheet", there, f"{here.name}, edition {here.edition}",
         first.sheet_sha256 == here.sha256),
    ):  # fmt: skip
        if not same:
            but = f"and the job {taken.job.name} has {wanted!r}"
            if found == wanted:
                but = "whose text was another one then"
            raise InputError(
                f"found the {what} {found!r}, {but}; a round can be compared only with one of the "
                "same head by the same sheet",
                file=str(path),
                field=FIELD,
            )
    if why := not_before(first.stage, taken.job.stage):
        raise InputError(why, file=str(path), field=FIELD)
    gauges = {gauge.id: gauge for event in opened for gauge in event.gauges}
    session = Session(taken.plan, gauges, first.stage, sheet=taken.sheet)
    for place, event in events:
        session.apply(place, event)
    counting = session.readings()
    readings = comparable(counting, parts)
    left_out = len(counting) - len(readings)
    words = (
        f"Values are held against the round before: {len(readings)} readings of {first.job}, "
        f"{first.stage}"
    )
    if left_out:
        words += f"; {left_out} more are left out, as their parts were changed since"
    sizes = tuple(
        OtherSize(valve, characteristic, size)
        for (valve, characteristic), size in sorted(session.sizes.items())
        if not {(valve, part) for part in MADE_OF[characteristic]}.intersection(parts)
    )
    if sizes:
        other = [f"{one.valve} {one.characteristic} {one.size}" for one in sizes]
        words += f". Of another size than the standard one since then: {', '.join(other)}"
    return Before(readings, words, sizes)


def not_before(stage: str, now: str) -> str:
    """Say why a record of one stage is not that of a round before another; empty where it is.

    A stage that is none of the five can only stand in an older record, and has no place among them.

    >>> not_before("as received", "after lapping")
    ''
    >>> not_before("final", "after cleaning")
    "found the stage 'final', which is not before 'after cleaning'; accepted: as received"
    """
    if stage not in STAGES or now not in STAGES:
        return ""
    before = STAGES[: STAGES.index(now)]
    if stage in before:
        return ""
    accepted = ", ".join(before) or "none, this is the first stage"
    return f"found the stage {stage!r}, which is not before {now!r}; accepted: {accepted}"


def _part(text: str, sheet: Sheet) -> tuple[str, Part]:
    """Read a part: ``3E valve`` is the one of that valve, ``face`` the head's.

    Raises:
        InputError: no such valve or part.
    """
    *valve, name = text.split() or [""]
    valves = [item.name for item in sheet.head.valves()]
    for part in get_args(Part):
        if name == part and (not valve if part == "face" else valve and valve[0] in valves):
            if len(valve) > 1:
                break
            return (valve[0] if valve else "", part)
    of_valves = ", ".join(part for part in get_args(Part) if part != "face")
    raise InputError(
        f"found {text!r}, accepted: face, or a valve ({', '.join(valves)}) and one of {of_valves}, "
        "such as '1I valve'",
        field="--changed",
    )

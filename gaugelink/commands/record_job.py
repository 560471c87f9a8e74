"""A job as a record holds it, for commands that only look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelink import sheetfile
from gaugelink.capture.measured import judge_session, measured_in
from gaugelink.capture.sweeping import analyse_trace
from gaugelink.errors import InputError, RecordError
from gaugelink.event_documents import events_of
from gaugelink.events import JobOpened, SweepTaken
from gaugelink.plan import plan_for
from gaugelink.record import read_signed
from gaugelink.session import Session

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from gaugelink.judging import Judgement, Measured
    from gaugelink.limits import Sheet
    from gaugelink.record import Entry


@dataclass(frozen=True, slots=True)
class RecordedJob:
    """A job of a record.

    Attributes:
        opened: how it was opened.
        sheet: its limits, as the record has them.
        session: where it stands.
        measured: what counts.
        judgement: all of it held against the sheet.
    """

    opened: JobOpened
    sheet: Sheet
    session: Session
    measured: list[Measured]
    judgement: Judgement


def read_job(path: Path) -> RecordedJob:
    """Read a job from its record. Nothing in it is changed, and it may be open elsewhere.

    Raises:
        InputError: the record has no job.
        RecordError: no such file, not a record, or it does not fit what was signed.
        SessionError: the record holds something that its sheet's plan has no step for.
    """
    entries = read_signed(path)
    try:
        return job_of(entries, str(path))
    except (LookupError, ValueError) as fault:
        # Each entry is as it was signed, yet one names a gauge or an entry that the others lack.
        what = f"its entries contradict each other ({fault}); run gaugelink verify on it"
        raise RecordError(f"{path}: {what}") from fault


def job_of(entries: Iterable[Entry], file: str) -> RecordedJob:
    """Make the job that entries of a record tell of; the first ones alone tell how it stood then.

    Args:
        entries: from the first one on.
        file: the record's name for messages.

    Raises:
        InputError: no job was opened in them.
        RecordError: one of them is no event.
        SessionError: they hold something that the sheet's plan has no step for.
    """
    events = list(events_of(entries, file))
    opened = [event for _, event in events if isinstance(event, JobOpened)]
    if not opened:
        raise InputError("no job was ever opened in this record", file=file)
    sheet = sheetfile.load(opened[0].sheet_text, f"the sheet in {file}")
    gauges = {gauge.id: gauge for event in opened for gauge in event.gauges}
    session = Session(plan_for(sheet), gauges, opened[0].stage, sheet=sheet)
    for place, event in events:
        session.apply(place, event)
    analyses = {
        place: analyse_trace(event.trace, gauges[event.tag.gauge].u_pm)
        for place, event in events
        if isinstance(event, SweepTaken)
    }
    measured = measured_in(sheet, session, analyses)
    judgement = judge_session(sheet, session, analyses)
    return RecordedJob(opened[0], sheet, session, measured, judgement)

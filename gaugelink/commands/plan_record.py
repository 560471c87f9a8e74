"""A head to be planned as a record holds it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.commands.plan_file import load_prices
from gaugelink.commands.record_job import read_job
from gaugelink.force import parse_force
from gaugelink.planning.survey import Findings, Survey, survey
from gaugelink.planning.task import Shop
from gaugelink.planning.working import married
from gaugelink.release import volumes_in

if TYPE_CHECKING:
    from pathlib import Path

    from gaugelink.session import Session

MAGIC = b"SQLite format 3\0"
"""The first bytes of a record (SQLite's file format, section 1.3)."""


def is_record(path: Path) -> bool:
    """Tell whether a file is a record rather than a job file; a file that is not there is none."""
    try:
        with path.open("rb") as file:
            return file.read(len(MAGIC)) == MAGIC
    except OSError:
        return False


def survey_record(path: Path, prices: tuple[str, str] | None) -> Survey:
    """Make the task of a recorded job.

    Args:
        path: the record; it may be open in another program.
        prices: content and name of a price file; None: nothing is offered.

    Raises:
        InputError: a file is bad.
        RecordError: it is not a record, or does not fit what was signed.
    """
    job = read_job(path)
    shop = load_prices(*prices, kinds=job.sheet.head.kinds) if prices else Shop("", {})
    return survey(job.sheet, job.measured, job.judgement, shop, findings_of(job.session),
                  job.opened.job, job.session.sizes)  # fmt: skip


def findings_of(session: Session) -> Findings:
    """Collect what people have said in a session that the readings do not tell."""
    valves = dict.fromkeys(step.position.valve for step in session.plan)
    condemned = {
        (valve, str(check)): looked.event.words
        for (check, valve), looked in session.signoff.looked(valves, session.work).items()
        if not looked.event.sound and not looked.void
    }
    loads = {
        valve: (parse_force(told.event.load), parse_force(told.event.u or "0 N"))
        for valve, told in session.signoff.tested(session.work).items()
        if not told.void
    }
    return Findings(condemned, married(session.work), loads, volumes_in(session))

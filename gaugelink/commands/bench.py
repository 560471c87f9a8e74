"""Run a bench: capture from its gauges, show the bench page, keep the record.

CONFIG is a bench file (docs/bench.md): the gauges, where each is plugged in, and the usual job. The
record is RECORD/JOB.sqlite; a job that is there already goes on where it stood. A gauge that is not
plugged in is lost until it comes; its steps can be skipped. Ctrl-C ends the bench, not the job.

With --earlier values are held against what the same places gave in the round before; a value that
differs by more than cleaning and lapping do is asked about (docs/slips.md).

With --report no port is opened: the verdicts are put on record and the report is written.

Exit status: 0 everything is measured and within; 1 something is outside, undecided or not measured;
2 the bench file, the job or the command is bad, or the record is open in another program.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelink import content
from gaugelink.errors import InputError
from gaugelink.work import STAGES

if TYPE_CHECKING:
    import argparse

    from gaugelink.commands.bench_run import Outcome


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("config", metavar="CONFIG", help="the bench file")
    parser.add_argument("--job", metavar="NAME", help="the job; its record is a file of this name")
    parser.add_argument("--head", metavar="TITLE", help="what the head is, for a new job")
    parser.add_argument("--serial", metavar="NUMBER", help="the head's number, for a new job")
    parser.add_argument("--stage", metavar="STAGE", help=", ".join(STAGES) + "; for a new job")
    parser.add_argument(
        "--sheet", metavar="SHEET", help="a limit sheet that ships, or a .toml file"
    )
    parser.add_argument("--operator", metavar="NAME", help="who works here now")
    parser.add_argument("--earlier", metavar="RECORD.sqlite", type=Path,
                        help="record of this head's round before, to compare with")  # fmt: skip
    parser.add_argument("--changed", metavar="PART", action="append", default=[],
                        help="a part that is another or was machined since the round before, such "
                        'as "3E valve" or "face"; may be given again')  # fmt: skip
    parser.add_argument("--port", type=int, metavar="N",
                        help="port of the page; 0 takes a free one")  # fmt: skip
    parser.add_argument("--report", metavar="OUT.pdf", type=Path,
                        help="judge the job as it stands and write its report")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Run the bench until Ctrl-C, or write the report.

    Raises:
        InputError: the bench file, the job or the sheet are bad.
        PortError: the page's port is taken.
        RecordError: the record is open in another program, or cannot be used.
    """
    from gaugelink import benchfile  # noqa: PLC0415  heavy, and only wanted here
    from gaugelink.commands import bench_job  # noqa: PLC0415

    file = benchfile.load(content.read_text(Path(args.config)), args.config)
    page = file.page if args.port is None else args.port
    if not 0 <= page <= 65535:
        raise InputError(f"found {page}, accepted: 0 to 65535", field="--port")
    if args.report is not None and args.report.exists():
        what = "this file exists, and a report is never overwritten; give another name"
        raise InputError(what, file=str(args.report), field="--report")
    wanted = bench_job.Wanted(args.job, args.head, args.serial, args.stage, args.sheet)
    taken = bench_job.take(file, wanted, new=args.report is None)
    try:
        from gaugelink.commands.bench_earlier import Before, round_before  # noqa: PLC0415
        from gaugelink.commands.bench_run import BenchRun  # noqa: PLC0415

        before = Before()
        if (earlier := args.earlier or bench_job.own_earlier(file, taken)) is not None:
            before = round_before(earlier, args.changed, taken)
        elif args.changed:
            raise InputError("accepted only together with --earlier, or earlier in [job]",
                             field="--changed")  # fmt: skip
        bench = BenchRun(file, taken, args.operator or file.operator, _tell, before=before)
        work = bench.work(page) if args.report is None else bench.report(args.report)
        outcome = asyncio.run(work)
    finally:
        taken.leave()
    if args.json:
        print(json.dumps(outcome.document(), ensure_ascii=False))
    else:
        _print(outcome)
    return outcome.status


def _tell(words: str) -> None:
    with contextlib.suppress(OSError):  # the terminal is gone; the page and the record are not
        print(words, file=sys.stderr, flush=True)


def _print(outcome: Outcome) -> None:
    counts = outcome.counts
    print(
        f"{outcome.job}: {outcome.readings} readings and {outcome.sweeps} rock sweeps: "
        f"{counts['within']} within, {counts['outside']} outside, {counts['undecided']} undecided, "
        f"{len(outcome.not_measured)} not measured."
    )
    if outcome.report:
        print(f"Report  {outcome.report}")
    print(f"Record  {outcome.record}  ({outcome.head.size} entries, root "
          f"{outcome.head.root.hex()[:16]})")  # fmt: skip
    print(f"Check   gaugelink verify {outcome.report or outcome.record}")

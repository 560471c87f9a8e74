"""Plan the cheapest work that brings a head inside its limits.

JOB is a record of the bench, with a price file; or a job file (TOML) that has what was measured
with its uncertainty, the limits, and the prices of the shop or a price file beside it;
docs/planning.md explains the keys. The plan says for each valve, guide, seat and spring what to
do, one skim for the face, shims from stock, the parts, and what has to be measured again. It says
whether it is proved to be the cheapest; and where nothing works, which limits cannot be kept
together.

With --try it tells instead what one step does to every figure, load and limit at once. With
--order, --parts and --pdf the plan is written out as a work order too (docs/work-order.md); an
older file of that name is replaced.

Exit status: 0 a whole plan, proved the cheapest; 1 none, or readings are missing, or not proved, or
the head is cracked, or a tried step leaves a limit broken or cannot be done so; 2 the file is bad.
A plan is advice: the manuals of engine and machine come first.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelink import content
from gaugelink.errors import InputError

if TYPE_CHECKING:
    import argparse

    from gaugelink.planning.conflict import Conflict
    from gaugelink.planning.plan import Plan
    from gaugelink.planning.task import Task


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("job", metavar="JOB", help="a record, or a job file (.toml)")
    parser.add_argument(
        "--try", dest="trial", metavar="STEP",
        help="plan nothing; tell what one step does, such as '2I cut seat 0.10 mm'",
    )  # fmt: skip
    parser.add_argument("--prices", metavar="FILE",
                        help="price file, for a record or a job without prices")  # fmt: skip
    parser.add_argument("--order", metavar="FILE.csv",
                        help="write the work order as a table")  # fmt: skip
    parser.add_argument("--parts", metavar="FILE.csv",
                        help="write the parts list as a table")  # fmt: skip
    parser.add_argument("--pdf", metavar="FILE.pdf",
                        help="write the work order as a sheet for the bench")  # fmt: skip
    parser.add_argument("--export", metavar="FILE.toml",
                        help="plan nothing; write the head of a record as a job file")  # fmt: skip
    parser.add_argument(
        "--alternatives", type=int, default=3, metavar="N",
        help="how many other plans within 10 %% of the cost to look for (default: 3)",
    )  # fmt: skip
    parser.add_argument(
        "--seconds", type=float, default=60.0, metavar="S",
        help="the longest that plan, alternatives and the search for limits in conflict may "
        "take together (default: 60)",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Plan one job.

    Raises:
        InputError: a file or an argument is bad, or time ran out before any plan was found.
    """
    from gaugelink.commands.plan_document import document, text  # noqa: PLC0415
    from gaugelink.planning.budget import Budget  # noqa: PLC0415
    from gaugelink.planning.plan import plan  # noqa: PLC0415

    if not 0 <= args.alternatives <= 20:
        raise InputError(f"found {args.alternatives}, accepted: 0 to 20", field="--alternatives")
    if not 0 < args.seconds <= 86_400:
        raise InputError(f"found {args.seconds:g}, accepted: more than 0, up to 86400",
                         field="--seconds")  # fmt: skip
    files = _files(args)
    if args.export is not None:
        return _export(args)
    task = _task(args)
    if args.trial is not None:
        return _try(task, args.trial, as_json=args.json)
    budget = Budget(args.seconds, time.monotonic)
    try:
        found = plan(task, budget)
        told = document(task, found, args.alternatives, budget)
    except ValueError as fault:
        raise InputError(str(fault), file=args.job, field="--seconds") from None
    if any(files.values()):
        _write(args, task, found, files)
    if args.json:
        print(json.dumps(told, ensure_ascii=False))
    else:
        for line in text(task, told):
            print(line)
    return 0 if told["optimal"] and not told["partial"] else 1


def _task(args: argparse.Namespace) -> Task:
    """Read what is to be planned."""
    from gaugelink.commands.plan_file import load_task  # noqa: PLC0415
    from gaugelink.commands.plan_record import is_record, survey_record  # noqa: PLC0415

    prices = content.read("sim/prices", args.prices) if args.prices else None
    path = Path(args.job)
    if not is_record(path):
        return load_task(content.read_text(path), args.job, prices)
    if prices is None and args.trial is None:
        what = "a record has no prices; give the shop's with --prices FILE"
        raise InputError(what, field="--prices")
    found = survey_record(path, prices)
    for words in found.left_out:
        print(f"Not in the plan: {words}", file=sys.stderr)
    return found.task


def _files(args: argparse.Namespace) -> dict[str, Path | None]:
    """Say which files are asked for.

    Raises:
        InputError: another ending, the same name twice, the job's own name, or a trial, of which
            there is no order.
    """
    found: dict[str, Path | None] = {}
    taken = {Path(args.job).resolve()}
    for name, ending in (
        ("order", ".csv"), ("parts", ".csv"), ("pdf", ".pdf"), ("export", ".toml"),
    ):  # fmt: skip
        given = getattr(args, name)
        found[name] = None if given is None else Path(given)
        if given is None:
            continue
        if args.trial is not None:
            raise InputError("found --try beside it, accepted: one of them", field=f"--{name}")
        if name == "export" and any(found[other] for other in ("order", "parts", "pdf")):
            raise InputError("found other files beside it, accepted: alone", field="--export")
        if Path(given).suffix.lower() != ending:
            raise InputError(f"found {given!r}, accepted: a name that ends with {ending}",
                             field=f"--{name}")  # fmt: skip
        if Path(given).resolve() in taken:
            raise InputError(f"found {given!r} twice, accepted: a file of its own for each",
                             field=f"--{name}")  # fmt: skip
        taken.add(Path(given).resolve())
    return found


def _export(args: argparse.Namespace) -> int:
    from gaugelink.commands.plan_export import job_file  # noqa: PLC0415
    from gaugelink.commands.plan_record import is_record, survey_record  # noqa: PLC0415
    from gaugelink.report.whole import write_whole  # noqa: PLC0415

    path = Path(args.job)
    if not is_record(path):
        content.read_text(path)  # a file that cannot be read says so itself
        raise InputError("found a job file, accepted: a record", file=args.job, field="--export")
    # The steps that are offered bear on no reading and no limit.
    found = survey_record(path, content.read("sim/prices", args.prices) if args.prices else None)
    write_whole(job_file(found, path.name).encode(), Path(args.export))
    print(f"Job file  {args.export}", file=sys.stderr)
    return 0


def _write(
    args: argparse.Namespace, task: Task, found: Plan | Conflict, files: dict[str, Path | None]
) -> None:
    from gaugelink.commands.plan_order import write_files  # noqa: PLC0415
    from gaugelink.commands.plan_record import is_record  # noqa: PLC0415
    from gaugelink.commands.record_job import read_job  # noqa: PLC0415
    from gaugelink.planning.conflict import Conflict  # noqa: PLC0415
    from gaugelink.planning.order import work_order  # noqa: PLC0415

    if isinstance(found, Conflict):
        print("No plan, so no work order is written.", file=sys.stderr)
        return
    path = Path(args.job)
    invented = read_job(path).opened.invented if is_record(path) else "invented" in task.name
    write_files(work_order(task, found), invented=invented, order=files["order"],
                parts=files["parts"], pdf=files["pdf"])  # fmt: skip


def _try(task: Task, words: str, *, as_json: bool) -> int:
    from gaugelink.commands.plan_try import text, tried  # noqa: PLC0415

    told = tried(task, words)
    if as_json:
        print(json.dumps(told, ensure_ascii=False))
    else:
        for line in text(told):
            print(line)
    return 0 if told["good"] else 1

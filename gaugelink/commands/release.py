"""List what stands against releasing a head, from its record alone.

Nothing in the record is changed, and it may be open on a bench. A head is released on the page of
its bench, by a person who gives a name; this command only says how it stands. It replaces no
qualified person. What is asked for, and what takes a release back, stands in docs/release.md.

Exit status: 0 the head is released, or nothing stands against it; 1 something does; 2 it is no
record, or one that was damaged or altered.
"""

from __future__ import annotations

import json
import time
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from gaugelink.release import Block


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("record", metavar="RECORD", type=Path, help="the record of the job")
    parser.add_argument(
        "--today",
        metavar="DATE",
        help="the day by which calibrations are looked at for what is still to be measured, for "
        "example 2026-03-31; today, in UTC, if left out",
    )


def run(args: argparse.Namespace) -> int:
    """Read the record and list what stands against it.

    Returns:
        0 released or nothing against it, 1 something is.

    Raises:
        InputError: the record has no job, or the date is none.
        RecordError: no such file, not a record, or it does not fit what was signed.
        SessionError: the record does not fit its own sheet.
    """
    today = _date(args.today)
    from gaugelink.commands.record_job import read_job  # noqa: PLC0415  numpy is slow to start
    from gaugelink.release import beside, blocks  # noqa: PLC0415
    from gaugelink.view.release import release_document  # noqa: PLC0415

    job = read_job(args.record)
    found = blocks(job.session, job.judgement, today)
    document = release_document(job.session, job.judgement, today)
    if args.json:
        told: dict[str, Any] = {key: document[key] for key in (
            "released", "at", "by", "words", "taken_back"
        )}  # fmt: skip
        told["blocks"] = [_document(block) for block in found]
        told["checks"] = document["checks"]
        told["springs"] = document["springs"]
        told["chambers"] = document["chambers"]
        told["deviations"] = document["deviations"]
        print(json.dumps(told, ensure_ascii=False))
    else:
        others = [f"{one.valve} {one.characteristic}".strip()
                  for one in beside(job.session, job.judgement)]  # fmt: skip
        _print(job.opened.job, document, job.judgement.counts(), others)
    return 1 if found and not document["released"] else 0


def _date(text: str | None) -> str:
    if text is None:
        return time.strftime("%Y-%m-%d", time.gmtime())
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise InputError(
            f"found {text!r}, accepted: a date such as 2026-03-31", field="--today"
        ) from None


def _document(block: Block) -> dict[str, Any]:
    return {
        "kind": block.kind,
        "valve": block.valve or None,
        "what": block.what,
        "words": block.words,
        "step": block.step,
    }


def _print(
    job: str, document: dict[str, Any], counts: dict[str, int], others: Sequence[str]
) -> None:
    from gaugelink.view.release import release_words  # noqa: PLC0415

    print(f"{job}: {release_words(document)}")
    verdicts = ", ".join(f"{number} {word}" for word, number in counts.items())
    print(f"Verdicts: {verdicts}.")
    if others:
        print(f"Not within beside these: {', '.join(others)}.")
    for group in document["groups"]:
        print(f"\n{group['title']} ({group['count']})")
        for row in group["rows"]:
            owner = ", ".join(row["valves"])
            print(f"  {owner}{' ' if owner else ''}{row['what']}: {row['why']}")
        if group["more"]:
            print(f"  and {group['more']} more; --json lists them all")
    for item in document["deviations"]:
        owner = f"{item['valve']} " if item["valve"] else ""
        state = "" if item["state"] == "holds" else f" ({item['state']}: {item['why']})"
        print(
            f"\nDeviation: {owner}{item['characteristic']} {item['value']} accepted by "
            f"{item['by']}, {item['reason']}{state}"
        )

"""Check that a record or a report is whole and unchanged.

Reads a store (with the heads file beside it), an exported record.jsonl (with the head.json beside
it), or a report in PDF, which carries both. Every entry is hashed again, the root is rebuilt and
the signatures of all heads are checked. A head that was kept elsewhere (--head) shows whether the
end was cut off since; the key that the shop has published (--key) shows whether the record is the
shop's.

Exit status: 0 whole and unchanged; 1 it does not verify; 2 it is no record at all.
"""

from __future__ import annotations

import json
import logging
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gaugelink.errors import InputError
from gaugelink.record import verifier

if TYPE_CHECKING:
    import argparse

RECORD: Final = "record.jsonl"
HEAD: Final = "head.json"

_PAGES: Final = (
    "the record inside the report was checked, not the printed pages: whoever can change a page"
    " can do so without touching the record, so have the report made again from the record"
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument(
        "record", metavar="STORE_OR_REPORT", type=Path, help="a store, a record.jsonl or a .pdf"
    )
    parser.add_argument(
        "--head",
        metavar="FILE",
        type=Path,
        action="append",
        default=[],
        help="signed heads that were kept elsewhere, one a line; may be given more than once",
    )
    parser.add_argument(
        "--key",
        metavar="HEX",
        type=verifier.key_argument,
        help="the public key that must have signed, 64 hexadecimal digits",
    )


def run(args: argparse.Namespace) -> int:
    """Check the record and say what was found.

    Returns:
        0 whole and unchanged, 1 not.

    Raises:
        InputError: there is no record to check.
    """
    path: Path = args.record
    try:
        if path.suffix.lower() == ".pdf":
            report = _verify_pdf(path, args.head, args.key)
        else:
            report = verifier.verify(path, args.head, args.key)
    except verifier.NotARecordError as fault:
        raise InputError(str(fault), file=str(path)) from None
    print(json.dumps(report) if args.json else f"{path}\n{verifier.in_words(report)}")
    return 0 if report["ok"] else 1


def _verify_pdf(path: Path, heads: list[Path], key: str | None) -> verifier.Report:
    elsewhere = [verifier.read_head_file(head) for head in heads]
    attached = _attachments(path)
    head = attached[HEAD].removesuffix(b"\n").split(b"\n")
    report = verifier.verify_export(attached[RECORD], [(HEAD, head), *elsewhere], key=key)
    report["notes"].append(_PAGES)
    return report


def _attachments(path: Path) -> dict[str, bytes]:
    """Take the record and its head out of a report.

    Raises:
        NotARecordError: the file cannot be read, or does not carry each of them once.
    """
    if not path.is_file():
        raise verifier.NotARecordError("there is no such file")
    # Imported here: only reports need it, and it takes longer than everything else together.
    from pypdf import PdfReader  # noqa: PLC0415
    from pypdf.errors import PyPdfError  # noqa: PLC0415

    logging.getLogger("pypdf").setLevel(logging.CRITICAL)  # it remarks on every odd object
    try:
        found = {name: list(data) for name, data in PdfReader(path).attachments.items()}
    except OSError as fault:
        raise verifier.NotARecordError(f"the file cannot be read: {fault.strerror}") from None
    except (PyPdfError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        # Damaged files make the library stumble in any of these ways.
        raise verifier.NotARecordError("this is not a PDF file that can be read") from None
    for name in (RECORD, HEAD):
        if len(found.get(name, [])) != 1:
            raise verifier.NotARecordError(
                f"found {len(found.get(name, []))} attachments named {name}, accepted: one each of"
                f" {RECORD} and {HEAD}, as reports of GaugeLink carry them"
            )
    return {name: found[name][0] for name in (RECORD, HEAD)}

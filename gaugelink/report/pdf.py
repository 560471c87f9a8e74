"""Write the report of a job as PDF/A-3b, with the record attached.

The page is set by typst from a template beside this module, with typefaces that are built into
typst and with the creation time of the document itself, so the same document gives the same bytes
on every machine. A template never sees a text of the document as markup.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any, Final

from gaugelink.errors import InputError, RecordError
from gaugelink.report.layout import lay_out
from gaugelink.report.text import ascii_only, moment, printable

STANDARD: Final = "a-3b"
TEMPLATES: Final = (
    "report.typ",
    "draw.typ",
    "advice.typ",
    "faults.typ",
    "forecast.typ",
    "release.typ",
)
_KNOWN: Final = {
    "record.jsonl": ("source", "application/x-ndjson", "Every event of the job, one a line"),
    "head.json": ("supplement", "application/json", "Signed size and root of the record"),
    "report.json": ("data", "application/json", "Everything that this report prints"),
}
_OTHER: Final = ("supplement", "application/octet-stream", "Attachment")
"""How an attachment is related to the document (AFRelationship, ISO 19005-3), its type, and words.
"""


def write_report(document: Mapping[str, Any], attachments: Mapping[str, bytes], path: Path) -> None:
    """Write a report document as a PDF/A-3b file, attachments embedded byte for byte.

    The file appears whole or not at all: it is written beside its place and then moved there, after
    its bytes are on disk. An older file of that name is replaced.

    Args:
        document: the report document; parts that are missing or None are left out.
        attachments: file name to content, usually ``record.jsonl``, ``head.json`` and
            ``report.json``.
        path: the PDF to write, in a folder that exists.

    Raises:
        InputError: the file cannot be written there; the sentence says why.
        RecordError: the document could not be set as pages.
    """
    _write_whole(make_pdf(document, attachments), Path(path))


def make_pdf(document: Mapping[str, Any], attachments: Mapping[str, bytes]) -> bytes:
    """Make the bytes of the report.

    Raises:
        RecordError: the document could not be set as pages.
    """
    import typst  # noqa: PLC0415  84 MB of typesetter, needed by this command alone

    try:
        try:
            return _set_pages(document, attachments)
        except typst.TypstError:
            return _set_pages(ascii_only(document), attachments)
    except typst.TypstError as fault:
        why = printable(getattr(fault, "message", ""), 120) or "no reason given"
        raise RecordError(
            f"the report could not be set as pages ({why}); the record itself is unharmed"
        ) from None
    except OSError as fault:
        raise RecordError(
            f"the report could not be made, because the folder for temporary files cannot be used "
            f"({fault.strerror or 'no reason given'}); the record itself is unharmed"
        ) from None


def _set_pages(document: Mapping[str, Any], attachments: Mapping[str, bytes]) -> bytes:
    import typst  # noqa: PLC0415  see above

    printed = lay_out(document)
    printed["title"] = f"GaugeLink report {printed['job']['name']}"
    printed["attachments"] = []
    with tempfile.TemporaryDirectory(prefix="gaugelink-report-") as name:
        folder = Path(name)
        for template in TEMPLATES:
            source = resources.files("gaugelink.report").joinpath(template)
            (folder / template).write_bytes(source.read_bytes())
        for count, (title, content) in enumerate(attachments.items()):
            relationship, kind, words = _KNOWN.get(title, _OTHER)
            file = f"attachment-{count}"
            (folder / file).write_bytes(content)
            printed["attachments"].append({
                "name": title, "shown": printable(title, 60), "file": file,
                "size": f"{len(content)} bytes", "relationship": relationship, "mime": kind,
                "description": words,
            })  # fmt: skip
        (folder / "data.json").write_text(
            json.dumps(printed, ensure_ascii=True, allow_nan=False), encoding="ascii"
        )
        made, _ = typst.compile_with_warnings(
            folder / "report.typ",
            root=folder,
            ignore_system_fonts=True,
            format="pdf",
            pdf_standards=[STANDARD],
            timestamp=_seconds(document),
        )
    assert isinstance(made, bytes)
    return made


def _seconds(document: Mapping[str, Any]) -> int:
    """Give the creation time of the PDF: when the job was finished, 1970 if that is not known."""
    job = document.get("job")
    date, time = moment(job.get("finished") if isinstance(job, Mapping) else None)
    if not date:
        return 0
    try:
        stamp = datetime.fromisoformat(f"{date}T{time[:8]}").replace(tzinfo=UTC)
    except ValueError:
        return 0
    return max(0, int(stamp.timestamp()))


def _write_whole(content: bytes, path: Path) -> None:
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        if path.is_dir():
            raise IsADirectoryError(21, "it is a folder")
        with beside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as fault:
        with suppress(OSError):  # what failed before may well fail for the remains too
            beside.unlink(missing_ok=True)
        raise InputError(
            f"the report cannot be written here ({fault.strerror or 'no reason given'}); "
            "give the name of a file in a folder that exists and can be written to, and close it "
            "in other programs",
            file=str(path),
        ) from None

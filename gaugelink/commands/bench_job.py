"""Which job is on the bench: a new one, or one whose record is there and goes on."""

from __future__ import annotations

from contextlib import ExitStack, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gaugelink import content, sheetfile
from gaugelink.benchfile import Job, job_name
from gaugelink.errors import InputError
from gaugelink.event_documents import events_of
from gaugelink.events import JobOpened
from gaugelink.plan import plan_for
from gaugelink.record import SqliteStore, default_key_path, load_or_create_key, remove_files
from gaugelink.work import STAGES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gaugelink.benchfile import BenchFile
    from gaugelink.events import OtherSize
    from gaugelink.limits import Sheet
    from gaugelink.plan import Step
    from gaugelink.reading import Gauge

RECORD_ENDS: Final = ".sqlite"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the command line says of the job; None where it says nothing."""

    name: str | None = None
    head: str | None = None
    serial: str | None = None
    stage: str | None = None
    sheet: str | None = None


@dataclass(slots=True)
class Taken:
    """A job whose record is open for writing. Whoever has it closes the store.

    Attributes:
        opened: how the record opened it, and who took it up since; empty for a new one.
        made: the record was made just now.
        folders: those that were made for it, the innermost first.
    """

    job: Job
    sheet: Sheet
    plan: list[Step]
    path: Path
    store: SqliteStore
    opened: Sequence[JobOpened]
    made: bool = False
    folders: Sequence[Path] = ()

    def leave(self) -> None:
        """Close the record; one that was made just now and holds nothing is taken away again.

        So are the folders that were made for it, unless something else lies in them by now.
        """
        empty = self.made and self.store.size == 0
        self.store.close()
        if empty:
            remove_files(self.path)
            _remove_empty(self.folders)

    @property
    def gauges(self) -> dict[str, Gauge]:
        """The gauges that the record knows, each as it was last."""
        return {gauge.id: gauge for event in self.opened for gauge in event.gauges}

    @property
    def sizes(self) -> tuple[OtherSize, ...]:
        """What the record knows from the round before of parts of another size."""
        told = [event.sizes for event in self.opened if event.sizes is not None]
        return told[-1] if told else ()

    def needs_opening(self, gauges: Iterable[Gauge]) -> bool:
        """Tell whether these gauges have to be put on record, with the job or since.

        Raises:
            InputError: a gauge is another one now than the one whose readings are on record.
        """
        known = self.gauges
        is_new = not self.opened
        for gauge in gauges:
            before = known.get(gauge.id)
            is_new |= before != gauge
            if before is None:
                continue
            for what, found, wanted in (
                ("kind", gauge.kind, before.kind),
                ("serial", gauge.serial, before.serial),
                ("u", f"{gauge.u_pm / 1e9:g} mm", f"{before.u_pm / 1e9:g} mm"),
            ):
                if found != wanted:
                    raise InputError(
                        f"the gauge {gauge.id} has {what} {found!r} now, and its readings in "
                        f"{self.path} were taken with {wanted!r}; give what is another gauge now "
                        "another id",
                        field="gauge",
                    )
        return is_new


def take(file: BenchFile, wanted: Wanted, *, new: bool = True) -> Taken:
    """Open the record of a job, or begin one.

    What the command line says has to be true of a record that is there already; what the bench
    file says has to be true of its own job only.

    Args:
        file: the bench file, with the usual job.
        wanted: what the command line says.
        new: a record that is not there may be made.

    Raises:
        InputError: nobody says which job, or something that a new one needs; or the record was
            opened for another head, stage or sheet.
        RecordError: it is open in another program, or cannot be read or written.
    """
    usual = file.job
    name = wanted.name or (usual.name if usual else None)
    if name is None:
        what = "the bench file has no [job]; say which job is on the bench"
        raise InputError(what, file=file.file, field="--job")
    try:
        job_name(name)
    except ValueError as fault:
        raise InputError(str(fault), field="--job") from None
    path = file.record / f"{name}{RECORD_ENDS}"
    if not path.exists():
        if not new:
            raise InputError(f"the job {name} has no record here", file=str(path), field="--job")
        return _begun(path, _new_job(file, name, wanted), None)
    own = usual if usual is not None and usual.name == name else None
    store = SqliteStore.open(path, key=load_or_create_key(default_key_path()))
    try:
        if store.size or not new:
            return _gone_on(path, store, name, wanted, own)
        # The program ended between making the record and opening the job.
        return _begun(path, _new_job(file, name, wanted), store)
    except BaseException:
        store.close()
        raise


def own_earlier(file: BenchFile, taken: Taken) -> Path | None:
    """Give the record of the round before that the bench file names for this job; None: none."""
    usual = file.job
    if usual is None or usual.name != taken.job.name or not usual.earlier:
        return None
    return Path(usual.earlier)


def _new_job(file: BenchFile, name: str, wanted: Wanted) -> Job:
    usual = file.job
    # The number on the head is the one thing that is never the same at the next job.
    found = {
        "serial": wanted.serial or (usual.serial if usual and usual.name == name else None),
        "head": wanted.head or (usual.head if usual else None),
        "stage": wanted.stage or (usual.stage if usual else None),
        "sheet": wanted.sheet or (usual.sheet if usual else None),
    }
    for key, value in found.items():
        if not (value or "").strip():
            what = f"the job {name} is new, and nothing says its {key}; give it with --{key}"
            raise InputError(what, file=file.file, field=f"--{key}")
    texts = {key: str(value).strip() for key, value in found.items()}
    if texts["stage"] not in STAGES:
        what = f"found the stage {texts['stage']!r}, accepted: {', '.join(STAGES)}"
        raise InputError(what, field="--stage")
    return Job(name, texts["head"], texts["serial"], texts["stage"], texts["sheet"],
               invented=usual.invented if usual else False)  # fmt: skip


def _begun(path: Path, job: Job, store: SqliteStore | None) -> Taken:
    sheet = sheetfile.load(*content.read("sim/sheets", job.sheet))
    plan = plan_for(sheet)
    job = replace(job, invented=job.invented or sheet.invented)
    if store is not None:
        return Taken(job, sheet, plan, path, store, ())
    folders = [one for one in (path.parent, *path.parent.parents) if not one.exists()]
    with ExitStack() as undo:
        undo.callback(_remove_empty, folders)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            what = f"cannot be made ({fault.strerror}); name another folder as record"
            raise InputError(what, file=str(path.parent), field="bench.record") from None
        store = SqliteStore.create(path, key=load_or_create_key(default_key_path()))
        undo.pop_all()
    return Taken(job, sheet, plan, path, store, (), made=True, folders=folders)


def _remove_empty(folders: Sequence[Path]) -> None:
    """Take away folders, the innermost first; one in which something lies stays."""
    for folder in folders:
        with suppress(OSError):
            folder.rmdir()


def _gone_on(path: Path, store: SqliteStore, name: str, wanted: Wanted, own: Job | None) -> Taken:
    events = events_of(store.entries(), str(path))
    opened = [event for _, event in events if isinstance(event, JobOpened)]
    if not opened:
        raise InputError("no job was ever opened in this record", file=str(path))
    first = opened[0]
    said = {"job": name} | {
        key: getattr(wanted, key) or (getattr(own, key) if own else None)
        for key in ("head", "serial", "stage")
    }
    if first.stage not in STAGES and wanted.stage is None:
        said["stage"] = None  # a bench file cannot say what an older record may
    for key, value in said.items():
        if value is not None and value != getattr(first, key):
            raise _other(path, key, value, getattr(first, key))
    named = wanted.sheet or (own.sheet if own else None)
    text, sheet_file = first.sheet_text, f"{first.sheet_name} in {path}"
    if named is not None:
        text, sheet_file = content.read("sim/sheets", named)
    sheet = sheetfile.load(text, sheet_file)
    if sheet.sha256 != first.sheet_sha256:
        here = f"{sheet.name}, edition {sheet.edition} ({sheet_file})"
        there = f"{first.sheet_name}, edition {first.sheet_edition}, as it was then"
        raise _other(path, "sheet", here, there)
    job = Job(name, first.head, first.serial, first.stage, named or "", first.invented)
    return Taken(job, sheet, plan_for(sheet), path, store, opened)


def _other(path: Path, key: str, said: str, there: str) -> InputError:
    return InputError(
        f"found {said!r}, and the record was opened for {there!r}; put that right, or begin "
        "another job with --job",
        file=str(path),
        field=key,
    )

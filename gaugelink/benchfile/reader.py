"""A bench file read and checked whole."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gaugelink import content, tomlfile
from gaugelink.benchfile.tables import BenchTables
from gaugelink.capture.channel import line_of
from gaugelink.errors import InputError
from gaugelink.ports.identity import PortIdentity
from gaugelink.ports.replay import REPLAY
from gaugelink.reading import Gauge
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.benchfile.tables import GaugeTable, PlaceTable
    from gaugelink.capture.pedal import PedalAction
    from gaugelink.ports.pedal import PedalLine
    from gaugelink.wire.driver import Driver

BRIDGE_CHANNELS: Final = tuple("123456789")
"""What a bridge calls its channels (docs/bridge-line.md)."""


@dataclass(frozen=True, slots=True)
class Job:
    """The job that is measured: head, stage and limits.

    Attributes:
        name: the shop's number of the job; its record is a file of this name.
        head, serial: what the head is, and its number.
        stage: such as ``as received``.
        sheet: a limit sheet that ships, or the path of a .toml file.
        invented: the figures are for show; written on page and report.
        earlier: path of the record of the round before; empty where there is none.
    """

    name: str
    head: str
    serial: str
    stage: str
    sheet: str
    invented: bool = False
    earlier: str = ""


@dataclass(frozen=True, slots=True)
class Where:
    """Where something is plugged in: a port by its name, or an adapter by what binds it."""

    name: str = ""
    identity: PortIdentity | None = None

    @property
    def words(self) -> str:
        """Say it to a person."""
        return self.identity.words if self.identity else f"the port {self.name}"


@dataclass(frozen=True, slots=True)
class Placed:
    """A gauge of the bench, its driver, and where it is.

    Attributes:
        channel: which of several gauges behind one port; empty where the port has one only.
        line: where the file says so.
    """

    gauge: Gauge
    driver: Driver
    where: Where
    channel: str
    line: int | None


@dataclass(frozen=True, slots=True)
class PedalAt:
    """A foot pedal: a serial port, the line of it that the contact is on, what a press means."""

    port: str
    line: PedalLine
    action: PedalAction


@dataclass(frozen=True, slots=True)
class BenchFile:
    """A checked bench file. Made by `load`; paths are ready for use."""

    name: str
    operator: str
    record: Path
    page: int
    keep_bytes: Path | None
    job: Job | None
    gauges: tuple[Placed, ...]
    pedal: PedalAt | None
    file: str
    prices: str = ""

    def by_place(self) -> list[tuple[Where, list[Placed]]]:
        """Put the gauges together that are behind one port, in the order of the file."""
        found: dict[Where, list[Placed]] = {}
        for item in self.gauges:
            found.setdefault(item.where, []).append(item)
        return list(found.items())


def load(text: str, file: str) -> BenchFile:
    r"""Read a bench file and check it whole.

    Args:
        text: the content of the file, TOML.
        file: its path; what it names without a folder lies beside it.

    Raises:
        InputError: the first fault, with file, line and field.

    >>> bench = load('''
    ... [bench]
    ... name = "bench 1"
    ... operator = "A. Demo"
    ... record = "records"
    ... [[gauge]]
    ... id = "M1"
    ... kind = "micrometer"
    ... title = "Outside micrometer 0-25 mm"
    ... serial = "DEMO-2107"
    ... driver = "signed-line"
    ... u = "0.0019 mm"
    ... calibration_due = 2027-03-31
    ... port = "COM5"
    ... ''', "bench.toml")
    >>> bench.gauges[0].gauge.u_pm, bench.gauges[0].where.words
    (1900000, 'the port COM5')
    """
    model = tomlfile.check(BenchTables, text, file)
    reader = _Reader(text, file, model)
    gauges = tuple(reader.gauge(number, entry) for number, entry in enumerate(model.gauge))
    reader.check_unused()
    reader.check_shared(gauges)
    job, pedal = model.job, model.pedal
    if pedal is not None:
        reader.check_pedal(pedal.port, gauges)
    return BenchFile(
        model.bench.name,
        model.bench.operator,
        _beside(file, model.bench.record),
        model.bench.page,
        _beside(file, model.bench.keep_bytes) if model.bench.keep_bytes else None,
        Job(
            job.name,
            job.head,
            job.serial,
            job.stage,
            sheet_beside(file, job.sheet),
            job.invented,
            str(_beside(file, job.earlier)) if job.earlier else "",
        )
        if job
        else None,
        gauges,
        PedalAt(pedal.port, pedal.line, pedal.action) if pedal else None,
        file,
        sheet_beside(file, model.bench.prices) if model.bench.prices else "",
    )


def _beside(file: str, name: str) -> Path:
    return Path(file).parent / name


def sheet_beside(file: str, sheet: str) -> str:
    """Give a shipped name as it is, and a file's as seen from the bench file's folder."""
    return str(_beside(file, sheet)) if sheet.endswith(".toml") else sheet


class _Reader:
    """Reads the gauges of one file, and says where a fault stands."""

    def __init__(self, text: str, file: str, model: BenchTables) -> None:
        self._text = text
        self._file = file
        self._shared: dict[str, Where] = {}
        self._used: set[str] = set()
        self._marks: dict[str, int | None] = {}
        for number, entry in enumerate(model.port):
            if entry.name in self._shared:
                what = f"found {entry.name!r} a second time; accepted: a name of its own"
                raise self._fault(("port", number, "name"), what)
            self._shared[entry.name] = self._where(("port", number), entry)

    def gauge(self, number: int, entry: GaugeTable) -> Placed:
        """Read one ``[[gauge]]``."""
        here = ("gauge", number)
        if entry.id in self._marks:
            what = f"found {entry.id!r}, as on line {self._marks[entry.id]}; accepted: its own mark"
            raise self._fault((*here, "id"), what)
        line = self._marks[entry.id] = tomlfile.line_of(self._text, (*here, "id"))
        try:
            driver = load_driver(*content.read("drivers", self._driver_of(entry.driver)))
        except InputError as fault:
            if fault.file is not None and fault.file != self._file:
                raise  # the driver file itself has a fault, and its own line
            raise self._fault((*here, "driver"), fault.what) from None
        if entry.kind not in driver.about.gauges:
            known = ", ".join(driver.about.gauges)
            what = f"found {entry.kind!r}, accepted with the driver {driver.name}: {known}"
            raise self._fault((*here, "kind"), what)
        if entry.port in self._shared and entry.bind is None:
            self._used.add(entry.port)
            where = self._shared[entry.port]
        else:
            where = self._where(here, entry)
        if entry.repeatability is not None and entry.repeatability > entry.u:
            what = (
                f"found {entry.repeatability / 1e9:g} mm, accepted: up to u, which has it in it: "
                f"{entry.u / 1e9:g} mm"
            )
            raise self._fault((*here, "repeatability"), what)
        about = Gauge(entry.id, entry.kind, entry.title, entry.serial, driver.name, entry.u,
                      entry.calibration_due, entry.repeatability)  # fmt: skip
        return Placed(about, driver, where, self._channel(here, entry, driver), line)

    def check_unused(self) -> None:
        """Find a ``[[port]]`` that no gauge is behind."""
        for number, name in enumerate(self._shared):
            if name not in self._used:
                what = f"no gauge has port = {name!r}; give it to one, or take this table out"
                raise self._fault(("port", number, "name"), what)

    def check_shared(self, gauges: Sequence[Placed]) -> None:
        """Find gauges on one port that cannot be told apart, or set its line differently."""
        for number, item in enumerate(gauges):
            for other in gauges[:number]:
                if other.where != item.where:
                    continue
                names = f"{other.gauge.id} on line {other.line}"
                if not item.channel or not other.channel:
                    what = (
                        f"{item.where.words} has the gauge {names} already; accepted: a port of "
                        'its own, or a channel at both, such as channel = "01"'
                    )
                    raise self._fault(("gauge", number, "id"), what)
                if item.channel == other.channel:
                    what = f"found {item.channel!r}, which is that of {names}; accepted: its own"
                    raise self._fault(("gauge", number, "channel"), what)
                alone = not (item.driver.frame.clocked and other.driver.frame.clocked)
                if alone and item.driver.name != other.driver.name:
                    what = (
                        f"found {item.driver.name!r}, and {names} has {other.driver.name!r}; "
                        "accepted behind one port: the same driver, unless it is a bridge"
                    )
                    raise self._fault(("gauge", number, "driver"), what)
                if line_of(item.driver) != line_of(other.driver):
                    what = (
                        f"found {item.driver.name!r}, which sets the port in another way than "
                        f"{other.driver.name!r} of {names}; behind one port all are set alike"
                    )
                    raise self._fault(("gauge", number, "driver"), what)

    def check_pedal(self, port: str, gauges: Sequence[Placed]) -> None:
        """Find a pedal on the port of a gauge, which only one of them could open."""
        for item in gauges:
            if item.where.name == port:
                what = f"found {port!r}, which has the gauge {item.gauge.id}; accepted: its own"
                raise self._fault(("pedal", "port"), what)

    def _driver_of(self, name: str) -> str:
        return str(_beside(self._file, name)) if name.endswith(".toml") else name

    def _channel(self, here: tuple[str | int, ...], entry: GaugeTable, driver: Driver) -> str:
        """Give the mark on the wire; a clocked gauge has one only behind a bridge."""
        fixed = driver.port.channel
        channel = entry.channel or (str(fixed) if fixed else "")
        if channel and driver.frame.clocked and channel not in BRIDGE_CHANNELS:
            what = f"found {channel!r}, accepted on a bridge: 1 to 9"
            raise self._fault((*here, "channel"), what)
        return channel

    def _where(self, here: tuple[str | int, ...], entry: PlaceTable) -> Where:
        if (entry.port is None) == (entry.bind is None):
            found = "both" if entry.port else "none"
            what = f"found {found}, accepted: where it is, as port = or as bind"
            raise self._fault(here, what)
        if entry.port is not None:
            return Where(self._port_name(entry.port))
        assert entry.bind is not None
        bind, (vid, pid) = entry.bind, (int(part, 16) for part in entry.bind.usb.split(":"))
        if bind.path is not None:
            if bind.part is not None:
                what = "found path and part, accepted: one of them; a path has its part behind a :"
                raise self._fault((*here, "bind", "part"), what)
            known = PortIdentity("path", vid, pid, bind.serial_number or "", bind.path)
        elif bind.serial_number is not None:
            part = f":{bind.part}" if bind.part else ""
            known = PortIdentity("serial number", vid, pid, bind.serial_number, part)
        else:
            what = "found neither serial_number nor path, accepted: one of them, or both"
            raise self._fault((*here, "bind"), what)
        return Where(identity=known)

    def _port_name(self, name: str) -> str:
        if not name.startswith(REPLAY):
            return name
        return f"{REPLAY}{_beside(self._file, name.removeprefix(REPLAY)).as_posix()}"

    def _fault(self, path: tuple[str | int, ...], what: str) -> InputError:
        field = ".".join(str(part + 1) if isinstance(part, int) else part for part in path)
        return InputError(
            what, file=self._file, line=tomlfile.line_of(self._text, path), field=field
        )

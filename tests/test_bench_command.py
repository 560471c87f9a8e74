"""The command `bench`: which job is taken, and what is refused before any port is opened."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from cable_kit import nothing_left

from gaugelink import benchfile
from gaugelink.commands.bench_job import Wanted, take
from gaugelink.commands.bench_plug import Plugging, identity_now
from gaugelink.commands.running import opened_event
from gaugelink.errors import InputError, PortError, RecordError
from gaugelink.event_documents import to_document
from gaugelink.ports.identity import PortIdentity, PresentPort
from gaugelink.ports.port import Port
from gaugelink.reading import Stamp

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["nothing_left"]

STAMP = Stamp("2026-01-02T00:00:00.000000Z", 1, "A. Demo", "bench 1")

FILE = """\
[bench]
name = "bench 1"
operator = "A. Demo"
record = "records"
page = 0
[job]
name = "D-0042"
head = "Irrigation-pump diesel, invented"
serial = "IP6-0117"
stage = "as received"
sheet = "demo-pump-engine"
[[gauge]]
id = "M1"
kind = "micrometer"
title = "Outside micrometer 0-25 mm"
serial = "DEMO-2107"
driver = "signed-line"
u = "0.0019 mm"
calibration_due = 2027-03-31
port = "COM5"
"""


@pytest.fixture(autouse=True)
def _key_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GAUGELINK_HOME", str(tmp_path / "home"))


@pytest.fixture
def bench_file(tmp_path: Path) -> Path:
    path = tmp_path / "bench.toml"
    path.write_text(FILE, encoding="utf-8")
    return path


def load(path: Path, **changes: str) -> benchfile.BenchFile:
    text = path.read_text(encoding="utf-8")
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    return benchfile.load(text, str(path))


def begun(path: Path, wanted: Wanted | None = None) -> None:
    """Begin the job, as a first run does."""
    file = load(path)
    taken = take(file, wanted or Wanted())
    gauges = [item.gauge for item in file.gauges]
    assert taken.needs_opening(gauges)
    event = opened_event(STAMP, taken.job, taken.sheet, gauges, "real")
    taken.store.append([to_document(event)])
    taken.store.close()


class TestWhichJob:
    def test_the_usual_job_is_taken_and_goes_on_the_next_time(self, bench_file: Path):
        begun(bench_file)
        file = load(bench_file)
        again = take(file, Wanted())
        assert again.path == bench_file.parent / "records" / "D-0042.sqlite"
        assert (again.job.serial, again.job.invented) == ("IP6-0117", True)
        assert not again.needs_opening([item.gauge for item in file.gauges])
        again.store.close()

    def test_another_job_needs_the_number_of_its_head_and_takes_the_rest(self, bench_file: Path):
        with pytest.raises(InputError, match="nothing says its serial; give it with --serial"):
            take(load(bench_file), Wanted("D-0043"))
        assert not (bench_file.parent / "records").exists()
        begun(bench_file, Wanted("D-0043", serial="IP6-0118"))
        again = take(load(bench_file), Wanted("D-0043"))
        assert (again.job.serial, again.job.stage) == ("IP6-0118", "as received")
        again.store.close()

    @pytest.mark.parametrize(
        ("wanted", "words"),
        [
            (Wanted(serial="X-1"), "serial: found 'X-1', and the record was opened for 'IP6-0117'"),
            (Wanted(stage="after"), "stage: found 'after', and the record was opened for 'as rec"),
            (Wanted(head="Another"), "head: found 'Another', and the record was opened for 'Irr"),
        ],
    )
    def test_a_record_of_another_head_or_stage_is_refused(
        self, bench_file: Path, wanted: Wanted, words: str
    ):
        begun(bench_file)
        with pytest.raises(InputError) as fault:
            take(load(bench_file), wanted)
        assert words in str(fault.value)
        take(load(bench_file), Wanted()).store.close()  # and it was let go of

    def test_a_new_job_has_one_of_the_five_stages(self, bench_file: Path):
        with pytest.raises(InputError) as fault:
            take(load(bench_file), Wanted("D-0043", serial="IP6-0118", stage="lapped"))
        assert "found the stage 'lapped', accepted: as received, after cleaning, " in str(
            fault.value
        )
        assert not (bench_file.parent / "records").exists()
        with pytest.raises(InputError, match="found 'lapped'; input should be 'as received'"):
            load(bench_file, stage=('stage = "as received"', 'stage = "lapped"'))

    def test_a_record_with_another_word_for_its_stage_goes_on_under_it(self, bench_file: Path):
        file = load(bench_file)
        taken = take(file, Wanted())
        job = replace(taken.job, stage="as found")
        event = opened_event(STAMP, job, taken.sheet, [item.gauge for item in file.gauges], "real")
        taken.store.append([to_document(event)])
        taken.store.close()
        again = take(load(bench_file), Wanted())
        assert again.job.stage == "as found"
        again.store.close()
        with pytest.raises(InputError, match="stage: found 'final', and the record was opened"):
            take(load(bench_file), Wanted(stage="final"))

    def test_a_sheet_that_was_changed_since_is_refused(self, bench_file: Path):
        from gaugelink import content  # noqa: PLC0415

        text, _ = content.read("sim/sheets", "demo-pump-engine")
        sheet = bench_file.parent / "mine.toml"
        sheet.write_text(text, encoding="utf-8")
        begun(bench_file, Wanted(sheet=str(sheet)))
        sheet.write_text(text + "\n# a remark\n", encoding="utf-8")
        with pytest.raises(InputError, match=r"sheet: found .* and the record was opened for"):
            take(load(bench_file), Wanted(sheet=str(sheet)))

    def test_without_a_job_nobody_guesses_one(self, bench_file: Path):
        text = bench_file.read_text(encoding="utf-8")
        start, end = text.index("[job]"), text.index("[[gauge]]")
        bench_file.write_text(text[:start] + text[end:], encoding="utf-8")
        with pytest.raises(InputError, match="say which job is on the bench"):
            take(load(bench_file), Wanted())
        with pytest.raises(InputError, match="--job: found 'a/b'"):
            take(load(bench_file), Wanted("a/b"))

    def test_a_record_whose_job_was_never_opened_is_begun(self, bench_file: Path):
        """The power may go between making the file and writing the first event."""
        take(load(bench_file), Wanted()).store.close()
        begun(bench_file)

    def test_two_benches_on_one_record_are_one_too_many(self, bench_file: Path):
        first = take(load(bench_file), Wanted())
        with pytest.raises(RecordError, match="open in another program; close it there first"):
            take(load(bench_file), Wanted())
        first.store.close()


class TestGaugesOfARecord:
    def test_a_gauge_that_is_another_one_now_needs_another_mark(self, bench_file: Path):
        begun(bench_file)
        file = load(bench_file, u=("0.0019 mm", "0.0030 mm"))
        taken = take(file, Wanted())
        with pytest.raises(InputError, match=r"has u '0\.003 mm' now, .* taken with '0\.0019 mm'"):
            taken.needs_opening([item.gauge for item in file.gauges])
        taken.store.close()

    def test_one_that_was_calibrated_or_is_new_is_put_on_record(self, bench_file: Path):
        begun(bench_file)
        file = load(bench_file, due=("2027-03-31", "2028-03-31"))
        taken = take(file, Wanted())
        assert taken.needs_opening([item.gauge for item in file.gauges])
        taken.store.close()


class Still:
    """Clocks that stand still."""

    name = "real"

    def utc(self) -> str:
        """Tell the wall clock."""
        return STAMP.utc

    def mono_ns(self) -> int:
        """Tell the bench clock."""
        return 0


def told_nothing(words: str) -> None:
    raise AssertionError(words)


class TestPlugging:
    def cable(self, file: benchfile.BenchFile, *present: PresentPort):
        [cable] = Plugging(file, "D-0042", Still(), told_nothing).cables(present)
        return cable

    def test_an_adapter_that_is_here_is_known_by_itself_from_now_on(self, bench_file: Path):
        here = PresentPort("COM5", 0x0403, 0x6001, "A5069RR4", "1-2")
        cable = self.cable(load(bench_file), here)
        assert cable.identity == PortIdentity("serial number", 0x0403, 0x6001, "A5069RR4", "1-2")
        assert cable.port.name == "COM5"

    def test_a_name_that_the_system_does_not_list_stays_a_name(self, bench_file: Path):
        cable = self.cable(load(bench_file))
        assert cable.identity == PortIdentity("given name", name="COM5")

    def test_a_link_to_a_port_is_that_port(self, tmp_path: Path):
        real, link = tmp_path / "ttyUSB3", tmp_path / "by-id"
        real.touch()
        try:
            link.symlink_to(real)
        except OSError:
            pytest.skip("this system lets this user make no links")
        here = PresentPort(str(real), 0x0403, 0x6001, "A5069RR4", "1-2")
        identity = identity_now(str(link), [here])
        assert identity is not None
        assert identity.serial_number == "A5069RR4"

    BOUND = ('port = "COM5"\n', '[gauge.bind]\nusb = "0403:6001"\nserial_number = "A5069RR4"\n')

    def test_an_adapter_is_found_by_what_binds_it_under_any_name(self, bench_file: Path):
        here = PresentPort("COM17", 0x0403, 0x6001, "A5069RR4", "1-4")
        cable = self.cable(load(bench_file, bind=self.BOUND), here)
        assert cable.port.name == "COM17"
        assert cable.identity is not None
        assert cable.identity.binds == "serial number"

    def test_one_that_is_not_plugged_in_says_so_when_it_is_opened(self, bench_file: Path):
        cable = self.cable(load(bench_file, bind=self.BOUND))
        with pytest.raises(PortError, match="serial number A5069RR4 is not plugged in"):
            cable.port.open(told_nothing)  # type: ignore[arg-type]
        assert cable.plug is not None
        assert isinstance(cable.plug("COM9"), Port)

    def test_two_gauges_that_turn_out_to_be_on_one_port_are_refused(self, bench_file: Path):
        second = FILE[FILE.index("[[gauge]]") :].replace('"M1"', '"M2"').replace(*self.BOUND)
        file = benchfile.load(FILE + second, str(bench_file))
        here = PresentPort("COM5", 0x0403, 0x6001, "A5069RR4", "1-2")
        with pytest.raises(InputError, match="is COM5, and the gauge M1 is on that already"):
            Plugging(file, "D-0042", Still(), told_nothing).cables([here])
        # Apart, they are two.
        away = PresentPort("COM6", 0x0403, 0x6001, "A5069RR4", "1-2")
        assert len(Plugging(file, "D-0042", Still(), told_nothing).cables([away])) == 2

    def test_a_recording_that_is_over_is_not_looked_for(self):
        assert identity_now("replay:a.txt", []) is None


class TestCommand:
    def test_a_bad_file_ends_in_one_sentence_and_nothing_is_written(
        self, run_cli, bench_file: Path
    ):
        bench_file.write_text(FILE.replace("signed-line", "nobody"), encoding="utf-8")
        status, out, err = run_cli("bench", bench_file, "--json")
        assert (status, out) == (2, "")
        assert "bench.toml, line 17, gauge.1.driver: found 'nobody', accepted: bcd28" in err
        assert len(err.splitlines()) == 1
        assert not (bench_file.parent / "records").exists()

    def test_a_page_port_that_is_taken_is_said_and_the_job_can_go_on(
        self, run_cli, bench_file: Path
    ):
        import socket  # noqa: PLC0415

        with socket.create_server(("127.0.0.1", 0)) as taken:
            number = taken.getsockname()[1]
            status, out, err = run_cli("bench", bench_file, "--port", str(number))
        assert (status, out) == (2, "")
        assert f"cannot use port {number}" in err
        take(load(bench_file), Wanted()).store.close()

    def test_a_report_of_a_job_that_has_no_record_is_refused(self, run_cli, bench_file: Path):
        status, _, err = run_cli("bench", bench_file, "--report", bench_file.parent / "a.pdf")
        assert status == 2
        assert "the job D-0042 has no record here" in err
        assert not (bench_file.parent / "records").exists()

    def test_a_report_is_never_written_over(self, run_cli, bench_file: Path):
        begun(bench_file)
        report = bench_file.parent / "a.pdf"
        report.write_bytes(b"%PDF")
        status, _, err = run_cli("bench", bench_file, "--report", report)
        assert status == 2
        assert "a report is never overwritten" in err
        assert report.read_bytes() == b"%PDF"

    def test_a_report_of_an_unfinished_job_says_what_is_missing_and_verifies(
        self, run_cli, bench_file: Path
    ):
        pypdf = pytest.importorskip("pypdf", reason="reading a report back needs the dev extra")
        begun(bench_file)
        report = bench_file.parent / "a.pdf"
        status, out, err = run_cli("bench", bench_file, "--report", report, "--json")
        assert (status, err) == (1, "")
        document = json.loads(out)
        assert document["readings"] == 0
        assert "3E stem diameter" in document["not_measured"]
        assert "1I guide clearance by rock" in document["not_measured"]
        assert document["head"]["size"] == 2
        pages = pypdf.PdfReader(report, strict=True).pages
        # The gauge is in it though no port was opened.
        assert "DEMO-2107" in "".join(page.extract_text() for page in pages)
        status, out, _ = run_cli("verify", report, "--json")
        assert status == 0
        assert json.loads(out)["root"] == document["head"]["root"]

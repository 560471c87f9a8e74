"""The command line answers at once, in one sentence, and with the status that was promised."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import pytest

from gaugelink import __version__, cli, commands
from gaugelink.errors import GaugeLinkError, InputError, PortError, RecordError, SessionError

if TYPE_CHECKING:
    from conftest import RunCli

TOP = Path(__file__).resolve().parents[1]


def python(*words: str, **options: object) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(TOP), "PYTHONWARNINGS": "error"}
    environment.update({key: str(item) for key, item in options.items()})
    return subprocess.run(
        [sys.executable, *words], capture_output=True, encoding="utf-8", env=environment,
        cwd=TOP, check=False, timeout=60,
    )  # fmt: skip


def test_help_lists_every_command(run_cli: RunCli) -> None:
    status, out, err = run_cli("--help")
    assert (status, err) == (0, "")
    widest = max(map(len, cli.COMMANDS))
    for name, words in cli.COMMANDS.items():
        assert f"  {name.ljust(widest)} {words}\n" in out


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_says_what_its_exit_status_means(run_cli: RunCli, name: str) -> None:
    """A script has to tell a part that is bad from a file that is."""
    status, out, _ = run_cli(name, "--help")
    meanings = " ".join(out.split("Exit status: ")[1].split("\n\n")[0].split())
    assert status == 0
    assert meanings.startswith("0 ")
    assert "; 2 " in meanings


def test_the_version_is_told(run_cli: RunCli) -> None:
    assert run_cli("--version") == (0, f"gaugelink {__version__}\n", "")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "the following arguments are required: COMMAND"),
        (("measure",), "argument COMMAND: invalid choice: 'measure' (choose from"),
        (("--colour",), "required: COMMAND"),
        (("--json", "sheet"), "unrecognized arguments: --json"),
    ],
)
def test_an_unknown_command_is_refused_in_one_sentence(
    run_cli: RunCli, words: tuple[str, ...], sentence: str
) -> None:
    status, out, err = run_cli(*words)
    assert (status, out) == (2, "")
    assert err.startswith("gaugelink: ")
    assert sentence in err
    assert err.endswith(" (see gaugelink --help)\n")
    assert err.count("\n") == 1


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_has_a_module_that_says_what_it_takes_and_does(name: str) -> None:
    module = import_module(f"gaugelink.commands.{name}")
    assert module.__doc__
    assert module.__doc__.splitlines()[0].endswith(".")
    parser = argparse.ArgumentParser()
    assert module.arguments(parser) is None
    assert module.arguments.__doc__
    assert module.run.__doc__
    assert callable(module.run)
    assert cli.parser_for(name).format_help()


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_has_help_of_its_own(run_cli: RunCli, name: str) -> None:
    status, out, err = run_cli(name, "--help")
    assert (status, err) == (0, "")
    assert out.startswith(f"usage: gaugelink {name} [-h]")
    assert "--json" in out


def test_every_module_that_is_a_command_can_be_called() -> None:
    """Modules beside the commands help one of them, and have no `arguments`."""
    names = {path.stem for path in Path(commands.__file__).parent.glob("*.py")} - {"__init__"}
    callable_ones = {
        name for name in names if hasattr(import_module(f"gaugelink.commands.{name}"), "arguments")
    }
    assert callable_ones == set(cli.COMMANDS)
    assert len(callable_ones) >= 6


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        (InputError("found 1", file="a.csv", line=3, field="unit"), "a.csv, line 3, unit: found 1"),
        (InputError("found 1", file="a.csv"), "a.csv: found 1"),
        (InputError("found 1", field="unit"), "unit: found 1"),
        (InputError("found 1"), "found 1"),
        (PortError("COM3 is taken"), "COM3 is taken"),
        (RecordError("not a record"), "not a record"),
        (SessionError("nothing is asked for"), "nothing is asked for"),
    ],
)
def test_whatever_a_user_can_put_right_is_one_sentence_and_status_two(
    run_cli: RunCli, monkeypatch: pytest.MonkeyPatch, fault: GaugeLinkError, sentence: str
) -> None:
    def fail(argv: object) -> NoReturn:
        raise fault

    monkeypatch.setattr(cli, "main", fail)
    assert run_cli("sheet") == (2, "", f"gaugelink: {sentence}\n")


def test_the_place_of_a_fault_is_filled_in_and_never_replaced() -> None:
    fault = InputError("bad", line=3)
    placed = fault.in_file("a.toml", 9, "x")
    assert (placed.file, placed.line, placed.field, placed.what) == ("a.toml", 3, "x", "bad")
    again = placed.in_file("b.toml", 1, "y")
    assert (again.file, again.line, again.field) == ("a.toml", 3, "x")


def test_an_interruption_says_that_the_record_is_safe(
    run_cli: RunCli, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(argv: object) -> NoReturn:
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "main", stop)
    assert run_cli("demo") == (
        130,
        "",
        "gaugelink: stopped; what was acknowledged is in the record\n",
    )


def test_a_fault_of_the_program_is_neither_a_verdict_nor_dressed_up_as_a_users(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(argv: object) -> NoReturn:
        raise ZeroDivisionError

    monkeypatch.setattr(cli, "main", fail)
    with pytest.raises(SystemExit) as end:
        cli.entry()
    out, err = capsys.readouterr()
    assert (end.value.code, out) == (3, "")
    assert "Traceback" in err
    assert "fault of the program" in err


@pytest.mark.parametrize("name", sorted(set(cli.COMMANDS) - {"decode"}))
def test_help_fits_a_terminal_80_wide(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """But for decode, whose table of keys is indented and stays as it is written."""
    monkeypatch.setenv("COLUMNS", "80")
    assert max(map(len, cli.parser_for(name).format_help().splitlines())) <= 80


@pytest.mark.parametrize("word", ["--help", "--version"])
def test_help_needs_nothing_that_is_slow_to_load(word: str) -> None:
    """The answer has to come at once, on a small computer too."""
    code = (
        "import sys, gaugelink.cli\n"
        f"sys.argv = ['gaugelink', {word!r}]\n"
        "try:\n    gaugelink.cli.entry()\n"
        "finally:\n    print(*sorted(sys.modules), file=sys.stderr)\n"
    )
    done = python("-c", code)
    assert done.returncode == 0
    loaded = {name.partition(".")[0] for name in done.stderr.split()}
    heavy = {"numpy", "scipy", "pydantic", "rich", "pint", "plotly", "typst", "starlette",
             "uvicorn", "cryptography", "serial", "asyncio", "sqlite3"}  # fmt: skip
    assert "gaugelink" in loaded
    assert not loaded & heavy


def test_the_package_can_be_run_as_a_module() -> None:
    done = python("-m", "gaugelink", "--version")
    assert (done.returncode, done.stdout) == (0, f"gaugelink {__version__}\n")
    done = python("-m", "gaugelink", "nothing")
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)


SHEET = """\
[sheet]
name = "Поршень 20 °C"
edition = "1"
source = "invented"
[head]
cylinders = 1
valves = ["intake"]
[[limit]]
characteristic = "margin"
service_min = "1 mm"
"""


def test_output_is_utf_8_whatever_the_pipe_is(tmp_path: Path) -> None:
    """A pipe on Windows has an encoding of its own, which lacks half of the alphabets."""
    path = tmp_path / "s.toml"
    path.write_text(SHEET, encoding="utf-8")
    done = python("-m", "gaugelink", "sheet", "check", str(path), PYTHONIOENCODING="cp1252")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("Поршень 20 °C, edition 1: 1 limit.")


def test_a_reader_that_goes_away_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(SHEET, encoding="utf-8")
    read, write = os.pipe()
    os.close(read)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "gaugelink", "sheet", "check", str(path)],
            stdout=write, stderr=subprocess.PIPE, cwd=TOP, check=False, timeout=60,
        )  # fmt: skip
    finally:
        os.close(write)
    assert (done.returncode, done.stderr) == (1, b"")

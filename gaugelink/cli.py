"""The command line: finds the command, turns errors into one sentence and an exit status.

Exit status: 0 done and nothing is wrong; 1 done, and something is outside, undecided, stale or does
not verify; 2 the input or the command is bad. A fault of the program itself ends with 3, so that it
is never taken for a verdict.
"""

from __future__ import annotations

import argparse
import io
import shutil
import sys
import textwrap
from importlib import import_module
from typing import TYPE_CHECKING, Final, NoReturn

from gaugelink import __version__
from gaugelink.errors import GaugeLinkError

if TYPE_CHECKING:
    from collections.abc import Sequence

COMMANDS: Final = {
    "demo": "measure a simulated head from start to report",
    "bench": "capture from the gauges of a bench file, show the page, keep the record",
    "sim": "offer simulated gauges on ports of this machine",
    "ports": "list this machine's serial ports, and what each is best known by",
    "driver": "check a driver file against its examples",
    "decode": "show the values in bytes or a logic capture of a gauge",
    "rock": "turn a recorded rock sweep into travel and clearance",
    "sheet": "check a limit sheet",
    "judge": "hold readings against a limit sheet",
    "fault": "tell valve from guide where a clearance is over its limit",
    "study": "tell how much of the spread is the gauge, the people and the parts",
    "chart": "tell whether what is measured is steady, and how capable",
    "stability": "tell from records whether the gauges' zeros stay",
    "conformity": "say whether a value conforms, given its uncertainty",
    "uncertainty": "draw up an uncertainty budget",
    "flatness": "tell how flat a face is, and which points say so",
    "runout": "tell runout and eccentricity from one turn under the dial",
    "spring": "reckon a valve spring or a nest: loads, solid height, room to spare, shims",
    "temperature": "turn a reading into the length at 20 degC",
    "fit": "look up a fit of ISO 286, and what pressing does to a bore",
    "guide": "tell the form of a guide, its clearance, and what rock should show",
    "recession": "tell where a valve stands after machining, and what may still be cut",
    "feeler": "hold what feeler blades told against a limit",
    "oneway": "tell whether groups of readings differ by more than they scatter",
    "pair": "tell which used valve goes into which guide",
    "plan": "plan the cheapest work that brings a head inside its limits",
    "release": "list what stands against releasing a head, from its record",
    "verify": "check that a record or a report is whole and unchanged",
}
"""Every command with its line of help; `gaugelink.commands.NAME` does the work."""

INTERRUPTED: Final = 130
FAULT: Final = 3


class _Parser(argparse.ArgumentParser):
    """Bad arguments end like bad files do: one sentence, status 2, no usage dump before it."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message} (see {self.prog} --help)\n")


def parser_for(command: str) -> argparse.ArgumentParser:
    """Build the parser of one command."""
    module = import_module(f"gaugelink.commands.{command}")
    parser = _Parser(prog=f"gaugelink {command}", description=_filled(module.__doc__ or ""))
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    module.arguments(parser)
    parser.add_argument(
        "--json", action="store_true", help="print one JSON document on standard output"
    )
    return parser


def _filled(text: str) -> str:
    """Fill paragraphs to the terminal; those with indented lines are tables, and stay."""
    wide = min(shutil.get_terminal_size().columns - 2, 100)
    return "\n\n".join(
        part if "\n " in part else textwrap.fill(part, max(wide, 40))
        for part in text.strip().split("\n\n")
    )


def main(argv: Sequence[str]) -> int:
    """Run a command.

    Args:
        argv: the words after the program's name.

    Returns:
        The exit status.
    """
    widest = max(map(len, COMMANDS))
    top = _Parser(
        prog="gaugelink",
        description="From the bytes of a digital gauge to a judged, signed-off cylinder head.",
        epilog="\n".join(
            [
                "commands:",
                *(f"  {name:<{widest}} {text}" for name, text in COMMANDS.items()),
                "",
                "gaugelink COMMAND --help shows what a command takes.",
            ]
        ),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"gaugelink {__version__}")
    top.add_argument("command", choices=list(COMMANDS), metavar="COMMAND", help="see below")
    rest = top.add_argument("rest", nargs=argparse.REMAINDER, metavar="...", help="what it takes")
    rest.required = False
    chosen = top.parse_args(argv)
    args = parser_for(chosen.command).parse_args(chosen.rest)
    run = import_module(f"gaugelink.commands.{chosen.command}").run
    status: int = run(args)
    return status


def entry() -> NoReturn:
    """Start from the operating system."""
    for stream in (sys.stdout, sys.stderr):
        # A pipe on Windows, or a bare locale, would refuse half of what a sheet may be called.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8")
    try:
        status = main(sys.argv[1:])
        sys.stdout.flush()
    except GaugeLinkError as fault:
        print(f"gaugelink: {fault}", file=sys.stderr)
        status = 2
    except KeyboardInterrupt:
        print("gaugelink: stopped; what was acknowledged is in the record", file=sys.stderr)
        status = INTERRUPTED
    except BrokenPipeError:
        # The reader of our output has gone (``| head``); there is nobody left to tell.
        sys.stderr.close()
        status = 1
    except Exception:  # noqa: BLE001  whatever it is, it must not look like a verdict
        import traceback  # noqa: PLC0415

        traceback.print_exc()
        print(
            "gaugelink: this is a fault of the program; nothing that was acknowledged is lost",
            file=sys.stderr,
        )
        status = FAULT
    raise SystemExit(status)


if __name__ == "__main__":
    entry()

"""Show the values in bytes or a logic capture of a gauge.

FILE holds the bytes as they came down the cable, or, if its name ends in .vcd, a logic capture
(IEEE 1364) of a clocked gauge with wires named CLK and DATA. It is read in pieces, so its size does
not matter.

With --json: one object a line for every whole frame,
  {"value": "-1.00", "unit": "mm", "raw": "..."}
with "mode" beside it unless the gauge says that this is its actual reading, and "notes" and
"channel" if it says more; then one object
  {"frames": ..., "noise_bytes": ..., "partial_frames": ...}.
"raw" is the frame: for a clocked gauge its bits, one character a clock, or the line of the bridge
that it came through; else its bytes, each as the character of the same number (U+0000 to U+00FF),
its end of line included.

Exit status: 0 at least one whole frame was found; 1 there is none; 2 the driver or the file is bad.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gaugelink import content
from gaugelink.errors import InputError
from gaugelink.wire.base import Item, Noise, Partial, Value, printable

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator

    from gaugelink.wire.base import Decoder
    from gaugelink.wire.driver import Driver

PIECE: Final = 65_536
"""Bytes read at once."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument(
        "--driver", required=True, metavar="NAME", help="name of a driver, or the path of its file"
    )
    parser.add_argument("file", metavar="FILE", type=Path, help="bytes, or a capture (.vcd)")


def run(args: argparse.Namespace) -> int:
    """Decode the file and print what is in it.

    Raises:
        InputError: a bad driver file, a file that cannot be read, or a damaged capture. A capture
            is read through before anything is printed, so that nothing is printed from a bad one.
    """
    from gaugelink.wire.driver import load_driver  # noqa: PLC0415  keeps --help quick

    driver = load_driver(*content.read("drivers", args.driver))
    path: Path = args.file
    if path.suffix.lower() == ".vcd":
        if path.exists() and not path.is_file():
            raise InputError("not a file; a capture is read twice", file=str(path))
        for _ in _bits_of_capture(driver, path):
            pass
        # The wires of the gauge itself: a bridge, if there is one, comes after them.
        decoder, pieces = driver.frame.decoder(), _bits_of_capture(driver, path)
    else:
        decoder, pieces = driver.decoder(), _pieces(path)
    tally = _Tally()
    headed = args.json
    for item in _items(decoder, pieces):
        tally.count(item)
        if not headed:  # only now is it known that the file can be read
            print(_row("value", "unit", "mode", "remark", "raw"))
            headed = True
        if not args.json:
            print(_line(item))
        elif isinstance(item, Value):
            print(json.dumps(_document(item, clocked=driver.frame.clocked)))
    print(json.dumps(tally.document()) if args.json else tally.sentence())
    return 0 if tally.frames else 1


def _items(decoder: Decoder, pieces: Iterator[bytes]) -> Iterator[Item]:
    for piece in pieces:
        yield from decoder.feed(piece)
    yield from decoder.end()


def _pieces(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb") as file:
            while piece := file.read(PIECE):
                yield piece
    except OSError as fault:
        raise InputError(f"cannot be read ({fault.strerror})", file=str(path)) from None


def _bits_of_capture(driver: Driver, path: Path) -> Iterator[bytes]:
    """Sample a capture with the edge and the pause that the driver file states."""
    from gaugelink.wire.bits import ClockedFrame  # noqa: PLC0415  keeps --help quick
    from gaugelink.wire.vcd import Clocking, VcdReader  # noqa: PLC0415

    if not isinstance(driver.frame, ClockedFrame):
        raise InputError(
            f"a logic capture needs the driver of a clocked gauge, such as scale24; "
            f"{driver.name} reads lines of text",
            file=str(path),
        )
    reader = VcdReader(Clocking.of(driver.frame), str(path))
    for piece in _pieces(path):
        yield reader.feed(piece)
    yield reader.end()


def _document(value: Value, *, clocked: bool) -> dict[str, str | list[str]]:
    raw = value.raw.rstrip(b"\r\n") if clocked else value.raw
    document: dict[str, str | list[str]] = {
        "value": value.shown.text,
        "unit": value.shown.unit,
        "raw": raw.decode("latin-1"),
    }
    if value.mode != "actual":
        document["mode"] = value.mode
    if value.notes:
        document["notes"] = list(value.notes)
    if value.channel:
        document["channel"] = value.channel
    return document


def _line(item: Item) -> str:
    match item:
        case Value(shown, raw, mode, notes):
            return _row(shown.text, shown.unit, mode, "; ".join(notes), printable(raw))
        case Noise(raw, why):
            return _row("noise", "", "", why, printable(raw))
        case Partial(raw, why):
            return _row("partial", "", "", why, printable(raw))


def _row(value: str, unit: str, mode: str, remark: str, raw: str) -> str:
    return f"{value:>12}  {unit:<4}  {mode:<6}  {remark:<40}  {raw}"


class _Tally:
    """Counts what was found."""

    def __init__(self) -> None:
        self.frames = 0
        self.noise_bytes = 0
        self.partial_frames = 0

    def count(self, item: Item) -> None:
        self.frames += isinstance(item, Value)
        self.noise_bytes += len(item.raw) if isinstance(item, Noise) else 0
        self.partial_frames += isinstance(item, Partial)

    def document(self) -> dict[str, int]:
        return {
            "frames": self.frames,
            "noise_bytes": self.noise_bytes,
            "partial_frames": self.partial_frames,
        }

    def sentence(self) -> str:
        return (
            f"frames: {self.frames}, bytes of noise: {self.noise_bytes}, "
            f"partial frames: {self.partial_frames}"
        )

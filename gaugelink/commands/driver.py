"""Check a driver file: its settings, and its examples against what they promise.

NAME is a driver that is installed, or the path of a file that is being written. Every example is
run whole and byte by byte.

Exit status: 0 the driver understands all of its examples; 2 the file has an error, which is named
with its line.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from gaugelink import content

if TYPE_CHECKING:
    import argparse

    from gaugelink.wire.driver import Driver


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("action", choices=["check"], help="what to do with the driver file")
    parser.add_argument("driver", metavar="NAME", help="a driver's name, or a .toml file")


def run(args: argparse.Namespace) -> int:
    """Check one driver file.

    Raises:
        InputError: it has an error.
    """
    from gaugelink.wire.base import printable  # noqa: PLC0415  pydantic is slow to start
    from gaugelink.wire.driver import load_driver  # noqa: PLC0415

    driver = load_driver(*content.read("drivers", args.driver))
    _check_in_pieces(driver)
    examples = [
        {"bytes": printable(item.data), "gives": item.promise()} for item in driver.examples
    ]
    if args.json:
        document: dict[str, Any] = {
            "driver": driver.name,
            "title": driver.about.title,
            "sends": driver.sends,
            "level": driver.about.level,
            "examples": examples,
        }
        print(json.dumps(document, ensure_ascii=False))
        return 0
    print(f"{driver.name}: {driver.about.title}")
    print(f"sends {driver.sends}; level: {driver.about.level} ({driver.about.reason})")
    width = max(len(item["bytes"]) for item in examples)
    for item in examples:
        print(f"  {item['bytes']:<{width}}  {item['gives']}")
    print("It understands every example.")
    return 0


def _check_in_pieces(driver: Driver) -> None:
    """Feed each example byte by byte: a decoder that depended on how bytes arrive would show."""
    for example in driver.examples:
        decoder = driver.frame.decoder()
        items = [item for byte in example.data for item in decoder.feed(bytes([byte]))]
        items += decoder.end()
        assert example.is_kept_by(items), f"{example.data!r} depends on how it is cut"

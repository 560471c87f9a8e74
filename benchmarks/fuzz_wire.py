"""Throw junk at every codec, and count what comes out that should not.

    python benchmarks/fuzz_wire.py [--inputs 20000] [--seed 1] [--driver NAME ...]

First part, for every driver file: random bytes, and its own examples with bits turned, bytes lost,
added and repeated, cut anywhere. Nothing may raise, no byte may be lost, nothing may pile up.

Second part: damaged frames, made so that only the format's own checks stand in the way. How many of
them pass is reckoned beside each from the format alone.
"""

from __future__ import annotations

import argparse
import math
import random
import sys
from fractions import Fraction
from typing import TYPE_CHECKING

from gaugelink import content
from gaugelink.simulate.encoders import ENCODERS, Display
from gaugelink.wire.base import Value
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from collections.abc import Callable

    from gaugelink.wire.driver import Driver


def spoiled(data: bytes, chance: random.Random) -> bytes:
    """Damage bytes once to four times."""
    some = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(some) + 1)
        match chance.randrange(4):
            case 0 if at < len(some):
                some[at] ^= 1 << chance.randrange(8)
            case 1:
                del some[at : at + chance.randint(1, 6)]
            case 2:
                some[at:at] = chance.randbytes(chance.randint(1, 6))
            case _:
                some[at:at] = some[:at]
                del some[400:]
    return bytes(some)


def junk(driver: Driver, inputs: int, chance: random.Random) -> tuple[int, int, int, int]:
    """Feed junk; give faults raised, bytes lost, the most bytes held, and values that came."""
    samples = [example.data for example in driver.examples]
    decoder = driver.decoder()
    faults = lost = held = values = 0
    for _ in range(inputs):
        data = (
            chance.randbytes(chance.randint(0, 64))
            if chance.random() < 0.5
            else spoiled(chance.choice(samples) + chance.choice(samples), chance)
        )
        cut = chance.randint(0, len(data))
        try:
            items = decoder.feed(data[:cut])
            held = max(held, len(getattr(decoder, "_buffer", b"")))
            items += decoder.feed(data[cut:]) + decoder.end()
        except Exception:  # noqa: BLE001  any at all is a fault
            faults += 1
            decoder = driver.decoder()
            continue
        lost += len(data) - len(b"".join(item.raw for item in items))
        values += sum(isinstance(item, Value) for item in items)
    return faults, lost, held, values


def clocks(count: int) -> Callable[[random.Random], bytes]:
    """Make frames of so many bits by chance."""
    return lambda chance: f"{chance.getrandbits(count):0{count}b}\n".encode()


def one_byte(good: bytes) -> Callable[[random.Random], bytes]:
    """Make a good frame in which one byte is another one."""

    def make(chance: random.Random) -> bytes:
        some = bytearray(good)
        some[chance.randrange(len(some))] ^= chance.randint(1, 255)
        return bytes(some)

    return make


def answer(chance: random.Random) -> bytes:
    """Make an answer with a proper head and unit, and digits and check by chance."""
    return b"\x01\x03\x08" + chance.randbytes(4) + b"\0\x03\0\0" + chance.randbytes(2)


def report(chance: random.Random) -> bytes:
    """Make a report with its identifier, places and unit; count, flags and sum by chance."""
    return b"\x51" + chance.randbytes(4) + b"\x13" + chance.randbytes(2)


def report_24(chance: random.Random) -> bytes:
    """Make a report with its constants, and count, flags and exclusive or by chance."""
    return b"GL" + chance.randbytes(4) + b"\0" + chance.randbytes(1)


LINE = ENCODERS["signed-line"](Display(21380, 4, "mm"))
KEYS = ENCODERS["keys-line"](Display(21380, 4, "mm"))

ODDS: dict[str, tuple[Callable[[random.Random], bytes], Fraction, str]] = {
    "signed-line": (
        one_byte(LINE),
        # "+  2.1380 MM" and its end, 13 bytes: each of five digits may be nine others; the sign may
        # be minus; the blank before the digits may be a digit other than 0, the one after them any
        # digit; and the last digit may be a blank or a comma, which shortens the number.
        Fraction(5 * 9 + 1 + 9 + 10 + 2, len(LINE) * 255),
        "one byte is another",
    ),
    "keys-line": (
        one_byte(KEYS),
        # "G2.1380" and Enter, 8 bytes: each of five digits may be nine others; three decimals may
        # be Enter, which cuts the number short, and the last one may be the carriage return that
        # goes with Enter. Without prefix, point or Enter it is nothing.
        Fraction(5 * 9 + 3 + 1, len(KEYS) * 255),
        "one byte is another",
    ),
    "bcd52": (
        clocks(52),
        # leader, sign, six digits, places, unit
        Fraction(1, 2**16) * Fraction(2, 16) * Fraction(10, 16) ** 6 * Fraction(6, 16)
        * Fraction(2, 16),
        "52 bits by chance",
    ),
    "scale24": (clocks(24), Fraction(1, 4), "24 bits by chance"),
    "scale48": (
        clocks(48),
        # both words within 400 mm, which is 322519 counts to either side
        Fraction(2 * (400 * 20480 * 10 // 254) + 1, 2**24) ** 2,
        "48 bits by chance",
    ),
    "bcd28": (clocks(28), Fraction(10, 16) ** 6 * Fraction(3, 4), "28 bits by chance"),
    "hid-report": (
        report,
        # flags: none of two unknown ones, not out of range, at most one of four modes; the sum
        Fraction(1, 4) * Fraction(1, 2) * Fraction(5, 16) * Fraction(1, 256),
        "count, flags and sum by chance",
    ),
    "hid-report-24": (
        report_24,
        # flags: none of four unknown ones, the sensor answers; the exclusive or
        Fraction(1, 16) * Fraction(1, 2) * Fraction(1, 256),
        "count, flags and check by chance",
    ),
    "modbus-registers": (answer, Fraction(1, 2**16), "number and check by chance"),
}  # fmt: skip
"""What only the format's checks stop, and how much of it gets past them, by the format alone."""


def wrong(driver: Driver, make: Callable[[random.Random], bytes], inputs: int,
          chance: random.Random) -> int:  # fmt: skip
    """Count the values that come of damaged frames and are not the undamaged one."""
    found = 0
    for _ in range(inputs):
        decoder = driver.decoder()
        for item in decoder.feed(make(chance)) + decoder.end():
            found += isinstance(item, Value) and str(item.shown) != "2.1380 mm"
    return found


def main() -> int:
    """Run both parts; the exit status is 1 if a promise is broken."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--inputs", type=int, default=20_000, help="inputs a driver (20000)")
    parser.add_argument("--seed", type=int, default=1, help="what chance begins with (1)")
    parser.add_argument("--driver", action="append", metavar="NAME", help="only this one")
    args = parser.parse_args()
    print(f"seed {args.seed}, {args.inputs} inputs a row\n")
    print("| driver | faults raised | bytes lost | most bytes held | values |")
    print("|---|---|---|---|---|")
    bad = False
    drivers = {
        name: load_driver(*content.read("drivers", name))
        for name in args.driver or content.names("drivers")
    }
    for name, driver in drivers.items():
        faults, lost, held, values = junk(driver, args.inputs, random.Random(f"{args.seed} {name}"))
        bad |= bool(faults or lost or held > 512)
        print(f"| {name} | {faults} | {lost} | {held} | {values} |", flush=True)
    print("\n| driver | damage | wrong values | expected | off by |\n|---|---|---|---|---|")
    for name, (make, odds, damage) in ODDS.items():
        if name not in drivers:
            continue
        found = wrong(drivers[name], make, args.inputs, random.Random(f"{args.seed} odds {name}"))
        mean = float(odds * args.inputs)
        # Poisson is wide enough here: five standard deviations, and a few where none is expected.
        spread = math.sqrt(mean * (1 - odds))
        bad |= abs(found - mean) > 5 * spread + 3
        off = f"{(found - mean) / spread:+.1f} sd"
        print(f"| {name} | {damage} | {found} | {mean:.3g} | {off} |", flush=True)
    return int(bad)


if __name__ == "__main__":
    sys.exit(main())

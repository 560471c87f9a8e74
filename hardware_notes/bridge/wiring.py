# ruff: noqa: INP001  a file for the board, not part of a package
"""What hangs where: the one file of the bridge that a shop changes.

Pins are the board's own numbers. ``edge`` is the clock edge at which DATA is sampled, as seen at
the pin; ``inverted`` says that the level shifter turns DATA round; without ``req`` a gauge cannot
be asked. README.md explains how to choose them.
"""

CHANNELS = {
    # A free-running scale of 24 bits.
    1: {"clk": 2, "data": 3, "edge": "rising", "pause_us": 1_000, "inverted": False},
    # Thirteen digits of four bits, sampled at the beginning of the low part of the clock: by the
    # time the handler reads DATA, the clock is well inside it.
    2: {
        "clk": 6, "data": 7, "req": 8, "edge": "falling", "pause_us": 10_000, "inverted": False,
    },
}  # fmt: skip

SUPPLY = None
"""Where the supply is measured, or None: ``{"adc": 29, "times": 3, "low_mv": 4500}`` measures a
third of it at analogue pin 29 against a reference of 3.3 V, and warns below 4500 mV."""

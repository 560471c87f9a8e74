# ruff: noqa: ANN001, ANN201, ANN202, ANN204, INP001  a file for the board: no package, no typing
"""The bridge: samples clocked gauges by interrupt and writes bridge lines to the computer.

MicroPython; starts by itself on a board that finds it under the name main.py, beside
bridge_lines.py and wiring.py. Described, not yet built by anybody: see README.md.
"""

import os
import select
import sys
import time

import bridge_lines as lines
import machine
import wiring
from machine import Pin

STATUS_US = 1_000_000


class Input:
    """The two wires of a gauge, and the interrupt on its clock."""

    def __init__(self, channel, pins):
        """Take the pins; nothing is sampled before `listen`."""
        self._clk = Pin(pins["clk"], Pin.IN)
        # Looked up once: an interrupt handler may not allocate, and should be short.
        self._level = Pin(pins["data"], Pin.IN).value
        self._ticks = time.ticks_us
        self._keep = channel.clock
        self._handler = self._on_edge

    def listen(self, edge):
        """Sample DATA at an edge of the clock, ``"rising"`` or ``"falling"``."""
        trigger = Pin.IRQ_RISING if edge == "rising" else Pin.IRQ_FALLING
        try:
            self._clk.irq(handler=self._handler, trigger=trigger, hard=True)
        except TypeError:
            # Some boards have no hard interrupts: then DATA is read later after the edge.
            self._clk.irq(handler=self._handler, trigger=trigger)

    def _on_edge(self, _pin):
        level = self._level()
        self._keep(self._ticks(), level)


class Request:
    """The REQ wire: open drain, so that it is pulled low or let go, and never driven high."""

    def __init__(self, pin):
        """Take the pin, let go."""
        self._pin = Pin(pin, Pin.OPEN_DRAIN, value=1)

    def pull(self, low):
        """Pull REQ low, or let go."""
        self._pin.value(0 if low else 1)


class Bridge:
    """All channels, the requests, and what is said once a second.

    Args:
        write: takes the bytes of a line.
        read: gives the next byte from the computer as a number, or None.
        run: a number drawn at this start, 0 to 65535.
    """

    def __init__(self, write, read, run):
        """Set everything up as wiring.py says, and say hello."""
        self._write = write
        self._read = read
        now = time.ticks_us()
        self._clock = lines.Microseconds(now, time.ticks_diff)
        self._run = run
        self._reader = lines.RequestReader()
        # In order: a dictionary on the board has none.
        self._order = sorted(wiring.CHANNELS)
        self._channels = {}
        self._inputs = {}
        self._asking = {}
        for number in self._order:
            pins = wiring.CHANNELS[number]
            channel = lines.Channel(
                number, pins["pause_us"], time.ticks_diff, inverted=pins["inverted"]
            )
            self._channels[number] = channel
            self._inputs[number] = Input(channel, pins)
            if "req" in pins:
                pull = Request(pins["req"]).pull
                self._asking[number] = lines.Asking(channel, pull, time.ticks_diff)
        self._adc = machine.ADC(wiring.SUPPLY["adc"]) if wiring.SUPPLY else None
        self._said_at = now
        self._hello(started=True)
        for number in self._order:
            self._inputs[number].listen(wiring.CHANNELS[number]["edge"])

    def step(self):
        """Do what there is to do, once."""
        now = time.ticks_us()
        us = self._clock.advance(now)
        byte = self._read()
        while byte is not None:
            line = self._reader.take(byte)
            if line is not None:
                self._answer(line, now, us)
            byte = self._read()
        for number in self._order:
            channel = self._channels[number]
            for first, bits in channel.take(now):
                self._write(channel.line(self._clock.at(first), bits))
            asking = self._asking.get(number)
            word = asking.watch(now) if asking else None
            if word:
                self._write(lines.note_line(number, word, us))
        if time.ticks_diff(now, self._said_at) >= STATUS_US:
            self._said_at = now
            self._status(us)

    def _answer(self, line, now, us):
        request = lines.read_request(line)
        if request == ("who",):
            self._hello(started=False)
            self._status(us)
            return
        number = request[1] if request else 0
        if request is None or number not in self._channels:
            word = "refused"
        elif request[0] == "ask":
            asking = self._asking.get(number)
            word = asking.ask(now) if asking else "refused"
        else:
            _, _, edge, pause_us, inverted = request
            channel = self._channels[number]
            channel.pause_us, channel.inverted = pause_us, inverted
            self._inputs[number].listen(edge)
            word = "set"
        self._write(lines.note_line(number, word, us))

    def _hello(self, *, started):
        channels = "".join(str(number) for number in self._order)
        self._write(lines.hello_line(self._run, channels, self._clock.us, started=started))

    def _status(self, us):
        supply = self._supply()
        for number in self._order:
            channel = self._channels[number]
            self._write(
                lines.status_line(self._run, number, channel.sequence, channel.dropped, supply, us)
            )

    def _supply(self):
        if self._adc is None:
            return "unknown"
        pin_mv = self._adc.read_u16() * 3300 // 65535
        return "low" if pin_mv * wiring.SUPPLY["times"] < wiring.SUPPLY["low_mv"] else "good"


def run():
    """Bridge for ever, over the board's USB."""
    poller = select.poll()
    poller.register(sys.stdin, select.POLLIN)

    def read():
        return sys.stdin.buffer.read(1)[0] if poller.poll(0) else None

    # The buffer: sys.stdout itself would put a carriage return before each line feed.
    drawn = int.from_bytes(os.urandom(2), "big")
    bridge = Bridge(sys.stdout.buffer.write, read, drawn)
    while True:
        bridge.step()


if __name__ == "__main__":
    run()

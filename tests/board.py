"""A board for the bridge's program: pins, ticks and a wire to the computer. Runs on MicroPython.

Time stands still but for `play`, which lets things happen at their microsecond: levels change, a
handler runs a stated time after its edge, the main loop comes round.
"""

# ruff: noqa: D101, D102
import json
import sys

WRAP = 1 << 30
now = [0]
pins = {}
wire_in = []
wire_out = []
asked = []


class FakeTime:
    ticks_us = staticmethod(lambda: now[0] % WRAP)
    ticks_diff = staticmethod(lambda a, b: (a - b + WRAP // 2) % WRAP - WRAP // 2)


class Pin:
    IN, OPEN_DRAIN, IRQ_RISING, IRQ_FALLING = 0, 1, 1, 2

    def __init__(self, number, mode, value=0):
        self.number, self.mode, self.level = number, mode, value
        self.handler, self.trigger = None, 0
        pins[number] = self

    def value(self, *level):
        if not level:
            return self.level
        assert self.mode == Pin.OPEN_DRAIN
        self.level = level[0]
        asked.append((now[0], self.number, level[0]))
        return None

    def irq(self, handler, trigger, hard=False):
        assert hard
        self.handler, self.trigger = handler, trigger


class ADC:
    mv = 5000

    def __init__(self, number):
        assert number == 29

    def read_u16(self):
        return ADC.mv // 3 * 65535 // 3300


class FakeMachine:
    Pin, ADC = Pin, ADC


def install():
    sys.modules["time"] = FakeTime
    sys.modules["machine"] = FakeMachine


def play(bridge, events, *, until, late_us, loop_us):
    """Play events, ``[us, pin, level]`` or ``[us, "pc", text]``, in order of time."""
    pending = []
    loop_at = now[0]
    events.append([until, None, None])
    for us, where, what in events:
        while True:
            handler_at = pending[0][0] if pending else until + 1
            due = min(handler_at, loop_at)
            if due > us or (due == us and where is not None):
                break
            now[0] = max(now[0], due)
            if handler_at <= loop_at:
                pending.pop(0)[1]()
            else:
                bridge.step()
                loop_at += loop_us
        now[0] = us
        if where == "pc":
            wire_in.extend(what.encode())
        elif where is not None:
            pin = pins[where]
            edge = 0 if pin.level == what else (Pin.IRQ_RISING if what else Pin.IRQ_FALLING)
            pin.level = what
            if pin.handler and pin.trigger == edge:
                pending.append((us + late_us, lambda pin=pin: pin.handler(pin)))


def read():
    return wire_in.pop(0) if wire_in else None


def show():
    lines = b"".join(wire_out).decode()
    print(json.dumps({"lines": lines, "asked": asked, "python": sys.implementation.name}))

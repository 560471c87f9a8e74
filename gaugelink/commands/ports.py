"""List the ports of this machine, serial ones and gauges on USB, and what each is best known by.

With --listen every port is opened for so many seconds, once with each setting of the line that a
driver file asks for, and it is said which driver files understand what is being sent. Press the
gauge's button again and again meanwhile: standard error tells which port and which setting are
being tried, and how long it will still take. Nothing is sent to a gauge unless --ask is given: then
it is asked in the way that each driver would. A port in use by another program is named, and not
tried again. A gauge on USB is listened to only if a driver file names its maker and product.

Behind a multiplexer the channels that were heard are named. A bridge is known by its lines, and
each of its channels is held against the driver files of clocked gauges; it speaks once a second.

Exit status: 0 done, and every port that was listened to, or every channel of the bridge on it, has
one driver that fits; 1 one has none, or several, or could not be opened; 2 the command is bad.
"""

from __future__ import annotations

import contextlib
import json
import math
import sys
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from gaugelink import content
from gaugelink.errors import InputError, PortError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Sequence

    from gaugelink.capture.bridge_listening import BridgeHeard
    from gaugelink.capture.listening import Score
    from gaugelink.ports.identity import PresentPort
    from gaugelink.ports.listing import Advice
    from gaugelink.ports.port import Chunk, Lost, Port
    from gaugelink.ports.serial import Line
    from gaugelink.wire.driver import Driver

LONGEST_S: Final = 600.0

CHANGE_S: Final = 0.25
"""What opening and closing a port once may take, so that nobody waits longer than was said."""

KINDS: Final = (
    ("tcp://", ("serial", "bridge", "tcp")),
    ("usb://", ("usb-hid",)),
    ("keyboard:", ("keyboard",)),
    ("", ("serial", "bridge")),
)
"""How the names of ports begin, and which kinds of driver files are tried on them."""

KEYBOARD_WORDS: Final = (
    "it was left alone: nobody can type on a keyboard that is listened to, not even to end this "
    "program; if it is the gauge's, name it with --port"
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("--listen", type=float, metavar="SECONDS",
                        help="listen to the ports, so long with each setting")  # fmt: skip
    parser.add_argument("--port", action="append", metavar="NAME", default=[],
                        help="only this port or address; may be given again")  # fmt: skip
    parser.add_argument("--ask", action="store_true", help="ask gauges that wait to be asked")


def run(args: argparse.Namespace) -> int:
    """List the ports, and listen if asked to.

    Raises:
        InputError: a bad number of seconds, or a driver file with a fault.
    """
    from gaugelink.ports.listing import advise, present_ports  # noqa: PLC0415  slow to start

    if args.listen is not None and not 0 < args.listen <= LONGEST_S:
        what = f"found {args.listen:g}, accepted: more than 0, up to {LONGEST_S:g} seconds"
        raise InputError(what, field="--listen")
    if args.ask and args.listen is None:
        raise InputError("accepted only together with --listen", field="--ask")
    advice = {item.port.name: item for item in advise(present_ports())}
    names = args.port or list(advice)
    documents = [_document(name, advice.get(name)) for name in names]
    wrong = False
    if args.listen is not None:
        listener = Listener(args.listen, ask=args.ask, tell=_tell)
        wanted = []
        for document in documents:
            if document["port"].startswith("keyboard:") and not args.port:
                document["heard"] = _left_alone(KEYBOARD_WORDS)
            else:
                wanted.append(document)
        listener.expect([document["port"] for document in wanted])
        for document in wanted:
            heard = listener.listen(document["port"])
            document["heard"] = heard
            each = heard["bridge"]["channels"] if heard["bridge"] else [heard]
            wrong |= not each or any(len(one["fits"]) != 1 for one in each)
    if args.json:
        print(json.dumps({"ports": documents}, ensure_ascii=False))
    else:
        _print(documents)
    return 1 if wrong else 0


@dataclass(slots=True)
class Listener:
    """Listens to ports, one after the other.

    Args:
        seconds: how long with each setting of the line.
        ask: ask gauges that wait to be asked.
        wait: waits so many seconds.
        mono_ns: a monotonic clock.
        tell: is given a sentence before each wait.
    """

    seconds: float
    ask: bool = False
    wait: Callable[[float], None] = time.sleep
    mono_ns: Callable[[], int] = time.monotonic_ns
    tell: Callable[[str], None] = lambda _words: None
    _to_come: int = 0
    _drivers: list[Driver] = field(init=False)

    def __post_init__(self) -> None:
        """Load every driver file."""
        from gaugelink.wire.driver import load_driver  # noqa: PLC0415  slow to start

        self._drivers = [
            load_driver(*content.read("drivers", name)) for name in content.names("drivers")
        ]

    def expect(self, names: Sequence[str]) -> None:
        """Say how long listening to all these ports will take, and reckon with it from now on."""
        counts = [len(self._groups(name)) for name in names]
        self._to_come = sum(counts)
        if self._to_come:
            ports = "1 port" if len(names) == 1 else f"{len(names)} ports"
            most = max(counts)
            each = "once" if most == 1 else f"once with each of up to {most} settings of the line"
            self.tell(
                f"Listening to {ports}, {each}, {self.seconds:g} s at a time: up to "
                f"{self._left_s(0)} s in all. Press the gauge's button again and again."
            )

    def _left_s(self, here: int) -> int:
        return math.ceil((self._to_come + here) * (self.seconds + CHANGE_S))

    def listen(self, name: str) -> dict[str, Any]:
        """Listen to one port with each setting, and say who understands it."""
        from gaugelink.capture.bridge_listening import bridge_heard  # noqa: PLC0415
        from gaugelink.capture.listening import conclude, score  # noqa: PLC0415

        scores: list[Score] = []
        heard = 0
        groups = self._groups(name)
        if not groups:
            words = (
                "it was left alone: no driver file names its maker and product; accepted: vid and "
                "pid in [port]"
            )
            return _left_alone(words)
        self._to_come = max(0, self._to_come - len(groups))  # what does not open takes no time
        for number, (line, drivers) in enumerate(groups):
            which = f"setting {number + 1} of {len(groups)}, {_setting(name, line)}"
            self.tell(f"{name}: {which}; up to {self._left_s(len(groups) - number)} s left")
            opened_ns = self.mono_ns()
            try:
                chunks = self._with(name, line, drivers)
            except PortError as fault:
                # Whoever has it keeps it, and what does not open does not open with other settings.
                return {"bytes": heard, "fits": [], "words": str(fault), "drivers": [],
                        "bridge": None, "opened": False}  # fmt: skip
            heard += sum(len(chunk.data) for chunk in chunks)
            if bridge := bridge_heard(chunks, self._drivers):
                # Its lines have a check: no other driver and no other setting is meant.
                return {"bytes": heard, "fits": [], "words": bridge.words, "drivers": [],
                        "bridge": _bridge_document(bridge), "opened": True}  # fmt: skip
            scores += [score(driver, chunks, opened_ns) for driver in drivers]
        fits, words = conclude(scores, heard)
        return {
            "bytes": heard,
            "fits": fits,
            "words": words,
            "drivers": [_score_document(one) for one in _best_first(scores)],
            "bridge": None,
            "opened": True,
        }

    def _groups(self, name: str) -> list[tuple[Line, list[Driver]]]:
        """Give the settings to listen with, and the drivers that may hear a gauge then."""
        from gaugelink.capture.channel import line_of  # noqa: PLC0415  slow to start
        from gaugelink.ports.serial import Line  # noqa: PLC0415

        kinds = next(kinds for beginning, kinds in KINDS if name.startswith(beginning))
        groups: dict[Line, list[Driver]] = {}
        for driver in self._drivers:
            if driver.port.kind in kinds and _may_be_on(name, driver):
                # A connection has no line to set: all drivers hear the same.
                line = Line() if name.startswith("tcp://") else line_of(driver)
                groups.setdefault(line, []).append(driver)
        return list(groups.items())

    def _with(self, name: str, line: Line, drivers: Sequence[Driver]) -> list[Chunk]:
        from gaugelink.capture.bridge_listening import bridge_heard  # noqa: PLC0415

        requests = sorted({driver.request for driver in drivers if driver.request})
        if not self.ask or not requests:
            return self._opened(name, line, [])
        if not name.startswith("tcp://"):
            return self._opened(name, line, requests)
        # A request that the other end does not know may spoil the next one on the same connection:
        # Modbus TCP takes it for the beginning of a frame, and waits for its end.
        chunks: list[Chunk] = []
        for place, request in enumerate(requests):
            # That nobody is there shows at once; later, somebody may be busy hanging up.
            with contextlib.suppress(PortError) if place else contextlib.nullcontext():
                chunks += self._opened(name, line, [request], of=len(requests))
            if bridge_heard(chunks, []):
                break
        return chunks

    def _opened(self, name: str, line: Line, requests: Sequence[bytes], of: int = 0) -> list[Chunk]:
        """Open the port, send requests one after the other, and give what came meanwhile.

        Args:
            name: the port.
            line: how its line is set.
            requests: what to send; nothing: it is only listened to.
            of: how many requests share the time, where not all of them are sent here.
        """
        from gaugelink.ports.naming import port_for  # noqa: PLC0415
        from gaugelink.ports.port import Chunk, Lost  # noqa: PLC0415

        port: Port = port_for(name, line, self.mono_ns)
        came: list[Chunk | Lost] = []
        port.open(came.append)
        try:
            # One after the other: two at once are a request that no gauge knows.
            for request in requests:
                with contextlib.suppress(PortError):  # then nothing comes, and that is said
                    port.write(request)
                self.wait(self.seconds / (of or len(requests)))
            if not requests:
                self.wait(self.seconds)
            if self.ask:
                self._ask_through_bridge(port, [one for one in came if isinstance(one, Chunk)])
        finally:
            port.close()
        chunks = [item for item in came if isinstance(item, Chunk)]
        lost = [item for item in came if isinstance(item, Lost)]
        # Asked by one connection after the other, it may hang up on what it does not know.
        if lost and not chunks and not of:
            raise PortError(f"{name} is gone ({lost[0].why})")
        return chunks

    def _ask_through_bridge(self, port: Port, chunks: Sequence[Chunk]) -> None:
        """Have a bridge, if one was heard, say who it is and ask the gauge on each channel."""
        from gaugelink.capture.bridge_listening import bridge_heard  # noqa: PLC0415
        from gaugelink.wire.bridge_lines import ask_line, who_line  # noqa: PLC0415

        bridge = bridge_heard(chunks, [])
        if bridge is None:
            return
        requests = (who_line(), *map(ask_line, sorted(bridge.channels)))
        more_s = math.ceil(len(requests) * self.seconds)
        self.tell(
            f"A bridge answers: it and its channels are asked too, which takes {more_s} s more"
        )
        for request in requests:
            with contextlib.suppress(PortError):
                port.write(request)
            self.wait(self.seconds)


def _setting(name: str, line: Line) -> str:
    """Say how the line is set, where there is one to set.

    >>> from gaugelink.ports.serial import Line
    >>> _setting("COM5", Line(baud=4800, bytesize=7, parity="even"))
    '4800 baud, 7 data bits, parity even, stop bits 1'
    """
    if "://" in name or name.startswith("keyboard:"):
        return "a connection without line settings"
    return (
        f"{line.baud} baud, {line.bytesize} data bits, parity {line.parity}, "
        f"stop bits {line.stopbits}" + ("" if line.flow == "none" else f", flow {line.flow}")
    )


def _tell(words: str) -> None:
    with contextlib.suppress(OSError):  # nobody reads it; what is found is printed all the same
        print(words, file=sys.stderr, flush=True)


def _may_be_on(name: str, driver: Driver) -> bool:
    """Tell whether a driver file is for what is on USB; any is, for whatever else there is."""
    from gaugelink.ports.identity import USB  # noqa: PLC0415
    from gaugelink.ports.usb_devices import UsbName  # noqa: PLC0415

    if not name.startswith(USB):
        return True
    try:
        found = UsbName.parse(name)
    except PortError:
        return True  # what is wrong with the name is said at opening
    return (driver.port.vid, driver.port.pid) == (found.vid, found.pid)


def _left_alone(words: str) -> dict[str, Any]:
    return {"bytes": 0, "fits": [], "words": words, "drivers": [], "bridge": None, "opened": False}


def _best_first(scores: Sequence[Score]) -> list[Score]:
    return sorted(scores, key=lambda one: (-one.value_bytes, one.noise_bytes, one.driver))


def _score_document(one: Score) -> dict[str, Any]:
    return {
        "driver": one.driver,
        "fits": one.fits,
        "values": len(one.values),
        "first": one.values[0] if one.values else "",
        "noise_bytes": one.noise_bytes,
        "partial_frames": one.partial_frames,
        "channels": list(one.channels),
    }


def _bridge_document(bridge: BridgeHeard) -> dict[str, Any]:
    return {
        "firmware": bridge.firmware,
        "supply": bridge.supply,
        "channels": [
            {
                "channel": channel.number,
                "frames": channel.frames,
                "lost": channel.lost,
                "dropped": channel.dropped,
                "fits": channel.fits,
                "words": channel.words,
                "drivers": [
                    _score_document(one) for one in _best_first(channel.scores) if one.values
                ],
            }
            for _, channel in sorted(bridge.channels.items())
        ],
    }


def _document(name: str, advice: Advice | None) -> dict[str, Any]:
    from gaugelink.ports.identity import PortIdentity, bench_line, usb_text  # noqa: PLC0415

    if advice is None:
        words = "not in the system's list; it keeps its name" if "://" in name else (
            "not in the system's list of ports: what it is known by cannot be told"
        )  # fmt: skip
        return {"port": name, "usb": "", "serial_number": "", "path": "", "description": "",
                "bind": {"by": "name", "words": words, "touch": False},
                "bench": bench_line(PortIdentity("given name", name=name))}  # fmt: skip
    port: PresentPort = advice.port
    return {
        "port": port.name,
        "usb": usb_text(port.vid, port.pid) if port.vid is not None else "",
        "serial_number": port.serial_number,
        "path": port.path,
        "description": port.description,
        "bind": {"by": advice.identity.binds, "words": advice.words, "touch": advice.swap_risk},
        "bench": bench_line(advice.identity),
    }


def _print(documents: Sequence[dict[str, Any]]) -> None:
    if not documents:
        print("This machine has no port now. Plug the gauge or its adapter in, and look again.")
    for document in documents:
        number = document["serial_number"] and f"serial number {document['serial_number']}"
        path = document["path"] and f"socket {document['path']}"
        about = [document["description"], document["usb"], number, path]
        print(f"{document['port']}  {', '.join(filter(None, about))}".rstrip())
        print(f"    known by {document['bind']['by']}: {document['bind']['words']}")
        print(f"    in a bench file: {document['bench']}")
        if "heard" in document:
            heard = document["heard"]
            print(f"    {heard['words']}")
            for channel in heard["bridge"]["channels"] if heard["bridge"] else ():
                print(f"    channel {channel['channel']}: {channel['words']}")
            for one in heard["drivers"]:
                if one["values"] and not one["fits"]:
                    noise, broken = one["noise_bytes"], one["partial_frames"]
                    print(
                        f"    {one['driver']} does not fit: {one['values']} values, "
                        f"{noise} bytes of noise, {broken} broken frames"
                    )

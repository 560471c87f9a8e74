"""What a page may ask the bench to do, as plain documents.

Whatever comes from a page is untrusted: a document is checked whole before anything is done, and
the answer is a status of HTTP and a sentence for the person.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from gaugelink.capture import signed
from gaugelink.capture.typed import KEYS_MOST, take_keys
from gaugelink.deeds import (
    Assign,
    ConfirmPosition,
    ConfirmZero,
    DoWork,
    FillChamber,
    Inspect,
    Retake,
    SignDeviation,
    Skip,
    StrikeOut,
    TellSpring,
)
from gaugelink.errors import GaugeLinkError, SessionError
from gaugelink.events import (
    PositionConfirmed,
    PositionSkipped,
    ReadingStruckOut,
    SweepParked,
    SweepTaken,
)
from gaugelink.inspection import Check  # noqa: TC001  pydantic looks it up at run time
from gaugelink.planning.depth import parse_depth
from gaugelink.quantity import micrometres_text
from gaugelink.work import Operation  # noqa: TC001  pydantic looks it up at run time

if TYPE_CHECKING:
    from gaugelink.capture.bench import Bench

Reason = Annotated[str, Field(min_length=1, max_length=300)]


class _Action(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class _Take(_Action):
    do: Literal["take"]
    gauge: Annotated[str, Field(max_length=60)]


class _SweepStart(_Action):
    do: Literal["sweep-start"]


class _SweepStop(_Action):
    do: Literal["sweep-stop"]


class _Watch(_Action):
    do: Literal["watch"]
    on: bool


class _Skip(_Action):
    do: Literal["skip"]
    reason: Reason


class _Back(_Action):
    do: Literal["back"]


class _Go(_Action):
    do: Literal["go"]
    step: Annotated[int, Field(ge=0, le=1_000_000)]


class _Retake(_Action):
    do: Literal["retake"]
    reason: Reason


class _StrikeOut(_Action):
    do: Literal["strike-out"]
    place: Annotated[int, Field(ge=0, le=2**53)]
    reason: Reason


_Key = Annotated[
    tuple[
        Annotated[str, Field(strict=True, min_length=1, max_length=20)],
        Annotated[int, Field(strict=True, ge=0, le=2**53)],
    ],
    Field(strict=False),  # JSON has lists only
]
"""The name of a key, and the milliseconds since the one before it."""


class _ConfirmPosition(_Action):
    do: Literal["confirm-position"]


class _ConfirmZero(_Action):
    do: Literal["confirm-zero"]
    gauge: Annotated[str, Field(max_length=60)]


class _Assign(_Action):
    do: Literal["assign"]
    place: Annotated[int, Field(ge=0, le=2**53)]
    step: Annotated[int, Field(ge=0, le=1_000_000)]
    reason: Reason


class _Work(_Action):
    do: Literal["work"]
    operation: Operation
    valves: Annotated[list[Annotated[str, Field(max_length=10)]], Field(max_length=200)] = []
    depth: Annotated[str, Field(max_length=60)] = ""
    by: Annotated[str, Field(max_length=60)] = ""
    gauge: Annotated[str, Field(max_length=60)] = ""
    size: Annotated[str, Field(max_length=60)] | None = None


class _Inspect(_Action):
    do: Literal["inspect"]
    check: Check
    valves: Annotated[list[Annotated[str, Field(max_length=10)]], Field(max_length=200)] = []
    sound: bool
    words: Annotated[str, Field(max_length=300)] = ""
    by: Annotated[str, Field(max_length=60)] = ""


class _Spring(_Action):
    do: Literal["spring"]
    valve: Annotated[str, Field(max_length=10)]
    load: Annotated[str, Field(max_length=40)]
    u: Annotated[str, Field(max_length=40)] = ""
    by: Annotated[str, Field(max_length=60)] = ""


class _Chamber(_Action):
    do: Literal["chamber"]
    cylinder: Annotated[int, Field(ge=1, le=99)]
    volume: Annotated[str, Field(max_length=40)]
    u: Annotated[str, Field(max_length=40)] = ""
    by: Annotated[str, Field(max_length=60)] = ""


class _Deviation(_Action):
    do: Literal["deviation"]
    valve: Annotated[str, Field(max_length=10)]
    characteristic: Annotated[str, Field(max_length=60)]
    method: Annotated[str, Field(max_length=10)]
    limit: Annotated[str, Field(max_length=600)]
    value: Annotated[str, Field(max_length=160)]
    places: Annotated[list[Annotated[int, Field(ge=0, le=2**53)]], Field(max_length=1000)]
    by: Annotated[str, Field(max_length=60)]
    reason: Reason


class _Release(_Action):
    do: Literal["release"]
    by: Annotated[str, Field(max_length=60)]
    words: Annotated[str, Field(max_length=300)] = ""
    seen: Annotated[int, Field(ge=0, le=2**53)]


class _Keys(_Action):
    do: Literal["keys"]
    keys: Annotated[list[_Key], Field(min_length=1, max_length=KEYS_MOST)]


_Anything = (
    _Take
    | _SweepStart
    | _SweepStop
    | _Watch
    | _Skip
    | _Back
    | _Go
    | _Retake
    | _StrikeOut
    | _Assign
    | _ConfirmPosition
    | _Keys
    | _ConfirmZero
    | _Work
    | _Inspect
    | _Spring
    | _Chamber
    | _Deviation
    | _Release
)
_ANY: TypeAdapter[_Anything] = TypeAdapter(Annotated[_Anything, Field(discriminator="do")])


async def act(bench: Bench, document: dict[str, Any]) -> tuple[int, dict[str, Any]]:
    """Carry out what a page asks for.

    Returns:
        A status of HTTP (200 done, 400 not understood, 409 cannot be done now) and the answer:
        ``ok`` and ``words``.
    """
    try:
        action = _ANY.validate_python(document)
    except ValidationError as faults:
        fault = faults.errors()[0]
        field = ".".join(str(part) for part in fault["loc"][1:]) or "do"
        return 400, {"ok": False, "words": f"{field}: {fault['msg']}"}
    try:
        return 200, {"ok": True, "words": await _carry_out(bench, action)}
    except GaugeLinkError as fault:
        return 409, {"ok": False, "words": str(fault)}


async def _carry_out(bench: Bench, action: _Action) -> str:
    match action:
        case _Take(gauge=gauge):
            bench.take(gauge)
            return "the next value is taken"
        case _SweepStart():
            bench.sweep_start()
            return "the sweep is running: rock at least three times to and fro"
        case _SweepStop():
            analysis = await bench.sweep_stop()
            history = bench.session.history
            kept = next(
                event
                for event in (history[place].event for place in reversed(history))
                if isinstance(event, SweepTaken | SweepParked)
            )
            if isinstance(kept, SweepParked):
                return f"the sweep counts nowhere, but is kept: {kept.why}"
            if not kept.usable:
                return f"the sweep is kept, but cannot be used: {'; '.join(kept.flags)}"
            return f"travel {micrometres_text(analysis.travel_pm)} um, on record"
        case _Watch(on=on):
            bench.watch_gauges(on=on)
            return (
                "values are taken when they have come to rest, sweeps start when the spindle moves"
                if on
                else "nothing is taken without a button"
            )
        case _Skip(reason=reason):
            done = await bench.do(Skip(reason))
            skipped = next(event for _, event in done if isinstance(event, PositionSkipped))
            return f"skipped: {skipped.position.words}"
        case _Back():
            await bench.back()
            return "one position back; a new reading replaces the old one"
        case _Go(step=step):
            await bench.go(step)
            return bench.session.plan[step].position.words
        case _Retake(reason=reason):
            return _struck(await bench.do(Retake(reason)))
        case _StrikeOut(place=place, reason=reason):
            return _struck(await bench.do(StrikeOut(place, reason)))
        case _ConfirmPosition():
            done = await bench.do(ConfirmPosition())
            marks = [event.gauge for _, event in done if isinstance(event, PositionConfirmed)]
            asked = bench.session.step.position.words if bench.session.step else "nothing"
            return f"{' and '.join(marks)} confirmed; asked for: {asked}"
        case _ConfirmZero(gauge=gauge):
            await bench.do(ConfirmZero(gauge))
            return f"the zero of {gauge} is right; what it sends counts again"
        case _Work():
            return await _work(bench, action)
        case _Inspect():
            told = Inspect(
                action.check, tuple(action.valves), action.sound, action.words, action.by
            )
            return await signed.inspect(bench, told)
        case _Spring(valve=valve, load=load, u=u, by=by):
            return await signed.tell_spring(bench, TellSpring(valve, load, u, by))
        case _Chamber(cylinder=cylinder, volume=volume, u=u, by=by):
            return await signed.tell_chamber(bench, FillChamber(cylinder, volume, u, by))
        case _Deviation():
            return await signed.sign_deviation(bench, SignDeviation(
                action.valve, action.characteristic, action.method, action.limit, action.value,
                tuple(action.places), action.by, action.reason,
            ))  # fmt: skip
        case _Release():
            return await signed.release(bench, action.by, action.words, action.seen)
        case _Keys(keys=keys):
            return await take_keys(bench, keys)
        case _Assign(place=place, step=step, reason=reason):
            await bench.do(Assign(place, step, reason))
            return f"assigned to {bench.session.plan[step].position.words}"
    raise AssertionError(action)


async def _work(bench: Bench, action: _Work) -> str:
    if bench.recorder is not None:
        # What was rocked before the work would count as measured after it.
        raise SessionError("a sweep is running; stop it first")
    session = bench.session
    before = _stale(bench)
    depth = parse_depth(action.depth) if action.depth.strip() else None
    await bench.do(DoWork(action.operation, tuple(action.valves), depth, action.by, action.gauge,
                          action.size))  # fmt: skip
    count = _stale(bench) - before
    what: str = action.operation
    if action.valves:
        what += f" on {', '.join(action.valves)}"
    if action.gauge:
        what += f" ({action.gauge})"
    if action.size is not None:
        what += f", size {action.size or 'standard'}"
    asked = session.step.position.words if session.step else "nothing"
    lines = "1 line" if count == 1 else f"{count} lines"
    return f"{what}: {lines} of the history stale; asked for: {asked}"


def _stale(bench: Bench) -> int:
    return sum(bool(entry.stale) for entry in bench.session.history.values())


def _struck(done: list[tuple[int, Any]]) -> str:
    places = [event.struck for _, event in done if isinstance(event, ReadingStruckOut)]
    return f"struck out {', '.join(map(str, places))}; it stays readable in the record"

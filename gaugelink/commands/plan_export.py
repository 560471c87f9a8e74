"""Write a head that is to be planned as a job file, for a person to change and plan again."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import TYPE_CHECKING

from gaugelink.commands import plan_chamber
from gaugelink.commands.plan_keys import HEAD, LIMITED, PROTRUDING, READ
from gaugelink.errors import InputError
from gaugelink.force import exact_newtons
from gaugelink.planning.task import Range
from gaugelink.planning.ties import volume_u
from gaugelink.quantity import PM_PER_MM, exact_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.planning.survey import Survey
    from gaugelink.planning.task import Cylinder, Place, Rules, Span, Task


def job_file(found: Survey, where: str) -> str:
    """Write the job file of a surveyed head; prices stay in a file of their own.

    Args:
        found: the head. Where kinds of valves differ in an uncertainty, the larger is written.
        where: the record that it comes from, for the remark on top.

    Raises:
        InputError: the head has something that a job file cannot say.
    """
    task = found.task
    lines = [f"# {_remark(where)}: the head as it was measured. Plan it with --prices."]
    lines += [f"# Not in it: {_remark(words)}" for words in found.left_out]
    lines += ["[job]", f"name = {_text(task.name)}", f"pairing = {_yes(task.pairing)}",
              f"springs_as_set = {_yes(task.springs_as_set)}", *_measured(task),
              "", *_uncertainties(task), "", *_head(task)]  # fmt: skip
    for kind, rules in task.rules.items():
        lines += ["", f"[kind.{kind}]", *_rules(kind, rules)]
    if task.chamber is not None:
        lines += ["", *plan_chamber.written(task)]
    for place in task.places:
        lines += ["", "[[valve]]", *_place(place)]
    for cylinder in task.cylinders:
        lines += ["", "[[cylinder]]", *_cylinder(cylinder)]
    return "\n".join(lines) + "\n"


def _cylinder(cylinder: Cylinder) -> Iterator[str]:
    yield f"number = {cylinder.name.removeprefix('cylinder ')}"
    for key, name in PROTRUDING.items():
        if name in cylinder.readings:
            yield f"{key} = {_length(cylinder.readings[name])}"
    if cylinder.volume is not None:
        yield f"chamber_volume = {plan_chamber.text(cylinder.volume)}"


def _measured(task: Task) -> Iterator[str]:
    if task.measured is not None:
        yield f"measured = [{', '.join(map(_text, sorted(task.measured)))}]"


def _uncertainties(task: Task) -> Iterator[str]:
    yield "[u]"
    for key, name in {**LIMITED, **HEAD, **PROTRUDING}.items():
        known = [rules.u_pm.get(name, 0) for rules in task.rules.values()]
        u_pm = max([*known, task.u_pm.get(name, 0)])
        if u_pm:
            yield f"{key} = {_length(u_pm)}"
    u_load = max((rules.u_load_n or Fraction(0) for rules in task.rules.values()), default=None)
    if u_load:
        yield f"spring_load = {_force(u_load)}"
    u_volume = max((volume_u(task, one) for one in task.cylinders), default=0)
    if task.chamber is not None and (u_volume or task.chamber.u):
        yield f"chamber_volume = {plan_chamber.text(u_volume or task.chamber.u)}"


def _head(task: Task) -> Iterator[str]:
    yield "[head]"
    thick, flat = (task.head.get(name, Range()) for name in ("head thickness",
                                                             "head-face flatness"))  # fmt: skip
    for key, value in (
        ("thickness", task.thickness_pm), ("thickness_min", thick.lower),
        ("flatness", task.flatness_pm), ("flatness_max", flat.upper),
        ("clean_up", task.clean_up_pm or None),
    ):  # fmt: skip
        if value is not None:
            yield f"{key} = {_length(value)}"
    for key, name in PROTRUDING.items():
        if written := _ends(task.head.get(name, Range())):
            yield f"{key} = {written}"
    for key, why in (("face_scrap", task.face_scrap), ("cracked", task.cracked)):
        if why:
            yield f"{key} = {_text(why)}"


def _rules(kind: str, rules: Rules) -> Iterator[str]:
    for key, name in LIMITED.items():
        if written := _ends(rules.limits.get(name, Range())):
            yield f"{key} = {written}"
    for key, span in (("new_stem", rules.new_stem), ("new_bore", rules.new_bore)):
        if span is not None:
            yield f"{key} = {_span(span)}"
    if rules.spread_pm is not None:
        yield f"stand_down_spread = {_length(rules.spread_pm)}"
    yield from plan_chamber.diameter(rules)
    yield from _spring(kind, rules)


def _ends(limit: Range) -> str:
    ends = [f"{end} = {_length(value)}" for end, value in (("min", limit.lower),
            ("max", limit.upper)) if value is not None]  # fmt: skip
    return f"{{ {', '.join(ends)} }}" if ends else ""


def _spring(kind: str, rules: Rules) -> Iterator[str]:
    """Write what the book wants of the springs."""
    if rules.spring is not None:
        pairs = [f"[{_height(kind, height)}, {_force(load)}]" for height, load
                 in rules.spring.points]  # fmt: skip
        yield f"spring = [{', '.join(pairs)}]"
    ends = [f"{end} = {_force(load)}" for end, load in zip(("min", "max"), rules.load, strict=True)
            if load is not None]  # fmt: skip
    if ends:
        yield f"spring_load = {{ {', '.join(ends)} }}"
    for key, value in (("spring_tested_at", rules.tested_at_pm), ("lift", rules.lift_pm),
                       ("solid_height", rules.solid_pm),
                       ("bind_margin_min", rules.bind_least_pm)):  # fmt: skip
        if value is not None:
            yield f"{key} = {_length(value)}"


def _height(kind: str, height_mm: Fraction) -> str:
    pm = height_mm * PM_PER_MM
    if pm.denominator != 1:
        raise InputError(f"found a spring of {kind} valves whose height is no whole picometre")
    return _length(pm.numerator)


def _force(load: Fraction) -> str:
    return f'"{exact_newtons(load)}"'


def _place(place: Place) -> Iterator[str]:
    yield f"name = {_text(place.name)}"
    yield f"kind = {_text(place.kind)}"
    for key, span in (("stem", place.stem), ("bore", place.bore)):
        if span is not None:
            yield f"{key} = {_span(span)}"
    for key in READ:
        if (value := place.readings.get(LIMITED[key])) is not None:
            yield f"{key} = {_length(value)}"
    if place.spring_load_n is not None:
        yield f"spring_load = {_force(place.spring_load_n)}"
    for key, why in (
        ("scrap", place.scrap),
        ("guide_scrap", place.guide_scrap),
        ("seat_scrap", place.seat_scrap),
        ("spring_scrap", place.spring_scrap),
    ):
        if why:
            yield f"{key} = {_text(why)}"
    if place.married:
        yield "married = true"
    parts = {part: names for part, names in place.open.items() if names}
    if parts:
        inside = ", ".join(f"{part} = [{', '.join(map(_text, names))}]"
                           for part, names in parts.items())  # fmt: skip
        yield f"open = {{ {inside} }}"


def _span(span: Span) -> str:
    return f"[{_length(span[0])}, {_length(span[1])}]"


def _length(pm: int) -> str:
    return f'"{exact_text(pm, "mm")} mm"'


def _remark(words: str) -> str:
    return "".join(letter for letter in " ".join(words.split()) if letter.isprintable())


def _text(text: str) -> str:
    # What JSON escapes, TOML escapes the same way; it wants DEL escaped too (TOML 1.0, strings).
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _yes(value: bool) -> str:
    return "true" if value else "false"

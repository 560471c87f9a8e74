"""Spring files: one spring, or a nest of ``[[spring]]`` tables, and what is told of it."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from gaugelink import tomlfile
from gaugelink.commands.spring_keys import (
    Keys,
    NestFile,
    SettingKeys,
    SpringFile,
    SpringReader,
)
from gaugelink.commands.spring_setting import Setting, maybe
from gaugelink.errors import InputError
from gaugelink.metrology.nest import Member, Nest


def document(text: str, file: str) -> dict[str, Any]:
    """Reckon everything that a file tells enough for.

    Raises:
        InputError: a key is missing or bad.
    """
    data = tomlfile.parse(text, file)
    if "spring" in data:
        _misplaced(data["spring"], text, file)
        return _nest(Keys(tomlfile.check(NestFile, text, file), text, file))
    return _single(Keys(tomlfile.check(SpringFile, text, file), text, file))


def _misplaced(springs: object, text: str, file: str) -> None:
    """Refuse what belongs to the nest and stands in one of its springs: a slip of the format."""
    if isinstance(springs, dict):
        what = "found [spring], accepted: [[spring]], for there may be several"
        raise InputError(what, file=file, line=tomlfile.line_of(text, ("spring",)), field="spring")
    for at, one in enumerate(springs if isinstance(springs, list) else []):
        for name in one if isinstance(one, dict) else ():
            if name in SettingKeys.model_fields:
                raise InputError(
                    "found it in a [[spring]] table, accepted: before the first of them, for it "
                    "holds for the nest",
                    file=file, line=tomlfile.line_of(text, ("spring", at, name)),
                    field=f"spring.{at + 1}.{name}",
                )  # fmt: skip


def _single(keys: Keys[SpringFile]) -> dict[str, Any]:
    one, setting = SpringReader(keys), Setting(keys)
    solid, loads = one.solid_mm, one.loads
    told = setting.told(loads, solid)
    told["problems"] = [
        *_at_heights(Member("", loads, solid_mm=solid), setting),
        *setting.short(setting.margin(solid), "before the coils touch", "least_bind_margin"),
        *told["problems"],
    ]
    return {
        "rate_n_per_mm": float(one.rate),
        "free_mm": float(loads.free_mm),
        "rate_by_shape_n_per_mm": maybe(one.by_shape),
        "rates_n_per_mm": [float(rate) for rate in loads.rates],
        "progressive": loads.progressive,
        **told,
    }


def _nest(keys: Keys[NestFile]) -> dict[str, Any]:
    setting = Setting(keys)
    read = [keys.inside(one, "spring", at) for at, one in enumerate(keys.table.spring)]
    springs = [SpringReader(one) for one in read]
    members = tuple(
        Member(one.table.name, spring.loads, one.signed("step") or Fraction(0), spring.solid_mm)
        for one, spring in zip(read, springs, strict=True)
    )
    try:
        nest = Nest(members)
    except ValueError as fault:
        raise keys.bad(str(fault), "spring") from None
    installed = keys.need(setting.installed, "heights", "a nest")
    assert setting.down is not None
    told = setting.told(nest, nest.solid_mm)
    for one, member in zip(read, members, strict=True):
        lowest = min([installed, *setting.checked])
        if member.height(lowest) <= 0:
            what = f"found {one.table.step!r}, accepted: less than the heights of the nest"
            raise one.bad(what, "step")
    room = nest.room(installed, setting.down)
    short = [words for member in members
             for words in setting.short(member.margin(installed, setting.down),
                                        f"before the coils of {member.name} touch",
                                        "least_bind_margin")]  # fmt: skip
    told["problems"] = [
        *(words for member in members for words in _at_heights(member, setting)),
        *short,
        *told["problems"],
    ]
    return {
        "rate_n_per_mm": float(nest.rate(installed)),
        "installed_mm": float(installed),
        "free_mm": float(nest.free_mm),
        "binds_first": [] if room is None else list(room.names),
        **told,
        "springs": [
            {
                "name": member.name,
                "step_mm": float(member.step_mm),
                "rate_n_per_mm": float(spring.rate),
                "rate_by_shape_n_per_mm": maybe(spring.by_shape),
                "rates_n_per_mm": [float(rate) for rate in member.loads.rates],
                "progressive": member.loads.progressive,
                "free_mm": float(member.loads.free_mm),
                "solid_mm": maybe(member.solid_mm),
                "bind_margin_mm": maybe(member.margin(installed, setting.down)),
                "heights_mm": [float(member.height(height)) for height in setting.heights],
                "loads": [float(member.load(height)) for height in setting.heights],
            }
            for member, spring in zip(members, springs, strict=True)
        ],
    }


def _at_heights(member: Member, setting: Setting) -> list[str]:
    """Tell the heights at which a spring is solid or loose."""
    told = []
    who = f"the spring {member.name}".rstrip()
    for height in setting.checked:
        own, at = member.height(height), f"at {float(height):g} mm"
        if member.solid_mm is not None and own < member.solid_mm:
            told.append(f"{at} {who} is solid ({_own(own, height)}{float(member.solid_mm):g} mm)")
        elif own > member.loads.free_mm:
            told.append(f"{at} {who} is loose")
    return told


def _own(own: Fraction, height: Fraction) -> str:
    return "" if own == height else f"{float(own):g} mm of its own, "

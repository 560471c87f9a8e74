"""What `gaugelink spring` tells of a spring or a nest as it stands in the head."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

from gaugelink.metrology.springs import bind_margin, choose_shims, load_verdict

if TYPE_CHECKING:
    from fractions import Fraction

    from gaugelink.commands.spring_keys import Keys, LimitKeys, SettingKeys


class Carries(Protocol):
    """A spring, or springs that stand side by side."""

    def load(self, height_mm: Fraction, /) -> Fraction:
        """Give the load at a height, N."""

    def change(self, height_mm: Fraction, by_mm: Fraction, /) -> Fraction:
        """Give what it changes by when the height grows, N."""


class Setting:
    """The heights of a file, and what follows from them for whatever stands there.

    Attributes:
        heights: those that the file names, mm.
        installed: with the valve shut, mm; None where the file names no height.
        down: from there to the smallest height that counts, mm.
        checked: the heights at which a spring must be neither solid nor loose, mm.
    """

    def __init__(self, keys: Keys[SettingKeys]) -> None:
        self._keys, self._table = keys, keys.table
        self.heights = [keys.length_of(text, "heights") for text in self._table.heights]
        self._lift = keys.length("lift")
        self.installed = keys.length("installed_height") or max(self.heights, default=None)
        self.down = self._lift
        if self._lift is None and self.installed is not None:
            # Without a lift, what is left at the smallest height that the file names.
            self.down = self.installed - min([self.installed, *self.heights])
        self._limits = [keys.inside(one, "limit", at) for at, one in enumerate(self._table.limit)]
        of_limits = [one.length("height") for one in self._limits]
        self.checked = [
            *dict.fromkeys([*self.heights, *(at for at in of_limits if at is not None)])
        ]

    def margin(self, solid: Fraction | None) -> Fraction | None:
        """Give the room before something that is solid at a height goes solid, mm."""
        if solid is None or self.installed is None or self.down is None:
            return None
        return bind_margin(self.installed, self.down, solid)

    def told(self, spring: Carries, solid: Fraction | None) -> dict[str, Any]:
        """Tell loads, room, shims and limits.

        Raises:
            InputError: a key is missing or bad.
        """
        keys, margin = self._keys, self.margin(solid)
        seal = keys.length("retainer_to_seal")
        if seal is not None:
            seal -= keys.need(self._lift, "lift", "retainer_to_seal")
        change = keys.signed("height_change")
        if change is not None:
            keys.need(self.installed, "heights", "height_change")
        changed = None
        if change is not None and self.installed is not None:
            changed = spring.change(self.installed, change)
        return {
            "loads": [float(spring.load(height)) for height in self.heights],
            "solid_mm": maybe(solid),
            "bind_margin_mm": maybe(margin),
            "heights_mm": [float(height) for height in self.heights],
            "load_change_n": maybe(changed),
            "seal_margin_mm": maybe(seal),
            "shims": self._shims(spring, margin),
            "limits": [self._limit(one, spring) for one in self._limits],
            "problems": self.short(seal, "between retainer and seal", "least_seal_margin"),
        }

    def short(self, found: Fraction | None, where: str, key: str) -> list[str]:
        """Tell a margin that is less than wanted; nothing where it is enough or not known."""
        least = self._keys.length(key) or 0
        if found is None or found >= least:
            return []
        return [f"{float(found):.3f} mm {where}, wanted: at least {float(least):g} mm"]

    def _shims(self, spring: Carries, margin: Fraction | None) -> dict[str, Any] | None:
        keys = self._keys
        if not self._table.shims:
            return None
        nominal = keys.need(keys.length("nominal_height"), "nominal_height", "shims")
        now = keys.need(self.installed, "installed_height", "shims")
        stock = [keys.length_of(text, "shims") for text in self._table.shims]
        stack = choose_shims(now - nominal, stock, keys.length("most_shims"))
        height = now - stack.thickness
        return {
            "needed_mm": float(now - nominal),
            "chosen_mm": [float(shim) for shim in stack.shims],
            "height_mm": float(height),
            "off_nominal_mm": float(stack.left_mm),
            "load_n": float(spring.load(height)),
            "bind_margin_mm": maybe(None if margin is None else margin - stack.thickness),
        }

    def _limit(self, keys: Keys[LimitKeys], spring: Carries) -> dict[str, Any]:
        height = keys.need(keys.length("height"), "height", "a limit")
        least, most, u = (keys.load(name) for name in ("least", "most", "u"))
        if least is None and most is None:
            raise keys.bad("found neither least nor most, accepted: one of them, or both")
        if least is not None and most is not None and least > most:
            what = f"found {keys.table.least!r}, accepted: up to most, {keys.table.most!r}"
            raise keys.bad(what, "least")
        load = spring.load(height)
        return {
            "height_mm": float(height), "load_n": float(load), "u_n": maybe(u),
            "least_n": maybe(least), "most_n": maybe(most),
            "verdict": load_verdict(load, u, least, most),
        }  # fmt: skip


def maybe(value: Fraction | None) -> float | None:
    """Give a number for JSON; None stays None."""
    return None if value is None else float(value)

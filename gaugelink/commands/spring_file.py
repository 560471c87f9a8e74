"""Spring files: amounts with their units, and what `gaugelink spring` tells of them."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from gaugelink import tomlfile
from gaugelink.commands.amounts import Amounts
from gaugelink.errors import InputError
from gaugelink.metrology.springs import (
    bind_margin,
    choose_shims,
    from_rate,
    from_table,
    rate_from_shape,
    solid_height,
)

if TYPE_CHECKING:
    from gaugelink.metrology.springs import Loads

LENGTH = "40.5 mm or 1.59 in"
LOAD = "362 N or 81.4 lbf"

Coils = Annotated[float, Field(gt=0, le=1000)]


class SpringFile(BaseModel):
    """The keys of a spring file."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    wire_diameter: str | None = None
    mean_diameter: str | None = None
    outer_diameter: str | None = None
    active_coils: Coils | None = None
    total_coils: Coils | None = None
    shear_modulus: str | None = None
    free_length: str | None = None
    ends: Literal["ground", "squared"] = "ground"
    solid_height: str | None = None
    measured: list[tuple[str, str]] = []
    heights: list[str] = []
    lift: str | None = None
    installed_height: str | None = None
    height_change: str | None = None
    nominal_height: str | None = None
    shims: list[str] = []
    most_shims: str | None = None
    retainer_to_seal: str | None = None
    least_bind_margin: str | None = None
    least_seal_margin: str | None = None


class SpringReader:
    """Turns the file into amounts, and these into the document."""

    def __init__(self, text: str, file: str) -> None:
        self._text, self._file = text, file
        self._table = tomlfile.check(SpringFile, text, file)
        self._amounts = Amounts()

    def document(self) -> dict[str, Any]:
        """Reckon everything that the file tells enough for.

        Raises:
            InputError: a key is missing or bad.
        """
        table = self._table
        by_shape = self._rate()
        spring = self._spring(by_shape)
        heights = [self._length(text, "heights") for text in table.heights]
        lift = self._key("lift")
        installed = self._key("installed_height") or max(heights, default=None)
        solid = self._solid()
        margin = None
        if solid is not None and installed is not None:
            # Without a lift, what is left at the smallest height that the file names.
            down = installed - min([installed, *heights]) if lift is None else lift
            margin = bind_margin(installed, down, solid)
        seal = self._key("retainer_to_seal")
        if seal is not None:
            seal -= self._need(lift, "lift", "retainer_to_seal")
        change = self._key("height_change", negative=True)
        if change is not None:
            self._need(installed, "heights", "height_change")
        changed = None if change is None or installed is None else spring.change(installed, change)
        shims = self._shims(spring, installed, margin)
        return {
            "rate_n_per_mm": float(spring.rate if table.measured or by_shape is None else by_shape),
            "loads": [float(spring.load(height)) for height in heights],
            "solid_mm": _maybe(solid),
            "bind_margin_mm": _maybe(margin),
            "heights_mm": [float(height) for height in heights],
            "free_mm": float(spring.free_mm),
            "rate_by_shape_n_per_mm": _maybe(by_shape),
            "rates_n_per_mm": [float(rate) for rate in spring.rates],
            "progressive": spring.progressive,
            "load_change_n": _maybe(changed),
            "seal_margin_mm": _maybe(seal),
            "shims": shims,
            "problems": self._problems(heights, solid, margin, seal, spring),
        }

    def _rate(self) -> Fraction | None:
        table = self._table
        if table.mean_diameter is not None and table.outer_diameter is not None:
            raise self._bad("found it beside mean_diameter, accepted: one of the two",
                            "outer_diameter")  # fmt: skip
        wire, mean = self._key("wire_diameter"), self._key("mean_diameter")
        outer = self._key("outer_diameter")
        if outer is not None:
            mean = outer - self._need(wire, "wire_diameter", "outer_diameter")
        given = {"wire_diameter": wire, "mean_diameter": mean, "active_coils": table.active_coils,
                 "shear_modulus": table.shear_modulus}  # fmt: skip
        missing = [name for name, value in given.items() if value is None]
        if missing:
            if table.measured:
                return None
            raise self._bad("this key is missing; it must be given, or loads as measured",
                            missing[0])  # fmt: skip
        assert wire is not None
        assert mean is not None
        assert table.shear_modulus is not None
        modulus = self._read(table.shear_modulus, "N/mm**2", "79.3 GPa or 11.5 Mpsi",
                             "shear_modulus")  # fmt: skip
        try:
            return rate_from_shape(wire, mean, Fraction(str(table.active_coils)), modulus)
        except ValueError as fault:
            raise self._bad(str(fault), "wire_diameter") from None

    def _spring(self, by_shape: Fraction | None) -> Loads:
        free = self._key("free_length")
        if self._table.measured:
            pairs = [(self._length(height, "measured"), self._read(load, "N", LOAD, "measured"))
                     for height, load in self._table.measured]  # fmt: skip
            if free is not None:
                pairs.append((free, Fraction(0)))
            try:
                return from_table(pairs)
            except ValueError as fault:
                raise self._bad(str(fault), "measured") from None
        assert by_shape is not None
        if free is None:
            raise self._bad("this key is missing; it must be given, or loads as measured",
                            "free_length")  # fmt: skip
        return from_rate(by_shape, free)

    def _solid(self) -> Fraction | None:
        measured, wire = self._key("solid_height"), self._key("wire_diameter")
        coils = self._table.total_coils
        if measured is not None:
            return measured
        if wire is None or coils is None:
            return None
        return solid_height(wire, Fraction(str(coils)), self._table.ends)

    def _shims(self, spring: Loads, installed: Fraction | None, margin: Fraction | None
               ) -> dict[str, Any] | None:  # fmt: skip
        if not self._table.shims:
            return None
        nominal = self._need(self._key("nominal_height"), "nominal_height", "shims")
        now = self._need(installed, "installed_height", "shims")
        stock = [self._length(text, "shims") for text in self._table.shims]
        stack = choose_shims(now - nominal, stock, self._key("most_shims"))
        height = now - stack.thickness
        return {
            "needed_mm": float(now - nominal),
            "chosen_mm": [float(shim) for shim in stack.shims],
            "height_mm": float(height),
            "off_nominal_mm": float(stack.left_mm),
            "load_n": float(spring.load(height)),
            "bind_margin_mm": _maybe(None if margin is None else margin - stack.thickness),
        }

    def _problems(self, heights: list[Fraction], solid: Fraction | None, margin: Fraction | None,
                  seal: Fraction | None, spring: Loads) -> list[str]:  # fmt: skip
        told = []
        for height in heights:
            if solid is not None and height < solid:
                told.append(f"at {float(height):g} mm the spring is solid ({float(solid):g} mm)")
            elif height > spring.free_mm:
                told.append(f"at {float(height):g} mm the spring is loose")
        for name, found, key in (
            ("before the coils touch", margin, "least_bind_margin"),
            ("between retainer and seal", seal, "least_seal_margin"),
        ):
            least = self._key(key) or Fraction(0)
            if found is not None and found < least:
                told.append(f"{float(found):.3f} mm {name}, wanted: at least {float(least):g} mm")
        return told

    # ---- keys -----------------------------------------------------------------------------------

    def _key(self, name: str, *, negative: bool = False) -> Fraction | None:
        text = getattr(self._table, name)
        return None if text is None else self._length(text, name, negative=negative)

    def _length(self, text: str, key: str, *, negative: bool = False) -> Fraction:
        found = self._read(text, "mm", LENGTH, key)
        if found <= 0 and not negative and key not in {"lift", "least_bind_margin"}:
            raise self._bad(f"found {text!r}, accepted: more than 0", key)
        return found

    def _need(self, value: Fraction | None, key: str, because: str) -> Fraction:
        if value is None:
            raise self._bad(f"this key is missing; {because} needs it", key)
        return value

    def _read(self, text: str, unit: str, example: str, key: str) -> Fraction:
        try:
            return self._amounts.read(text, unit, example)
        except InputError as fault:
            raise self._bad(fault.what, key) from None

    def _bad(self, what: str, key: str) -> InputError:
        line = tomlfile.line_of(self._text, (key,))
        return InputError(what, file=self._file, line=line, field=key)


def _maybe(value: Fraction | None) -> float | None:
    return None if value is None else float(value)

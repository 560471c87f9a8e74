"""Budget files: the inputs of an uncertainty budget, and the formula of the result.

Numbers are plain, or texts with a unit (``"8.012 mm"``). With units the formula is checked for
dimensions too, and the result is given in the unit that ``[model]`` asks for.
"""

from __future__ import annotations

import keyword
import math
import re
from dataclasses import dataclass
from functools import cache
from math import hypot, inf, isfinite, sqrt
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from gaugelink import tomlfile
from gaugelink.errors import InputError
from gaugelink.metrology.budget import Quantity, from_half_width, from_readings
from gaugelink.metrology.counts import counts_of
from gaugelink.metrology.formula import FUNCTIONS, read_formula

if TYPE_CHECKING:
    from collections.abc import Mapping

Number = Annotated[float, Field(strict=True)]
Amount = Annotated[Number, Field(allow_inf_nan=False)] | str
_AMOUNT = re.compile(
    r"\s*(?P<number>[+\-\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?)(?P<unit>\D.*)?",
    re.ASCII,
)
# Units with small powers: what is only looked up, and never a sum that takes for ever.
_UNIT = re.compile(
    r"(?:1\s*(?=/))?(?:[ ()/*\u00b7]"
    r"|[A-Za-z\u00b5\u03bc\u03a9\u00b0%_][A-Za-z0-9\u00b5\u03bc\u03a9\u00b0%_]*+"
    r"(?:\s*(?:\*\*|\^)\s*-?\d{1,2}(?!\s*[\d*^]))?+)*+", re.ASCII
)  # fmt: skip
_LONGEST = 60
STATED = ("u", "half_width", "expanded", "readings", "resolution")


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Input(_Table):
    """An ``[[input]]`` table; docs/uncertainty.md explains every key."""

    name: str = Field(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$")
    value: Amount | None = None
    u: Amount | None = None
    half_width: Amount | None = None
    expanded: Amount | None = None
    k: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    readings: list[str | Number] | None = None
    resolution: Amount | None = None
    unit: str | None = None
    dof: float | None = Field(default=None, ge=1)
    distribution: Literal["normal", "rectangular", "triangular", "u-shaped"] | None = None
    inexact: Amount = 0.0
    sensitivity: Amount | None = None


class Model(_Table):
    """The ``[model]`` table."""

    expression: str | None = None
    unit: str | None = None
    coverage: float = Field(default=0.95, gt=0, lt=1)


class Correlation(_Table):
    """A ``[[correlation]]`` table."""

    a: str
    b: str
    r: float = Field(ge=-1, le=1)


class _File(_Table):
    model: Model = Model()
    input: list[Input] = Field(min_length=1)
    correlation: list[Correlation] = []


@dataclass(frozen=True, slots=True)
class BudgetFile:
    """A checked budget file.

    Attributes:
        formula: the model, a sympy expression; in base units where the file has units.
        inputs: its quantities, likewise.
        correlations: coefficients by pair of names.
        scale: what a result in base units is divided by.
        unit: the unit of the result; empty where the file has none.
        scales: for each input what its value is divided by to be shown, and in which unit.
        coverage: of the expanded uncertainty.
    """

    formula: Any
    inputs: tuple[Quantity, ...]
    correlations: Mapping[tuple[str, str], float]
    scale: float
    unit: str
    scales: Mapping[str, tuple[float, str]]
    coverage: float


def load_budget(text: str, file: str) -> BudgetFile:
    """Read a budget file.

    Args:
        text: its content.
        file: its name, for messages.

    Raises:
        InputError: the first fault, with file, line and field.

    >>> text = "model.unit = 'um'" + chr(10) + "input = [{name = 'a', value = '8 mm', u = '2 um'}]"
    >>> found = load_budget(text, "a.toml")
    >>> found.unit, [round(one.u * 1e6, 1) for one in found.inputs]  # in metres inside
    ('um', [2.0])
    """
    table = tomlfile.check(_File, text, file)
    return _Reader(text, file, table).read()


@cache
def _registry() -> Any:
    """Build the table of units; it takes half a second, and nothing ever changes it."""
    import pint  # noqa: PLC0415  slow to start, and only wanted here

    return pint.UnitRegistry(cache_folder=None)


class _Reader:
    """Turns the tables into quantities; knows where each stands, for messages."""

    def __init__(self, text: str, file: str, table: _File) -> None:
        import pint  # noqa: PLC0415  slow to start, and only wanted here

        self._text, self._file, self._table = text, file, table
        self._registry = _registry()
        self._fault: Any = (pint.PintError, ValueError, TypeError, AssertionError, AttributeError,
                            ZeroDivisionError, OverflowError)  # fmt: skip
        self._units: dict[str, Any] = {}

    def read(self) -> BudgetFile:
        names = [one.name for one in self._table.input]
        for place, name in enumerate(names):
            if name in names[:place]:
                raise self._bad(f"found {name!r} twice, accepted: once", "input", place, "name")
            if name in FUNCTIONS or name == "pi" or keyword.iskeyword(name):
                what = f"found {name!r}, which means something else in a formula; accepted: another"
                raise self._bad(what, "input", place, "name")
        inputs = tuple(self._quantity(place) for place in range(len(names)))
        model = self._table.model
        if model.expression is None:
            text, result = self._sum(names)
        else:
            text, result = model.expression, None
            for place, one in enumerate(self._table.input):
                if one.sensitivity is not None:
                    what = "found a sensitivity and a formula, accepted: one of the two"
                    raise self._bad(what, "input", place, "sensitivity")
        try:
            formula = read_formula(text, names)
        except ValueError as fault:
            raise self._bad(str(fault), "model", "expression") from None
        if result is None:
            result = self._result(formula, inputs)
        scale, unit = self._result_unit(result)
        correlations: dict[tuple[str, str], float] = {}
        for place, pair in enumerate(self._table.correlation):
            if pair.a not in names or pair.b not in names:
                field = "a" if pair.a not in names else "b"
                what = f"found {getattr(pair, field)!r}, accepted: {', '.join(names)}"
                raise self._bad(what, "correlation", place, field)
            if (pair.a, pair.b) in correlations or (pair.b, pair.a) in correlations:
                what = f"found {pair.a} and {pair.b} twice, accepted: once"
                raise self._bad(what, "correlation", place)
            correlations[pair.a, pair.b] = pair.r
        shown = {
            name: (self._base(self._registry.Quantity(1.0, here)), f"{here:~C}")
            for name, here in self._units.items()
        }
        return BudgetFile(formula, inputs, correlations, scale, unit, shown, model.coverage)

    # ---- inputs ---------------------------------------------------------------------------------

    def _quantity(self, place: int) -> Quantity:
        table = self._table.input[place]
        stated = [name for name in STATED if getattr(table, name) is not None]
        if len(stated) != 1:
            found = " and ".join(stated) or "none of them"
            what = f"found {found}, accepted: one of {', '.join(STATED)}"
            raise self._bad(what, "input", place)
        if (table.k is not None) != (stated == ["expanded"]):
            what = "accepted: k beside an expanded uncertainty, and only there"
            raise self._bad(what, "input", place, "k")
        if table.readings is not None:
            return self._from_readings(table, place)
        if table.value is None:
            raise self._bad("this key is missing; it must be given", "input", place, "value")
        value = self._amount(table.value, place, "value", first=True)
        size = self._amount(getattr(table, stated[0]), place, stated[0])
        inexact = self._amount(table.inexact, place, "inexact")
        dof = inf if table.dof is None else table.dof
        shape = table.distribution
        if size < 0 or inexact < 0:
            field = stated[0] if size < 0 else "inexact"
            raise self._bad("found less than 0, accepted: 0 or more", "input", place, field)
        if inexact and (stated[0] not in {"u", "half_width"}
                        or (shape or "rectangular") != "rectangular"):  # fmt: skip
            what = "accepted: only beside a u or a half_width, with the distribution rectangular"
            raise self._bad(what, "input", place, "inexact")
        match stated[0]:
            case "u":
                shape = shape or ("rectangular" if inexact else "normal")
                return Quantity(table.name, value, size, dof, shape, inexact)
            case "expanded":
                assert table.k is not None
                return Quantity(table.name, value, size / table.k, dof, shape or "normal")
            case "resolution":
                if shape not in {None, "rectangular"}:
                    what = f"found {shape!r}, accepted for a resolution: rectangular"
                    raise self._bad(what, "input", place, "distribution")
                return from_half_width(table.name, value, size / 2, "rectangular", dof)
        if shape == "normal":
            what = "found 'normal', accepted for a half width: rectangular, triangular, u-shaped"
            raise self._bad(what, "input", place, "distribution")
        if inexact > size:
            what = "found more than the half width, accepted: up to it"
            raise self._bad(what, "input", place, "inexact")
        made = from_half_width(table.name, value, size, shape or "rectangular", dof)
        if not inexact:
            return made
        u = hypot(size / sqrt(3), inexact / 3)  # JCGM 101:2008, 6.4.3.3
        return Quantity(table.name, value, u, dof, "rectangular", inexact)

    def _from_readings(self, table: Input, place: int) -> Quantity:
        assert table.readings is not None
        for name in ("value", "dof", "distribution", "inexact"):
            if getattr(table, name) not in {None, 0.0}:
                what = "found it beside readings, accepted: without, for they tell it"
                raise self._bad(what, "input", place, name)
        try:
            counts = counts_of(str(one) for one in table.readings)
            made = from_readings(table.name, counts.values, counts.step)
        except (InputError, ValueError) as fault:
            what = fault.what if isinstance(fault, InputError) else str(fault)
            raise self._bad(what, "input", place, "readings") from None
        unit = self._unit(table.unit or "", place, "unit")
        self._units[table.name] = unit
        one = self._base(self._registry.Quantity(1.0, unit))
        return Quantity(table.name, made.value * one, made.u * one, made.dof)

    def _amount(self, given: float | str, place: int, field: str, *, first: bool = False) -> float:
        """Give an amount in base units; the first of an input says its dimension."""
        table = self._table.input[place]
        if isinstance(given, str):
            number, unit = self._parsed(given, place, field)
        else:
            number, unit = given, self._unit(table.unit or "", place, "unit")
        amount = self._registry.Quantity(number, unit)
        if first:
            self._units[table.name] = unit
        elif given == 0.0:
            return 0.0
        wanted = self._units[table.name]
        if amount.dimensionality != (1 * wanted).dimensionality:
            what = f"found {given!r}, accepted: an amount in {wanted:~C}, as the value has"
            if not f"{wanted:~C}":
                what = f"found {given!r}, accepted: a plain number, as the value is"
            raise self._bad(what, "input", place, field)
        return self._base(amount)

    def _parsed(self, given: str, place: int, field: str) -> tuple[float, Any]:
        match = _AMOUNT.fullmatch(given) if len(given) <= _LONGEST else None
        if match is None:
            shown = repr(given[:_LONGEST])
            what = f"found {shown}, accepted: a finite number with its unit, such as 2.4 um"
            raise self._bad(what, "input", place, field)
        number = float(match["number"].replace(",", ".").replace("\u2212", "-"))
        if not isfinite(number):
            what = f"found {given!r}, accepted: a number that is finite"
            raise self._bad(what, "input", place, field)
        return number, self._unit(match["unit"] or "", place, field, given)

    def _unit(self, text: str, place: int, field: str, shown: str | None = None) -> Any:
        wanted = text.strip()
        try:
            if len(wanted) > _LONGEST or not _UNIT.fullmatch(wanted):
                raise ValueError(wanted)
            unit = self._registry.Unit(f"1{wanted}" if wanted.startswith("/") else wanted)
            scale = self._registry.Quantity(0.0, unit).to_base_units().magnitude
        except self._fault:
            found = (shown or text)[:_LONGEST]
            kind = "a number with its unit" if shown else "a unit"
            what = f"found {found!r}, accepted: {kind}, of units such as mm, in, um, K or N"
            raise self._bad(what, "input", place, field) from None
        if scale:
            what = f"found a temperature on a scale ({wanted}), accepted: a difference, in K"
            raise self._bad(what, "input", place, field)
        return unit

    def _base(self, amount: Any) -> float:
        return float(amount.to_base_units().magnitude)

    # ---- the result -----------------------------------------------------------------------------

    def _sum(self, names: list[str]) -> tuple[str, Any]:
        """Give the sum of all inputs, each by its sensitivity; and an amount like it."""
        terms, result = [], None
        for place, name in enumerate(names):
            given = self._table.input[place].sensitivity
            number, unit = (
                self._parsed(given, place, "sensitivity") if isinstance(given, str)
                else (1.0 if given is None else given, self._registry.Unit(""))
            )  # fmt: skip
            part = self._registry.Quantity(1.0, unit) * self._registry.Quantity(
                1.0, self._units[name]
            )
            if result is not None and part.dimensionality != result.dimensionality:
                what = (
                    f"found {name} by its sensitivity in {part.units:~C} and {names[0]} in "
                    f"{result.units:~C}, accepted: a sensitivity with its unit, such as 0.09 um/K"
                )
                raise self._bad(what, "input", place, "sensitivity")
            result = part if result is None else result
            terms.append(f"({self._base(self._registry.Quantity(number, unit))!r}) * {name}")
        return " + ".join(terms), result

    def _result(self, formula: Any, inputs: tuple[Quantity, ...]) -> Any:
        """Reckon the formula once with units, to see whether they go together."""
        import pint  # noqa: PLC0415
        import sympy  # noqa: PLC0415

        if all(unit.dimensionless for unit in self._units.values()):
            return self._registry.Quantity(1.0)

        def plain(name: str) -> Any:
            # A function of a number: whatever has a dimension cannot go into it.
            return lambda amount: getattr(math, name)(
                float(self._registry.Quantity(amount).to("").magnitude)
            )

        functions = {name: plain(name) for name in ("exp", "log", "sin", "cos", "tan", "asin",
                                                    "acos", "atan")}  # fmt: skip
        functions["sqrt"] = lambda amount: amount**0.5
        model = sympy.lambdify(
            [sympy.Symbol(name, real=True) for name in self._units], formula, [functions, "math"]
        )
        units = [self._registry.Quantity(1.0, unit).to_base_units().units
                 for unit in self._units.values()]  # fmt: skip
        for values in (
            [one.value for one in inputs],
            [0.7 + 0.1 * at for at in range(len(inputs))],
        ):
            # Only dimensions count here: where the values themselves have no result, others may.
            amounts = [self._registry.Quantity(*pair) for pair in zip(values, units, strict=True)]
            try:
                return self._registry.Quantity(1.0) * model(*amounts)
            except pint.DimensionalityError as fault:
                what = f"its units do not go together ({fault})"
                raise self._bad(what, "model", "expression") from None
            except self._fault:
                continue
        what = "it has no value for these inputs: look at a root, a logarithm or a division by 0"
        raise self._bad(what, "model", "expression")

    def _result_unit(self, result: Any) -> tuple[float, str]:
        """Tell in which unit the result is given, and how much one is in base units."""
        wanted = self._table.model.unit
        if not wanted and result.dimensionless:
            return 1.0, ""
        if not wanted:
            same = [unit for unit in self._units.values()
                    if (1 * unit).dimensionality == result.dimensionality]  # fmt: skip
            unit = same[0] if same else result.to_base_units().units
        else:
            try:
                if not _UNIT.fullmatch(wanted):
                    raise ValueError(wanted)
                unit = self._registry.Unit(wanted)
                result.to(unit)
            except self._fault:
                what = f"found {wanted!r}, accepted: a unit of {result.dimensionality}"
                raise self._bad(what, "model", "unit") from None
        return self._base(self._registry.Quantity(1.0, unit)), wanted or f"{unit:~C}"

    def _bad(self, what: str, *path: str | int) -> InputError:
        field = ".".join(str(part + 1) if isinstance(part, int) else part for part in path)
        line = tomlfile.line_of(self._text, path)
        return InputError(what, file=self._file, line=line, field=field)

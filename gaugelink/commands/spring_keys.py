"""The keys of spring files, and their amounts; each fault names file, line and key."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, Generic, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field

from gaugelink import tomlfile
from gaugelink.commands.amounts import Amounts
from gaugelink.errors import InputError
from gaugelink.metrology.springs import from_rate, from_table, rate_from_shape, solid_height

if TYPE_CHECKING:
    from gaugelink.metrology.springs import Loads

LENGTH = "40.5 mm or 1.59 in"
LOAD = "362 N or 81.4 lbf"
RATE = "20.5 N/mm or 117 lbf/in"

MOST = 10**9
"""Of any amount: far beyond every spring, and nothing made of it overflows."""

MAY_BE_NONE = {"lift", "least_bind_margin", "step"}
"""Lengths that may be 0."""

Coils = Annotated[float, Field(ge=0.5, le=1000)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SpringKeys(_Table):
    """What a spring is by itself."""

    wire_diameter: str | None = None
    mean_diameter: str | None = None
    outer_diameter: str | None = None
    active_coils: Coils | None = None
    total_coils: Coils | None = None
    shear_modulus: str | None = None
    rate: str | None = None
    free_length: str | None = None
    ends: Literal["ground", "squared"] = "ground"
    solid_height: str | None = None
    measured: list[tuple[str, str]] = []


class LimitKeys(_Table):
    """A ``[[limit]]`` table: what the load at a height may be."""

    height: str
    least: str | None = None
    most: str | None = None
    u: str | None = None


class SettingKeys(_Table):
    """How it stands in the head, and what is wanted of it there."""

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
    limit: list[LimitKeys] = []


class SpringFile(SpringKeys, SettingKeys):
    """A file of one spring."""


class MemberKeys(SpringKeys):
    """A ``[[spring]]`` table: one of a nest."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    step: str | None = None


class NestFile(SettingKeys):
    """A file of a nest."""

    spring: Annotated[list[MemberKeys], Field(min_length=1)]


Model_co = TypeVar("Model_co", bound=BaseModel, covariant=True)
Inner = TypeVar("Inner", bound=BaseModel)


class Keys(Generic[Model_co]):
    """Reads the amounts of one table of a file.

    Attributes:
        table: the table, checked.
    """

    def __init__(self, table: Model_co, text: str, file: str, *path: str | int) -> None:
        self.table = table
        self._text, self._file, self._path = text, file, path
        self._amounts = Amounts()

    def inside(self, table: Inner, *path: str | int) -> Keys[Inner]:
        """Give the reader of a table in this one."""
        return Keys(table, self._text, self._file, *self._path, *path)

    def length(self, name: str) -> Fraction | None:
        """Give the length of a key, mm; None where it is absent."""
        text = getattr(self.table, name)
        return None if text is None else self.length_of(text, name)

    def signed(self, name: str) -> Fraction | None:
        """Give a length that may be below 0, mm; None where it is absent."""
        text = getattr(self.table, name)
        return None if text is None else self.amount(text, "mm", LENGTH, name)

    def length_of(self, text: str, name: str) -> Fraction:
        """Read a length, mm.

        Raises:
            InputError: it is no length, or not above 0.
        """
        found = self.amount(text, "mm", LENGTH, name)
        if found < 0 or (found == 0 and name not in MAY_BE_NONE):
            accepted = "0 or more" if name in MAY_BE_NONE else "more than 0"
            raise self.bad(f"found {text!r}, accepted: {accepted}", name)
        return found

    def load(self, name: str) -> Fraction | None:
        """Give the load of a key, N; None where it is absent."""
        text = getattr(self.table, name)
        if text is None:
            return None
        found = self.amount(text, "N", LOAD, name)
        if found < 0:
            raise self.bad(f"found {text!r}, accepted: 0 or more", name)
        return found

    def need(self, value: Fraction | None, name: str, because: str) -> Fraction:
        """Give a value that something else needs.

        Raises:
            InputError: it is absent.
        """
        if value is None:
            raise self.bad(f"this key is missing; {because} needs it", name)
        return value

    def amount(self, text: str, unit: str, example: str, name: str) -> Fraction:
        """Read an amount in a unit.

        Raises:
            InputError: it is none.
        """
        try:
            found = self._amounts.read(text, unit, example)
        except InputError as fault:
            raise self.bad(fault.what, name) from None
        if abs(found) > MOST:
            raise self.bad(f"found {text!r}, accepted: up to {MOST:.0e} {unit}", name)
        return found

    def bad(self, what: str, *names: str) -> InputError:
        """Make the fault of a key."""
        path = (*self._path, *names)
        field = ".".join(str(part + 1) if isinstance(part, int) else part for part in path)
        return InputError(what, file=self._file, line=tomlfile.line_of(self._text, path),
                          field=field)  # fmt: skip


class SpringReader:
    """Reads one spring: its loads, its rate by shape, its solid height.

    Attributes:
        by_shape: rate by shape, N/mm; None where the file does not tell the shape.
        loads: what it carries.
        stated: whether loads or rate were stated, and the shape does not count.
        solid_mm: height with all coils touching; None where nothing tells it.
    """

    def __init__(self, keys: Keys[SpringKeys]) -> None:
        self._keys, self._table = keys, keys.table
        self.stated = bool(self._table.measured) or self._table.rate is not None
        self.by_shape = self._rate()
        self.loads: Loads = self._loads()
        self.solid_mm = self._solid()

    @property
    def rate(self) -> Fraction:
        """The rate that counts, N/mm; of a progressive spring a mean."""
        return self.loads.rate if self.stated or self.by_shape is None else self.by_shape

    def _rate(self) -> Fraction | None:
        keys, table = self._keys, self._table
        if table.mean_diameter is not None and table.outer_diameter is not None:
            raise keys.bad("found it beside mean_diameter, accepted: one of the two",
                           "outer_diameter")  # fmt: skip
        wire, mean = keys.length("wire_diameter"), keys.length("mean_diameter")
        outer = keys.length("outer_diameter")
        if outer is not None:
            mean = outer - keys.need(wire, "wire_diameter", "outer_diameter")
        given = {"wire_diameter": wire, "mean_diameter": mean, "active_coils": table.active_coils,
                 "shear_modulus": table.shear_modulus}  # fmt: skip
        missing = [name for name, value in given.items() if value is None]
        if missing:
            if self.stated:
                return None
            raise keys.bad("this key is missing; it must be given, or rate, or loads as measured",
                           missing[0])  # fmt: skip
        assert wire is not None
        assert mean is not None
        assert table.shear_modulus is not None
        modulus = keys.amount(table.shear_modulus, "N/mm**2", "79.3 GPa or 11.5 Mpsi",
                              "shear_modulus")  # fmt: skip
        try:
            return rate_from_shape(wire, mean, Fraction(str(table.active_coils)), modulus)
        except ValueError as fault:
            raise keys.bad(str(fault), "wire_diameter") from None

    def _loads(self) -> Loads:
        keys, table = self._keys, self._table
        free = keys.length("free_length")
        if table.measured:
            if table.rate is not None:
                raise keys.bad("found it beside measured, accepted: one of the two", "rate")
            pairs = [(keys.length_of(height, "measured"), keys.amount(load, "N", LOAD, "measured"))
                     for height, load in table.measured]  # fmt: skip
            if free is not None:
                pairs.append((free, Fraction(0)))
            try:
                return from_table(pairs)
            except ValueError as fault:
                raise keys.bad(str(fault), "measured") from None
        rate, name = self.by_shape, "wire_diameter"
        if table.rate is not None:
            rate, name = keys.amount(table.rate, "N/mm", RATE, "rate"), "rate"
        assert rate is not None
        if free is None:
            raise keys.bad("this key is missing; it must be given, or loads as measured",
                           "free_length")  # fmt: skip
        try:
            return from_rate(rate, free)
        except ValueError as fault:
            raise keys.bad(str(fault), name) from None

    def _solid(self) -> Fraction | None:
        measured, wire = self._keys.length("solid_height"), self._keys.length("wire_diameter")
        coils = self._table.total_coils
        if measured is not None:
            return measured
        if wire is None or coils is None:
            return None
        return solid_height(wire, Fraction(str(coils)), self._table.ends)

"""Formulas that people write in files: read as arithmetic, and as nothing else.

A formula may hold numbers, names, the four operations, powers, and a few functions. Nothing in it
is ever run as Python.
"""

from __future__ import annotations

import ast
import re
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

LONGEST: Final = 2000
LARGEST_POWER: Final = 12
LONGEST_NUMBER: Final = 4000
"""Bits of a number that a power of numbers may come to; a double ends at 1024."""

_NUMBER: Final = re.compile(r"(?=\.?\d)[\d_]*(?:\.[\d_]*)?(?:[eE][+-]?\d{1,3})?", re.ASCII)
FUNCTIONS: Final = ("sqrt", "exp", "log", "sin", "cos", "tan", "asin", "acos", "atan")


def read_formula(text: str, names: Sequence[str]) -> Any:
    """Read a formula into an expression that can be differentiated.

    Args:
        text: the formula, such as ``(bore - stem) / 2``.
        names: the names that it may use.

    Returns:
        A sympy expression in real symbols of these names.

    Raises:
        ValueError: it is no such formula; the sentence says what was found where.

    >>> str(read_formula("2 * a**2 - 0.5 * b", ["a", "b"]))
    '2*a**2 - b/2'
    """
    import sympy  # noqa: PLC0415  slow to start, and only wanted here

    if len(text) > LONGEST:
        raise ValueError(f"found {len(text)} characters, accepted: up to {LONGEST}")
    try:
        tree = ast.parse(text.strip(), mode="eval")
    except (SyntaxError, ValueError, MemoryError, RecursionError):
        raise ValueError(f"found {text!r}, accepted: a formula such as (bore - stem) / 2") from None
    symbols = {name: sympy.Symbol(name, real=True) for name in names}

    def build(node: ast.expr) -> Any:
        match node:
            case ast.Constant(value=int() | float() as number) if not isinstance(number, bool):
                # As it is written: 0.1 is a tenth, not the nearest binary fraction.
                written = ast.get_source_segment(text.strip(), node) or str(number)
                if not _NUMBER.fullmatch(written):
                    raise ValueError(f"found {written!r}, accepted: a number such as 0.5 or 2e-6")
                return sympy.Rational(written)
            case ast.Name(id=name) if name in symbols:
                return symbols[name]
            case ast.Name(id="pi"):
                return sympy.pi
            case ast.UnaryOp(op=ast.USub(), operand=inner):
                return -build(inner)
            case ast.UnaryOp(op=ast.UAdd(), operand=inner):
                return build(inner)
            case ast.BinOp(left=left, op=ast.Pow(), right=right):
                base, power = build(left), build(right)
                if not power.is_Rational or abs(power) > LARGEST_POWER:
                    shown = ast.get_source_segment(text.strip(), right)
                    raise ValueError(
                        f"found the power {shown}, accepted: a number up to {LARGEST_POWER}"
                    )
                if base == 0 and power < 0:
                    raise ValueError("found a division by 0")
                if base.is_Rational:
                    longest = max(int(base.p).bit_length(), int(base.q).bit_length())
                    if longest * abs(power) > LONGEST_NUMBER:
                        raise ValueError("found a power too large to be reckoned")
                return base**power
            case ast.BinOp(left=left, op=op, right=right):
                one, other = build(left), build(right)
                match op:
                    case ast.Add():
                        return one + other
                    case ast.Sub():
                        return one - other
                    case ast.Mult():
                        return one * other
                    case ast.Div():
                        if other == 0:
                            raise ValueError("found a division by 0")
                        return one / other
            case ast.Call(func=ast.Name(id=name), args=[inner], keywords=[]) if name in FUNCTIONS:
                return getattr(sympy, name)(build(inner))
            case ast.Name(id=name):
                known = ", ".join(names) or "none"
                raise ValueError(f"found the name {name!r}, accepted: {known}")
        found = ast.get_source_segment(text.strip(), node) or text
        raise ValueError(
            f"found {found!r}, accepted: numbers, names, + - * / **, brackets, and "
            f"{', '.join(FUNCTIONS)}"
        )

    try:
        return build(tree.body)
    except RecursionError:
        raise ValueError("found brackets nested too deeply") from None

"""Ready-made budgets: what usually contributes to each characteristic, to be changed to one's own.

The figures are plausible ones for good shop gauges (common practice, no source). The gauge's own
row comes from the shop's register, and where it tells a repeatability, that row too: the u of
a gauge is that of a whole reading, so its repeatability is taken out of it, u^2 - s^2. What is
printed is a budget file like any other.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isqrt
from typing import TYPE_CHECKING, Final

from gaugelink.quantity import decimal_text

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class Line:
    """An input of a ready-made budget.

    Attributes:
        name: as the formula has it.
        why: what it stands for, for the reader of the file.
        value: with its unit.
        key: how its uncertainty is stated: ``u``, ``half_width``, ``resolution``, ``expanded``.
        size: with its unit.
        gauge: kind of gauge whose own uncertainty this is; empty for everything else.
        scatter_of: kind of gauge whose repeatability this is; empty for everything else.
    """

    name: str
    why: str
    value: str
    key: str
    size: str
    gauge: str = ""
    scatter_of: str = ""


@dataclass(frozen=True, slots=True)
class Own:
    """What a shop's register tells of one of its gauges.

    Attributes:
        mark: what the shop calls it.
        u_pm: standard uncertainty of one reading, picometres.
        repeatability_pm: what of it scatters, picometres, `u_pm` at most; None: not known.
    """

    mark: str
    u_pm: int
    repeatability_pm: int | None = None


@dataclass(frozen=True, slots=True)
class Ready:
    """A ready-made budget: its formula, and its inputs."""

    expression: str
    unit: str
    lines: tuple[Line, ...]


_STEM: Final = (
    Line("stem", "the mean of what the micrometer showed", "7.965 mm", "u", "0 um"),
    Line("gauge", "the micrometer itself, anywhere within", "0 um", "half_width", "2.5 um",
         "micrometer"),
    Line("repeatability", "readings of one place, one after the other", "0 um", "u", "1 um",
         scatter_of="micrometer"),
    Line("resolution", "the last digit of the display", "0 um", "resolution", "1 um"),
    Line("zero", "setting it on its rod, or closed", "0 um", "u", "0.5 um"),
    Line("temperature", "gauge and stem 3 K apart, within", "0 um", "half_width", "0.28 um"),
)  # fmt: skip

_BORE: Final = (
    Line("bore", "the mean of what the bore gauge showed", "8.012 mm", "u", "0 um"),
    Line("bore_gauge", "the bore gauge itself, anywhere within", "0 um", "half_width", "2 um",
         "bore gauge"),
    Line("ring", "the setting ring, U of its certificate", "0 um", "expanded", "1 um"),
    Line("bore_repeatability", "rocked to the turning point again", "0 um", "u", "2 um",
         scatter_of="bore gauge"),
    Line("bore_resolution", "the last digit of the display", "0 um", "resolution", "1 um"),
    Line("bore_temperature", "ring and guide not equally warm", "0 um", "u", "0.5 um"),
)  # fmt: skip


def _sum(lines: tuple[Line, ...]) -> str:
    return " + ".join(line.name for line in lines)


READY: Final[Mapping[str, Ready]] = {
    "stem": Ready(_sum(_STEM), "um", _STEM),
    "bore": Ready(_sum(_BORE), "um", _BORE),
    "clearance": Ready(f"{_sum(_BORE)} - ({_sum(_STEM)})", "um", (*_BORE, *_STEM)),
    "rock": Ready(
        "(travel + gauge + retrace + plateaus + resolution) * cosine / (1 + 2 * reach / guide)",
        "um",
        (
            Line("travel", "what the sweep came to", "200 um", "u", "0 um"),
            Line(
                "gauge",
                "the indicator itself over the travel",
                "0 um",
                "half_width",
                "3 um",
                "indicator",
            ),
            Line(
                "retrace", "it does not come back to the same figure", "0 um", "half_width", "3 um"
            ),
            Line("plateaus", "scatter of the ends", "0 um", "u", "2 um"),
            Line("resolution", "of two ends", "0 um", "u", "0.41 um"),
            Line("cosine", "the indicator leans by up to 10 degrees", "1", "half_width", "0.0152"),
            Line("reach", "guide end to contact point, lift included", "28 mm", "u", "1 mm"),
            Line("guide", "length of guide with stem in it", "50 mm", "u", "0.5 mm"),
        ),
    ),
    "depth": Ready(
        "depth + gauge + seating + zero + resolution",
        "um",
        (
            Line("depth", "what the depth gauge showed", "0.42 mm", "u", "0 um"),
            Line(
                "gauge",
                "the depth gauge itself, within",
                "0 um",
                "half_width",
                "10 um",
                "depth gauge",
            ),
            Line("seating", "its foot on the face, the valve on its seat", "0 um", "u", "5 um"),
            Line("zero", "setting it on the plate", "0 um", "u", "3 um"),
            Line("resolution", "the last digit of the display", "0 um", "resolution", "10 um"),
        ),
    ),
    "spring length": Ready(
        "length + gauge + squareness + repeatability + resolution",
        "mm",
        (
            Line("length", "what the caliper showed", "48.6 mm", "u", "0 mm"),
            Line("gauge", "the caliper itself, within", "0 mm", "half_width", "0.03 mm", "caliper"),
            Line(
                "squareness",
                "the ends lean; the jaws find the longest place",
                "0 mm",
                "half_width",
                "0.1 mm",
            ),
            Line(
                "repeatability", "no ratchet: the hand squeezes the spring", "0 mm", "u", "0.05 mm"
            ),
            Line("resolution", "the last digit of the display", "0 mm", "resolution", "0.01 mm"),
        ),
    ),
    "flatness": Ready(
        "zone + gauge_high - gauge_low + stand + resolution",
        "um",
        (
            Line("zone", "what the heights came to", "40 um", "u", "0 um"),
            Line(
                "gauge_high",
                "the indicator at the highest contact",
                "0 um",
                "half_width",
                "3 um",
                "indicator",
            ),
            Line("gauge_low", "and at the lowest", "0 um", "half_width", "3 um", "indicator"),
            Line("stand", "plate or straightedge that it runs on", "0 um", "half_width", "5 um"),
            Line("resolution", "of the difference", "0 um", "u", "0.41 um"),
        ),
    ),
}
"""By characteristic."""


def ready_text(kind: str, register: Mapping[str, Own] | None = None) -> str:
    """Write a ready-made budget as a budget file.

    Args:
        kind: one of `READY`.
        register: the shop's own gauges by kind; of a kind that is not in it the usual figure is
            kept, and the file says so. None: no register, usual figures throughout.

    >>> print(ready_text("stem", {"micrometer": Own("M1", 1_300_000, 500_000)}).splitlines()[15])
    u = "1.2 um"
    """
    made = READY[kind]
    text = ["# Usual figures; put your own in their place."]
    if register is not None:
        text += ["# A gauge in the register has the u of a whole reading: what is in it already,",
                 "# such as its zero or its master, strike out below."]  # fmt: skip
    text += ["[model]", f'expression = "{made.expression}"', f'unit = "{made.unit}"']
    for line in made.lines:
        why, key, size = _filled(line, made, register)
        text += ["", f"[[input]]  # {why}", f'name = "{line.name}"', f'value = "{line.value}"',
                 f'{key} = "{size}"']  # fmt: skip
        if key == "expanded":
            text.append("k = 2")
    return "\n".join(text) + "\n"


def _filled(line: Line, made: Ready, register: Mapping[str, Own] | None) -> tuple[str, str, str]:
    """Give why, key and size of a line, from the register where it knows the gauge."""
    kind = line.gauge or line.scatter_of
    usual = line.why, line.key, line.size
    if register is None or not kind:
        return usual
    own = register.get(kind)
    if own is None:
        return f"{line.why}; the register has no {kind}", line.key, line.size
    # In a comment of the file: whatever would end the line is written as an escape.
    mark = own.mark if own.mark.isprintable() else repr(own.mark)
    scatter = own.repeatability_pm
    if line.scatter_of:
        if scatter is None:
            return f"{line.why}; the register has no repeatability of {mark}", line.key, line.size
        return f"repeatability of {mark}, from the register", "u", _um(scatter)
    apart = any(other.scatter_of == kind for other in made.lines)
    if scatter is None or not apart:
        return f"u of {mark}, {kind}, from the register", "u", _um(own.u_pm)
    rest = isqrt(max(0, own.u_pm**2 - scatter**2))
    return f"u of {mark}, {kind}, from the register, without its repeatability", "u", _um(rest)


def _um(pm: int) -> str:
    return decimal_text(pm, 6).rstrip("0").rstrip(".") + " um"

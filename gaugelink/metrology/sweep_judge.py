"""Judge the ends of a sweep: which count, what is wrong, how sure the travel is.

Wear is never hidden by a hand that stops short: the travel can only come out too small by it, which
is the unsafe side. So an end that misses the others is left out and told, several of them refuse
the sweep, and one that lies farther out than the rest is taken as proof that the rest were short.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Final

import numpy as np

from gaugelink.metrology.sweep_fit import EndFit, fullness
from gaugelink.metrology.sweep_result import Flag, Plateau
from gaugelink.metrology.sweep_stretches import stretches
from gaugelink.metrology.sweep_walls import FULL_SHARE, Ends

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

FEWEST_ROCKS: Final = 3
SPREAD_SHARE: Final = 0.10
SHORT_SHARE: Final = 0.15
"""More than this share of the ends short, and more than one, refuses the sweep."""
SLIP_SHARE: Final = 0.10
WANDER_SHARE: Final = 0.04
FARTHER_SHARE: Final = 0.06
RESTED_S: Final = 0.25
"""A stay of this length is a rest, not a peak."""
STEP_BACK_S: Final = 0.35
ASTRAY_S: Final = 1.6
"""No way from wall to wall takes this long, a pause included."""


@dataclass(slots=True)
class Judged:
    """What was decided about each end.

    Attributes:
        outward: ``(m,)`` how far each end lies beyond its neighbours' wall (+) or short of it, pm.
        used: ``(m,)`` whether the end counts in the travel.
        reached: ``(m,)`` whether the stem was at the wall, counted or not.
        why: in words.
        short: the numbers of the ends that stopped short.
        farther: how many ends rested clearly farther out than the others of their side.
        first, last: the first and the last end of the rocking, both included.
    """

    outward: Floats
    used: NDArray[np.bool_]
    reached: NDArray[np.bool_]
    why: list[str]
    first: int
    last: int
    short: list[int] = field(default_factory=list)
    farther: int = 0

    def full_rocks(self, side: Floats) -> int:
        """Count how often the stem was brought to both walls."""
        high = int(np.count_nonzero(self.reached & (side > 0)))
        return min(high, int(np.count_nonzero(self.reached & (side < 0))))


def local_outward(fit: EndFit, side: Floats, step_pm: int) -> Floats:
    """Say how far each end lies outside its wall, a wandering base taken out, ``(m,)`` pm.

    Where the base wanders more than the fit can bend, neighbouring ends are off together, high and
    low alike; a short end is off alone. What an end shares with its neighbours is taken out, and
    nothing is ever made to look worse by that. What is too much for wandering stays.
    """
    off = side * fit.outward_pm
    if len(off) < 5:
        return fit.outward_pm
    three = np.stack([off[:-2], off[1:-1], off[2:]])
    shared = np.sort(three, axis=0)[1]
    shared = np.concatenate([shared[:1], shared, shared[-1:]])
    left = off - shared
    wanders = np.abs(shared) <= max(3 * step_pm, WANDER_SHARE * fit.travel_pm)
    return side * np.where(wanders & (np.abs(left) < np.abs(off)), left, off)


def judge_ends(ends: Ends, fit: EndFit, seconds: Floats, step_pm: int) -> Judged:
    """Decide which ends count.

    Args:
        ends: the ends.
        fit: what they agree on.
        seconds: ``(n,)`` working time of the readings.
        step_pm: step of the display.
    """
    travel = fit.travel_pm
    outward = local_outward(fit, ends.side, step_pm)
    m = len(ends.level)
    full = np.flatnonzero(fullness(ends.level, travel) >= FULL_SHARE)
    first, last = (int(full[0]), int(full[-1])) if len(full) else (0, m - 1)
    used = np.abs(outward) <= max(2.2 * step_pm, 0.03 * travel)
    judged = Judged(
        outward=outward,
        used=used,
        reached=used.copy(),
        why=["at the wall"] * m,
        # A rest half-way and one small move may stand before the first rock and after the last.
        first=min(first, 2),
        last=max(last, m - 3),
    )
    for number in np.flatnonzero(~used).tolist():
        beyond = float(outward[number])
        # The first and the last of all may be rests that happen to lie near a wall.
        rim = number in (0, m - 1) and beyond < 0
        if rim or not judged.first <= number <= judged.last:
            judged.why[number] = "before the first rock or after the last"
        elif beyond > 0:
            judged.why[number] = "beyond the other ends of this side"
            judged.reached[number] = True
            # At the rim a slip cannot be told from an end that went farther.
            inside = judged.first < number < judged.last
            if inside and beyond > max(4 * step_pm, FARTHER_SHARE * travel):
                judged.farther += _rested(ends, number, seconds)
        elif _on_the_way(number, outward, used, ends.at, travel):
            judged.why[number] = "a step back on the way, not an end"
        else:
            share = 100 * -beyond / travel
            judged.why[number] = f"short of the wall by {share:.0f} % of the travel"
            judged.short.append(number)
    return judged


def _rested(ends: Ends, number: int, seconds: Floats) -> bool:
    rests = ends.rests
    stay = seconds[rests.last[number]] - seconds[rests.first[number]]
    return bool(rests.readings[number] >= 4 and stay >= RESTED_S)


def _on_the_way(
    number: int, outward: Floats, used: NDArray[np.bool_], at: Floats, travel: float
) -> bool:
    """Tell a step back on a ramp from two short ends: its two turns follow each other at once."""
    pair = [each for each in (number - 1, number + 1) if 0 <= each < len(used)]
    return bool(-outward[number] > 0.2 * travel) and any(
        not used[each]
        and -outward[each] > 0.2 * travel
        and abs(at[each] - at[number]) < STEP_BACK_S
        for each in pair
    )


def astray(values: Floats, seconds: Floats, ends: Ends, judged: Judged, travel: float) -> int:
    """Count the ways from wall to wall that took so long that the stem turned back in between."""
    rocking = slice(judged.first, judged.last + 1)
    laid = stretches(ends.swings.first[rocking], ends.swings.last[rocking])
    near = np.abs(values.take(laid.places) - laid.each(ends.level[rocking])) < 0.1 * travel
    if not near.any():
        return 0
    left, found = laid.last_true(near)
    came, _ = laid.first_true(near)
    both = np.flatnonzero(found[:-1] & found[1:])
    took = seconds[laid.places[came[both + 1]]] - seconds[laid.places[left[both]]]
    if not len(took):
        return 0
    longest = max(ASTRAY_S, 3 * float(np.sort(took)[len(took) // 2]))
    return int(np.count_nonzero(took > longest))


def flags_of_ends(
    fit: EndFit, judged: Judged, side: Floats, turned_back: int, step_pm: int
) -> list[Flag]:
    """Say what is wrong with the ends.

    Args:
        fit: what the ends agree on.
        judged: what was decided about each.
        side: ``(m,)`` +1 high, -1 low.
        turned_back: ways on which the stem turned back between the walls.
        step_pm: step of the display.
    """
    travel, outward = fit.travel_pm, judged.outward
    inner = max(judged.last - judged.first + 1, 1)
    rocks = judged.full_rocks(side)
    found = []
    if rocks < FEWEST_ROCKS:
        found.append(
            Flag(
                "too few rocks",
                f"{rocks or 'No'} full rock{'' if rocks == 1 else 's'} from wall to wall, needed: "
                f"{FEWEST_ROCKS}, and 5 are good practice. Rock again.",
                spoils=True,
            )
        )
    found += _flags_of_short_ends(
        judged, [after for after, _ in fit.slips], travel, turned_back, inner
    )
    if fit.slips:
        sizes = [abs(size) for _, size in fit.slips]
        # A small step beside a large one may as well be drift.
        count = sum(size >= max(SLIP_SHARE * travel, 0.3 * max(sizes)) for size in sizes) or 1
        spoils = count > 1 or rocks < FEWEST_ROCKS
        what = (
            f"The base slipped by {max(sizes) / 1e6:.0f} um: high and low ends moved together. "
            if count == 1
            else f"The base slipped {count} times, by up to {max(sizes) / 1e6:.0f} um. "
        )
        remedy = (
            "Fasten the base and rock again."
            if spoils
            else "The travel is taken before and after the slip. Fasten the base."
        )
        found.append(Flag("slip", what + remedy, spoils=spoils))
    used = judged.used
    spread = float(np.ptp(outward[used])) if used.any() else 0.0
    odd = int(np.count_nonzero((outward > 0) & ~used))
    if spread > max(3.3 * step_pm, SPREAD_SHARE * travel) or odd > max(1, 0.2 * inner):
        apart = float(np.ptp(outward[judged.reached])) / 1e6
        found.append(
            Flag(
                "spread",
                f"The ends do not agree: they spread over {apart:.0f} um after drift is taken "
                "out. Push with the same light force each time and rock again.",
                spoils=True,
            )
        )
    if travel < 5 * step_pm:
        found.append(
            Flag(
                "coarse",
                f"The travel is only {travel / step_pm:.1f} steps of this display. Use a finer "
                "indicator if the limit is near.",
                spoils=False,
            )
        )
    return found


def _flags_of_short_ends(
    judged: Judged, slipped: list[int], travel: float, turned_back: int, inner: int
) -> list[Flag]:
    found = []
    count = len(judged.short)
    if count:
        worst = 100 * max(-float(judged.outward[number]) for number in judged.short) / travel
        text = (
            f"One end stopped {worst:.0f} % of the travel short of the wall; it was left out. Push "
            "through to the wall."
            if count == 1
            else f"{count} ends stopped short of the wall, the worst by {worst:.0f} % of the "
            "travel: the true travel may be larger. Push through to the wall each time, lightly, "
            "and rock again."
        )
        # Where the base slips in the middle of an end, that end is no worse than the slip.
        by_slip = sum(
            any(number in (after, after + 1) for after in slipped) for number in judged.short
        )
        spoils = count - by_slip > max(1, SHORT_SHARE * inner)
        found.append(Flag("short end", text, spoils=spoils))
    elif turned_back:
        found.append(
            Flag(
                "short end",
                "The stem turned back between the walls without reaching either. Push through to "
                "the wall each time, lightly, and rock again.",
                spoils=turned_back > 1,
            )
        )
    if judged.farther and not any(flag.spoils for flag in found):
        found = [
            Flag(
                "short end",
                "The stem rested farther out than most ends of that side, and a wall does not "
                "move: the others were short. Push through to the wall each time and rock again.",
                spoils=True,
            )
        ]
    return found


def plateaus(ends: Ends, judged: Judged, kept: NDArray[np.intp]) -> tuple[Plateau, ...]:
    """Write the ends with the indices of all readings, `kept` being those without the spikes."""
    rests = ends.rests
    rough = np.rint(2 * ends.swings.rough_pm).astype(np.int64)
    twice = np.where(rests.readings > 0, rests.twice_pm, rough).tolist()
    # Readings are whole steps, so many rests have one level: it is made once.
    level = {each: Fraction(each, 2) for each in set(twice)}
    columns = (
        kept[rests.first].tolist(),
        kept[rests.last].tolist(),
        [level[each] for each in twice],
        ["high" if high else "low" for high in (ends.side > 0).tolist()],
        judged.used.tolist(),
        judged.why,
    )
    return tuple(map(Plateau._make, zip(*columns, strict=True)))


def upper_figure(ends: Ends, fit: EndFit, used: NDArray[np.bool_]) -> int:
    """Give the 80th percentile of the travels of each end against its two neighbours, pm.

    0 where no end has a neighbour on either side.
    """
    level = ends.level.copy()
    for after, size in fit.slips:
        level[after + 1 :] -= size
    travels = []
    for side in (-1, 1):
        mine = np.flatnonzero(used & (ends.side == side))
        opposite = np.flatnonzero(used & (ends.side == -side))
        later = np.searchsorted(opposite, mine)
        between = (later > 0) & (later < len(opposite))
        mine, later = mine[between], later[between]
        a, b = opposite[later - 1], opposite[later]
        share = (ends.at[mine] - ends.at[a]) / np.maximum(ends.at[b] - ends.at[a], 1e-9)
        middle = level[a] + share * (level[b] - level[a])
        travels += (side * (level[mine] - middle)).tolist()
    return round(float(np.quantile(travels, 0.8))) if travels else 0


def uncertainty(
    fit: EndFit, judged: Judged, side: Floats, step_pm: int, u_instrument_pm: int
) -> int:
    """Give the standard uncertainty of the travel, pm.

    Three parts, added in squares (JCGM 100:2008, 5.1.2): the scatter of the ends as the means of
    two groups; the display step at either wall, rectangular, step^2 / 12 each (JCGM 100:2008,
    F.2.2.1); the instrument.
    """
    used = judged.used
    high = int(np.count_nonzero(used & (side > 0)))
    low = int(np.count_nonzero(used & (side < 0)))
    spare = max(high + low - 3 - len(fit.slips), 1)
    scatter2 = float(np.sum(fit.outward_pm[used] ** 2)) / spare
    ends2 = scatter2 * (1 / max(high, 1) + 1 / max(low, 1))
    return round(math.sqrt(ends2 + step_pm**2 / 6 + u_instrument_pm**2))

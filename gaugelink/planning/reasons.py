"""Why each step of a plan is there: the limits that it mends, or that the rest would leave broken.

A customer asks what was replaced, and why. A step stands for the limits that it mends by itself;
where it mends none, for those of its part that were broken, and then for those that all the other
steps would leave broken without it, as shims do that bring a spring back after a cut.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gaugelink.head import CHARACTERISTICS
from gaugelink.planning.held import fitted
from gaugelink.planning.standing import PARTS, TRIALS, Standing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from gaugelink.planning.allowances import Step
    from gaugelink.planning.plan import Plan
    from gaugelink.planning.setting import Settings
    from gaugelink.planning.standing import Trial
    from gaugelink.planning.task import Deed, Task

GUIDES: Final[frozenset[Deed]] = frozenset({"replace guide", "ream guide"})
VALVES: Final[frozenset[Deed]] = frozenset({"replace valve", "move valve"})
SEATS: Final[frozenset[Deed]] = frozenset({"cut seat", "fit insert"})
_CLEARANCE: Final = "guide clearance"
_SCRAPPED: Final = ("stem diameter", "margin", "valve length", "fit for use")
"""Limits of a valve that no grinding brings back."""
_BORE: Final = ("guide bore", _CLEARANCE, "guide fit for use")
_STEM: Final = (*_SCRAPPED, _CLEARANCE)
_OF: Final[Mapping[Deed, tuple[str, ...]]] = {
    "replace guide": _BORE, "ream guide": _BORE, "replace valve": _STEM, "move valve": _STEM,
    "replace spring": ("spring ",), "reface valve": ("valve face runout",), "cut seat": ("seat ",),
    "fit insert": ("seat ",),
}  # fmt: skip
"""Limits of the part that a step is done to."""
_DEPTHS: Final[Mapping[Deed, Step]] = {
    "reface valve": "reface valve", "grind tip": "grind tip", "fit insert": "cut seat",
    "cut seat": "cut seat", "lap": "lap", "shim": "shim",
}  # fmt: skip


class Reasons:
    """The reasons of one plan.

    Args:
        task: the head.
        plan: its plan.
        chosen: the depths as dials are set to them.
    """

    def __init__(self, task: Task, plan: Plan, chosen: Settings) -> None:
        self._task, self._plan, self._chosen = task, plan, chosen
        self._goes = {put.way.valve: task.places[put.way.place].name for put in plan.puts
                      if put.way.valve != put.way.place}  # fmt: skip
        self._found = [Standing.found(task, put.way.place) for put in plan.puts]
        self._was = [one.beyond() for one in self._found]

    def of_skim(self) -> str:
        """Say why the face is skimmed: limits of the head and of every valve, each once."""
        names = self._each(lambda at: self._mended(at, "skim", self._skim_pm))
        names = names or self._each(lambda at: self._without(at, "skim"))
        scrap = {PARTS["face"]: _condemned("face", self._task.face_scrap)}
        return ", ".join(scrap.get(name, name) for name in names)

    def of(self, at: int, deed: Deed) -> str:
        """Say why a step is done at a place; empty where it only goes with others.

        Args:
            at: number of the place among those of the plan.
            deed: the step, any but a skim.
        """
        way, was = self._plan.puts[at].way, self._was[at]
        scrap = {PARTS[part]: _condemned(part, why) for part, why in self._found[at].scrap.items()}
        words = [scrap.get(name, name) for name in self._limits(at, deed)]
        if deed in VALVES and way.oversize:
            words.append(f"goes with the guide's size {way.oversize.name}")
        if deed in VALVES and way.place in self._goes:
            words.append(f"its own goes to {self._goes[way.place]}")
        elif deed in VALVES and any(name.startswith(_SCRAPPED) for name in was):
            words.append("the old one is scrap")
        if not words and deed in SEATS and GUIDES & {*way.deeds}:
            words.append("its guide has a new axis")
        if not words and deed == "replace spring" and self._task.springs_as_set:
            words.append("springs go as a set")
        return ", ".join(words)

    def _limits(self, at: int, deed: Deed) -> tuple[str, ...]:
        trials: dict[Deed, Trial] = {step: step for step in TRIALS}
        found: Iterable[str] = ()
        if deed in trials and not self._plan.puts[at].way.oversize:
            found = self._mended(at, trials[deed], abs(self._depth(at, deed)))
        return tuple(found) or self._of_part(at, deed) or tuple(self._without(at, deed))

    def _of_part(self, at: int, deed: Deed) -> tuple[str, ...]:
        """Name the limits that the part of a step had broken where it was found."""
        way, of = self._plan.puts[at].way, _OF.get(deed, ())
        if deed in VALVES and GUIDES & {*way.deeds}:
            of = tuple(name for name in of if name != _CLEARANCE)  # the guide's part of the work
        where = at
        if deed == "reface valve" and way.valve != way.place:
            where = next(number for number, put in enumerate(self._plan.puts)
                         if put.way.place == way.valve)  # fmt: skip
        return tuple(name for name in self._was[where] if name.startswith(of))

    def _mended(self, at: int, step: Trial, depth: int) -> Iterator[str]:
        """Name what a step mends by itself."""
        try:
            now = self._found[at].with_step(step, depth).beyond()
        except ValueError:  # nobody has told the sizes of a new part
            return
        # A new guide makes no seat true, whatever the old one said of it.
        yield from (name for name in self._was[at] if name not in now
                    and not (step == "replace guide" and name.startswith("seat ")))  # fmt: skip

    def _without(self, at: int, left_out: Deed) -> Iterator[str]:
        """Name the limits of heights that the rest of the plan would leave broken."""
        way = self._plan.puts[at].way
        rest = whole = fitted(self._task, way).after("skim", self._skim_pm)
        if left_out == "skim":
            rest = fitted(self._task, way)
        for deed in way.deeds:
            if (step := _DEPTHS.get(deed)) is not None:
                whole = whole.after(step, self._depth(at, deed))
                rest = rest if deed == left_out else rest.after(step, self._depth(at, deed))
        kept = whole.beyond()
        yield from (name for name in rest.beyond() if name not in kept)

    @property
    def _skim_pm(self) -> int:
        return self._chosen.skim.pm if self._chosen.skim else 0

    def _depth(self, at: int, deed: Deed) -> int:
        """Give the depth along the valve's axis, below 0 of an insert that lifts the valve."""
        way, step = self._plan.puts[at].way, _DEPTHS.get(deed)
        if deed == "lap":
            return way.lap_pm
        if deed == "shim":
            return way.stack.thickness
        setting = self._chosen.places[at].get(step) if step else None
        return setting.pm if setting else 0

    def _each(self, told: Callable[[int], Iterable[str]]) -> dict[str, None]:
        return dict.fromkeys(name for at in range(len(self._found)) for name in told(at))


def _condemned(part: str, why: str) -> str:
    """Say why a part cannot stay: a characteristic by its name, all else with the part."""
    return why if why in CHARACTERISTICS else f"{part} {why}"

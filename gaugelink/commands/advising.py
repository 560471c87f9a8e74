"""Answers a page's questions about the head: what would be the cheapest, what if.

Nothing here changes anything: the head is planned as it stands in the session, when somebody asks,
and again only when it stands differently.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import time
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from gaugelink.capture.measured import measured_in
from gaugelink.commands.plan_document import document
from gaugelink.commands.plan_order import order_csv, parts_csv
from gaugelink.commands.plan_record import findings_of
from gaugelink.commands.record_job import job_of
from gaugelink.deeds import TakePlan
from gaugelink.errors import GaugeLinkError, InputError, SessionError
from gaugelink.events import PlannedFigure, PlannedStep
from gaugelink.planning.budget import Budget
from gaugelink.planning.conflict import Conflict
from gaugelink.planning.order import FACE, work_order
from gaugelink.planning.order_figures import figures_of
from gaugelink.planning.plan import plan
from gaugelink.planning.setting import readable
from gaugelink.planning.standing import TRIALS, WHOLE
from gaugelink.planning.survey import Survey, survey
from gaugelink.planning.task import Shop
from gaugelink.quantity import parse_length
from gaugelink.report.order import order_pdf
from gaugelink.view.advice import AT_LEAST, advice_document
from gaugelink.view.forecast import preview_lines
from gaugelink.view.trial import trial_document
from gaugelink.work import Operation  # noqa: TC001  pydantic looks it up at run time

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from gaugelink.planning.order import WorkOrder
    from gaugelink.planning.standing import Trial
    from gaugelink.planning.task import Deed, Task
    from gaugelink.view.state import JobView

Document = dict[str, Any]
Figures = dict[tuple["Deed", str], tuple[PlannedFigure, ...]]

PAPERS: Final = {
    "work-order.pdf": "application/pdf",
    "work-order.csv": "text/csv",
    "parts.csv": "text/csv",
}
"""Files to keep or print, and their types."""
SECONDS: Final = 20.0
"""The longest that all of an answer may take while a person waits."""
ALTERNATIVES: Final = 3
NO_PRICES: Final = Shop("", {})


class _Question(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class _Plan(_Question):
    about: Literal["plan"]


class _Trial(_Question):
    about: Literal["trial"]
    valve: Annotated[str, Field(max_length=10)]
    step: Annotated[str, Field(max_length=20)]
    depth: Annotated[str, Field(max_length=40)]


class _Work(_Question):
    about: Literal["work"]
    operation: Operation
    valves: Annotated[str, Field(max_length=2000)] = ""
    depth: Annotated[str, Field(max_length=60)] = ""
    size: Annotated[str, Field(max_length=60)] | None = None


class _Take(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)
    do: Literal["take-plan"]
    key: Annotated[str, Field(max_length=64)]
    by: Annotated[str, Field(max_length=60)] = ""


_ANY: TypeAdapter[_Plan | _Trial | _Work] = TypeAdapter(
    Annotated[_Plan | _Trial | _Work, Field(discriminator="about")]
)


@dataclass(slots=True)
class Advisor:
    """Plans the head of a job that is on the bench.

    Args:
        view: the job; None while there is none yet.
        shop: what is offered, and its prices; None where nobody has named a price file.
    """

    view: Callable[[], JobView | None]
    shop: Shop | None = None
    _told_for: Task | None = None
    _told: Document | None = None
    _figures: Figures = field(default_factory=dict)
    _one: asyncio.Lock = field(default_factory=asyncio.Lock)

    async def ask(self, question: Document) -> tuple[int, Document]:
        """Answer a page.

        Returns:
            A status of HTTP (200 answered, 400 not understood, 409 cannot be told now) and the
            answer; of what was not answered, ``ok`` and ``words``.
        """
        try:
            asked = _ANY.validate_python(question)
        except ValidationError as faults:
            fault = faults.errors()[0]
            at = ".".join(str(part) for part in fault["loc"][1:]) or "about"
            return 400, _no(f"{at}: {fault['msg']}")
        view = self.view()
        if view is None:
            return 409, _no("the bench is not ready yet; try again")
        try:
            if isinstance(asked, _Trial):
                return 200, self._trial(view, asked)
            if isinstance(asked, _Work):
                bench, valves = view.bench, tuple(asked.valves.split())
                return 200, {"lines": preview_lines(bench.session, asked.operation, valves,
                                                    asked.depth, bench.stamp(),
                                                    asked.size)}  # fmt: skip
            found = await self.plan()
        except InputError as fault:
            return 400, _no(fault.what)
        except SessionError as fault:
            return 409, _no(str(fault))
        if found is None:
            return 409, _no("nobody has named a price file: prices in the bench file, [bench]")
        return 200, found

    async def take(self, action: Document) -> tuple[int, Document]:
        """Take the plan that a page shows as the work order of the head.

        Returns:
            A status of HTTP (200 taken, 400 not understood, 409 not taken) and the answer.
        """
        try:
            asked = _Take.model_validate(action)
        except ValidationError as faults:
            fault = faults.errors()[0]
            return 400, _no(f"{'.'.join(map(str, fault['loc']))}: {fault['msg']}")
        try:
            told = await self.plan()
            view = self.view()
            if view is None or told is None or told["cost"] is None:
                return 409, _no("there is no plan to take")
            if told["key"] != asked.key:
                return 409, _no("the head stands differently by now; look at the new plan first")
            steps = tuple(_step(line, self._figures) for line in told["lines"])
            await view.bench.do(TakePlan(told["cost"], told["standing"], steps, asked.by))
        except GaugeLinkError as fault:
            return 409, _no(str(fault))
        return 200, {"ok": True, "words": f"taken as the work order: {told['cost']}"}

    async def paper(self, name: str) -> tuple[str, bytes] | None:
        """Write the work order to keep or print: that which was taken, else the cheapest now.

        Args:
            name: ``work-order.pdf``, ``work-order.csv`` or ``parts.csv``.

        Returns:
            Its type and its bytes; None: no such paper, no prices, or nothing to do.
        """
        view = self.view()
        if name not in PAPERS or view is None or self.shop is None:
            return None
        session, store = view.bench.session, view.bench.store
        until = session.order[0] if session.order else session.seen
        entries = list(islice(store.entries(), until))
        shop, invented = self.shop, view.job.invented
        cost = session.order[1].cost if session.order else ""

        def made() -> bytes | None:
            job = job_of(entries, "the record")
            found = survey(job.sheet, job.measured, job.judgement, shop, findings_of(job.session),
                           job.opened.job, job.session.sizes)  # fmt: skip
            try:
                chosen = plan(found.task, Budget(SECONDS, time.monotonic))
            except ValueError:
                return None
            if isinstance(chosen, Conflict):
                return None
            if cost.removeprefix(AT_LEAST) not in {"", f"{chosen.cents / 100:.2f} {shop.currency}"}:
                return None  # taken at other prices: this would be another order
            order = work_order(found.task, chosen)
            if name == "parts.csv":
                return parts_csv(order).encode("utf-8-sig")
            if name == "work-order.csv":
                return order_csv(order).encode("utf-8-sig")
            return order_pdf(order.as_document(), invented=invented)

        content = await asyncio.to_thread(made)
        return None if content is None else (PAPERS[name], content)

    async def plan(self) -> Document | None:
        """Plan the head as it stands; None where there are no prices.

        Raises:
            InputError: the solver ran out of time before it found any plan.
        """
        view = self.view()
        if view is None or self.shop is None:
            return None
        async with self._one:  # two pages wait for one answer, not for two
            found = self._survey(view)
            if self._told is None or found.task != self._told_for:
                self._told, self._figures = await asyncio.to_thread(_planned, found)
                self._told_for = found.task
            return self._told

    def _survey(self, view: JobView) -> Survey:
        session = view.bench.session
        measured = measured_in(view.sheet, session, view.bench.analyses)
        return survey(view.sheet, measured, view.judgement(), self.shop or NO_PRICES,
                      findings_of(session), view.job.job, session.sizes)  # fmt: skip

    def _trial(self, view: JobView, asked: _Trial) -> Document:
        task = self._survey(view).task
        names = [place.name for place in task.places]
        if asked.valve not in names:
            raise InputError(f"found the valve {asked.valve!r}, accepted: {', '.join(names)}")
        steps: dict[str, Trial] = {step: step for step in TRIALS}
        if asked.step not in steps:
            raise InputError(f"found the step {asked.step!r}, accepted: {', '.join(TRIALS)}")
        step = steps[asked.step]
        depth = 0 if step in WHOLE else parse_length(asked.depth).pm
        if depth < 0 and step != "shim":
            raise InputError(f"found a depth of {asked.depth}, accepted: 0 or more")
        try:
            return trial_document(task, names.index(asked.valve), step, depth)
        except ValueError as fault:
            raise InputError(str(fault)) from None


def _planned(found: Survey) -> tuple[Document, Figures]:
    """Plan, away from the loop; and say what each step should leave behind.

    Depths are those of the work order, so that page and printed sheet say the same.

    Raises:
        InputError: no time was left.
    """
    figures: Figures = {}
    budget = Budget(SECONDS, time.monotonic)
    try:
        chosen = plan(found.task, budget)
        told = document(found.task, chosen, ALTERNATIVES, budget)
    except ValueError as fault:
        raise InputError(str(fault)) from None
    if not isinstance(chosen, Conflict):
        order = work_order(found.task, chosen)
        figures = figures_of(order)
        told["operations"] = list(_as_set(told["operations"], order))
    advice = advice_document(told, found.left_out)
    lines = json.dumps([advice["cost"], advice["lines"]])
    return {**advice, "key": hashlib.sha256(lines.encode()).hexdigest()[:16]}, figures


def _as_set(rows: Iterable[Document], order: WorkOrder) -> Iterator[Document]:
    """Put the depths as a dial is set to them in the place of the plan's own."""
    lines = {(line.deed, line.place): line for line in order.lines}
    for row in rows:
        line = lines[row["operation"], row["valve"]]
        if line.setting is None or "least_mm" not in row:
            yield row
            continue
        depth, least, most = (pm / 1e9 for pm in readable(line.setting))
        if row["operation"] == "fit insert":  # a rise there, a seat cut below 0 here
            depth, least, most = -depth, -most, -least
        yield {**row, "depth_mm": depth, "least_mm": least, "most_mm": most}


def _step(line: Document, figures: Figures) -> PlannedStep:
    valves = tuple(line["valves"])
    expected = [one for valve in valves or (FACE,)
                for one in figures.get((line["operation"], valve), ())]  # fmt: skip
    return PlannedStep(line["done"], valves, line["words"], line["depth"], tuple(expected))


def _no(words: str) -> Document:
    return {"ok": False, "words": words}

"""The demonstration's second half: order, work, measuring again, and the release."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from gaugelink.errors import InputError
from gaugelink.inspection import CHECKS
from gaugelink.quantity import PM_PER_UM
from gaugelink.simulate.machining import Oversize, machined, printed_lines
from gaugelink.simulate.scenario import Inspection

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from gaugelink.commands.running import Running
    from gaugelink.planning.task import Shop
    from gaugelink.simulate.operator import Operator

ROUNDS: Final = 3
"""So many orders are carried out at most: work may bring to light what more is wrong."""
TRIES: Final = 3
"""So often is measured once more what stands against a release."""
ONCE_MORE: Final = ("surprise", "not measured", "skipped", "zero check", "doubtful", "stale")
"""What stands against a release and may be answered by measuring."""


@dataclass(slots=True)
class Through:
    """Carries a head that has been measured on to its release, as far as it comes.

    Args:
        running: the bench, with its adviser.
        operator: who measures.
        shop: what the shop has.
        loads: tells what every spring shows on the tester now.
        name: who works and signs.
    """

    running: Running
    operator: Operator
    shop: Shop
    loads: Callable[[], Iterable[tuple[str, str, str]]]
    name: str

    async def work(self) -> bool:
        """Take the plan as the work order, do it, measure again, look, and release.

        Returns:
            Whether the head is released; what stands against it is on the page and in the report.
        """
        for _ in range(ROUNDS):
            if not await self._order():
                break
            await self._measure_again()
        await self.operator.look(Inspection(check=check) for check in CHECKS)
        document = self._release()
        if document["count"]:
            return False
        await self.operator.screen.press(
            do="release", by=self.name, seen=self.running.view.bench.session.seen
        )
        return bool(self._release()["released"])

    async def _order(self) -> bool:
        """Carry out the cheapest plan; False where there is nothing to do, or no plan."""
        advisor = self.running.advisor
        told = await advisor.plan()
        if told is None or not told["lines"]:
            return False
        status, answer = await advisor.take({"do": "take-plan", "key": told["key"],
                                             "by": self.name})  # fmt: skip
        if status != 200:
            raise InputError(str(answer["words"]))
        paper = await advisor.paper("work-order.csv")
        assert paper is not None
        before = self.operator.workpiece
        sizes = [Oversize(one.name, sum(one.bore) / 2 / PM_PER_UM, sum(one.stem) / 2 / PM_PER_UM)
                 for one in self.shop.oversizes]  # fmt: skip
        for line in printed_lines(paper[1].decode("utf-8-sig")):
            await self.operator.pace.sleep(60.0)
            self.operator.workpiece = machined(self.operator.workpiece, line, before, sizes)
            await self.operator.screen.press(
                do="work", operation=line.operation, valves=[line.valve] if line.valve else [],
                depth=line.told, by=self.name,
            )  # fmt: skip
        return True

    async def _measure_again(self) -> None:
        """Measure what is asked for, then once more what stands against a release."""
        await self.operator.measure()
        wanting = {valve for row in self._rows("not measured", "stale")
                   if row["what"] == "spring load" for valve in row["valves"]}  # fmt: skip
        await self.operator.test_springs(one for one in self.loads() if one[0] in wanting)
        for _ in range(TRIES):
            # What is measured once more asks for the zero check behind it once more, too.
            rows = [row for row in self._rows(*ONCE_MORE) if row["step"] is not None]
            for row in rows:
                await self.operator.screen.press(do="go", step=row["step"])
                await self.operator.measure()
            if not rows:
                break

    def _rows(self, *kinds: str) -> list[dict[str, Any]]:
        return [row for group in self._release()["groups"] if group["kind"] in kinds
                for row in group["rows"]]  # fmt: skip

    def _release(self) -> dict[str, Any]:
        found: dict[str, Any] = self.running.view.state()["release"]
        return found

"""The terminal during the demonstration: what is shown live, and the table at the end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from rich.console import Console, Group
from rich.live import Live
from rich.panel import Panel
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from types import TracebackType
    from typing import Self

MARKS: Final = {
    "open": "\u00b7",
    "measuring": "\u25b8",
    "within": "\u2502",
    "undecided": "\u25c7",
    "outside": "\u2715",
    "skipped": "\u2013",
}
"""A shape a state, the same as on the page and in the report; the word stands beside it."""

_WIDTH: Final = 20


class DemoScreen:
    """Shows a state document, again and again, in place."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._progress = Progress(
            TextColumn("[bold]{task.description}"), BarColumn(), MofNCompleteColumn(),
            TimeElapsedColumn(), console=console,
        )  # fmt: skip
        self._task = self._progress.add_task("measured", total=None)
        self._live = Live(console=console, refresh_per_second=10, transient=True)

    def __enter__(self) -> Self:
        """Begin to draw."""
        self._live.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop drawing and leave the terminal as it was."""
        self._live.__exit__(kind, value, trace)

    def show(self, state: dict[str, Any]) -> None:
        """Draw a state."""
        progress = state["progress"]
        self._progress.update(
            self._task, total=progress["of"], completed=progress["done"] + progress["skipped"]
        )
        live, following = state["live"], state["next"]
        figure = Text(f"{live['text']:>10} {live['unit']}" if live else f"{'':>10}", style="bold")
        lines: list[Any] = [figure]
        lines.append(Text(following["words"] if following else "everything is measured"))
        lines.append(Text(following["limit_words"] if following else "", style="dim"))
        question = state["question"]
        lines.append(Text(f"This {question['words']}." if question else _last(state["last"])))
        lines.append(_heads(state["head"]["valves"]))
        lines.append(self._progress)
        self._live.update(Panel(Group(*lines), title=state["job"]["head"], padding=(1, 2)))


def _last(last: dict[str, Any] | None) -> str:
    """Write the last reading, with its scale and word where it has a limit of its own."""
    if last is None:
        return ""
    place = ", ".join(
        part for part in (last["valve"], last["characteristic"], last["station"], last["direction"])
        if part
    )  # fmt: skip
    scale = last["scale"]
    drawn = f"  {scale_text(scale)}  {scale['verdict']}" if scale else ""
    return f"last: {place}  {last['text']} {last['unit']}{drawn}"


def _heads(valves: list[dict[str, Any]]) -> Table:
    table = Table.grid(padding=(0, 2))
    table.add_row(*(Text(item["name"], justify="center") for item in valves))
    table.add_row(*(Text(MARKS[item["state"]], justify="center") for item in valves))
    return table


def scale_text(scale: dict[str, Any], width: int = _WIDTH) -> str:
    """Draw a limit scale in one line of characters: the allowed band, and the mark on it.

    >>> scale = {"lower_mm": None, "upper_mm": 0.1, "value_mm": 0.12, "u_mm": None,
    ...          "verdict": "outside"}
    >>> scale_text(scale, 12)
    '\u2504\u2501\u2501\u2501\u2501\u2501\u2501\u2501\u2501\u2500\u2715\u2500'
    """
    value, lower, upper = scale["value_mm"], scale["lower_mm"], scale["upper_mm"]
    if value is None or (lower is None and upper is None):
        return ""
    known = [item for item in (lower, upper, value) if item is not None]
    span = (max(known) - min(known)) or abs(value) or 1.0
    start, end = min(known) - span * 0.6, max(known) + span * 0.6
    if lower is None:
        start = min(known) - span * 4.0
    elif upper is None:
        end = max(known) + span * 4.0

    def column(x: float) -> int:
        return max(0, min(width - 1, int((x - start) / (end - start) * width)))

    first = 0 if lower is None else column(lower)
    last = width - 1 if upper is None else column(upper)
    cells = ["\u2501" if first <= n <= last else "\u2500" for n in range(width)]
    if lower is None:
        cells[0] = "\u2504"
    if upper is None:
        cells[-1] = "\u2504"
    cells[column(value)] = MARKS[scale["verdict"]] if scale["verdict"] else "\u2502"
    return "".join(cells)


def closing_table(report: dict[str, Any]) -> Table:
    """Make the table of what is outside or undecided. It fits a terminal of 80 columns."""
    table = Table(box=None, header_style="bold", pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("valve", no_wrap=True)
    table.add_column("characteristic", ratio=1)
    table.add_column("value", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    for item in report["verdicts"]:
        if item["verdict"] != "within":
            name = " by ".join(part for part in (item["characteristic"], item["method"]) if part)
            what = Text.assemble((name, "bold"), "\n", (item["limit"], "dim"))
            value = Text(f"{item['text']} {item['unit']}")
            table.add_row(item["valve"] or "head", what, value, scale_text(item["scale"]),
                          item["verdict"])  # fmt: skip
    return table


def order_table(order: dict[str, Any]) -> Table:
    """Make the table of a work order that was carried out: what should be, and what was found."""
    table = Table(box=None, header_style="bold", pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("valve", no_wrap=True)
    for name in ("work", "should measure", "measured"):
        table.add_column(name, ratio=1)
    table.add_column("", no_wrap=True)
    for line in order["lines"]:
        done = "" if line["finished"] else "not done"
        figures = [one for one in line["figures"] if one["found"]]
        for owner in line["owners"] or [{"name": "head"}]:
            table.add_row(owner["name"], Text(line["operation"], "bold"), "", "", done)
            for one in figures:
                if (one["valve"] or "head") == owner["name"]:
                    table.add_row("", Text(one["figure"], "dim"), one["expected"], one["found"],
                                  one["word"])  # fmt: skip
    return table

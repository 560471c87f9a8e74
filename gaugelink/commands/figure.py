"""Write plots as one file that opens in any browser, without a network."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from gaugelink.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

ACCENT: Final = "#1d3f8f"
"""The deep blue of marking-out fluid."""

INK: Final = "#20242a"
SHADES: Final = (ACCENT, "#7a828c", "#20242a", "#5f7fc4", "#a7adb5")
AXIS: Final[dict[str, Any]] = {
    "linecolor": INK, "showline": True, "ticks": "outside", "gridcolor": "#e4e4df",
    "zeroline": False, "automargin": True,
}  # fmt: skip


def write_figure(path: Path, data: list[dict[str, Any]], layout: dict[str, Any]) -> None:
    """Write a figure with everything that it needs inside.

    Args:
        path: the file, ending in .html; an existing one is replaced.
        data: the traces, as plotly takes them.
        layout: the layout; paper, ink and type are added.

    Raises:
        InputError: another ending, or the file cannot be written.
    """
    if path.suffix != ".html":
        raise InputError(f"found {path.suffix!r}, accepted: .html", file=str(path))
    from plotly.io import to_html  # noqa: PLC0415  slow to start

    drawn = {
        "paper_bgcolor": "#fbfaf6", "plot_bgcolor": "#fbfaf6",
        "font": {"family": "system-ui, sans-serif", "color": INK, "size": 14},
        "margin": {"l": 70, "r": 30, "t": 70, "b": 60},
        **layout,
    }  # fmt: skip
    page = to_html({"data": data, "layout": drawn}, include_plotlyjs=True, full_html=True,
                   config={"displaylogo": False, "responsive": True}, validate=True)  # fmt: skip
    try:
        path.write_text(page, encoding="utf-8")
    except OSError as fault:
        raise InputError(f"cannot be written ({fault.strerror})", file=str(path)) from None

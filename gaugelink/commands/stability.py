"""Tell from records whether the gauges' zeros stay: every check on a master, job after job.

Each zero check of a record is a reading of a known size. For every gauge they are put in order of
time, whatever record they stand in, and told are the mean deviation, a drift in a day with its
uncertainty, a control chart, and how far the zero moved between the checks before and after one
series. Checks that were struck out are left out; checks that were asked about and kept count.

Exit status: 0 every zero stays; 1 one drifts, or does what chance seldom does; 2 a file is bad.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gaugelink.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable, Iterator, Sequence

    from gaugelink.commands.record_job import RecordedJob

DAY_S: Final = 86_400
ENOUGH: Final = 20
"""With fewer checks the limits of a chart are rough (common practice, no source)."""
Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Check:
    """A zero check: when, by how much it was off, and of which series it was.

    ``off_pm`` and ``step_pm``, one step of the display, are picometres.
    """

    utc: str
    off_pm: int
    step_pm: int
    series: str
    when: str
    job: str


@dataclass(slots=True)
class Kept:
    """The checks of one gauge."""

    id: str
    title: str
    serial: str
    u_pm: int
    checks: list[Check] = field(default_factory=list)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("record", nargs="+", metavar="RECORD", help="records, in any order")
    parser.add_argument("--gauge", metavar="ID", help="one gauge only, by its mark")
    parser.add_argument("--plot", metavar="FILE.html",
                        help="write the chart of one gauge, to look at offline")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Look through the records.

    Raises:
        InputError: a file has no job, a gauge has no checks, or an argument is bad.
        RecordError: a file is no record, or does not fit what was signed.
    """
    from gaugelink.commands.record_job import read_job  # noqa: PLC0415

    kept: dict[tuple[str, str], Kept] = {}
    for name in args.record:
        _collect(read_job(Path(name)), kept)
    found = [one for one in kept.values() if args.gauge in {None, one.id}]
    if not found:
        which = f"no zero check of {args.gauge!r}" if args.gauge else "no zero check"
        known = ", ".join(dict.fromkeys(one.id for one in kept.values())) or "none at all"
        raise InputError(f"found {which} in these records; there are checks of: {known}",
                         field="--gauge" if args.gauge else "RECORD")  # fmt: skip
    if args.plot and len(found) != 1:
        raise InputError("a chart is of one gauge; say which with --gauge", field="--plot")
    gauges = [_document(one) for one in found]
    if args.plot:
        _plot(Path(args.plot), gauges[0])
    if args.json:
        print(json.dumps({"gauges": gauges}, ensure_ascii=False))
    else:
        print("\n\n".join("\n".join(_lines(one)) for one in gauges))
    return 1 if any(one["drifts"] or one["signals"] for one in gauges) else 0


def _collect(job: RecordedJob, kept: dict[tuple[str, str], Kept]) -> None:
    """Put the zero checks of a job with those of the same gauges in other jobs."""
    from gaugelink.events import ReadingAssigned, ReadingParked, ReadingTaken  # noqa: PLC0415
    from gaugelink.head import zero_check_of  # noqa: PLC0415

    session = job.session
    for line in session.history.values():
        event = line.event
        if line.struck or not isinstance(event, ReadingTaken | ReadingAssigned):
            continue
        check = zero_check_of(event.tag.position)
        zero = job.sheet.zero_of(check[0]) if check else None
        if check is None or zero is None:
            continue
        read = event if isinstance(event, ReadingTaken) else session.history[event.parked].event
        assert isinstance(read, ReadingTaken | ReadingParked)
        gauge = session.gauges[event.tag.gauge]
        found = kept.setdefault(
            (gauge.id, gauge.serial), Kept(gauge.id, gauge.title, gauge.serial, gauge.u_pm)
        )
        series = event.tag.position.station.partition(", ")[2].partition(" ")[2]
        shown, off_pm = read.shown, read.shown.pm - zero.shows.pm
        found.checks.append(
            Check(read.stamp.utc, off_pm, shown.step_pm, series, check[1], job.opened.job)
        )


def _document(one: Kept) -> Document:
    checks = sorted(one.checks, key=lambda check: check.utc)
    offs = [check.off_pm for check in checks]
    moved = list(_moved(checks))
    found: Document = {
        "gauge": one.id,
        "title": one.title,
        "serial": one.serial,
        "u_um": one.u_pm / 1e6,
        "checks": [{"utc": check.utc, "job": check.job, "series": check.series, "when": check.when,
                    "off_um": check.off_pm / 1e6} for check in checks],
        "mean_off_um": sum(offs) / len(offs) / 1e6,
        "largest_off_um": max(offs, key=abs) / 1e6,
        "moved_in_a_series_um": max(moved, key=abs, default=0) / 1e6 if moved else None,
        "drift_um_a_day": None, "drift_95_percent": None, "drifts": False, "signals": [],
        "center": None, "lower": None, "upper": None, "not_told": [],
    }  # fmt: skip
    for name, tell in (("drift", _drift), ("chart", _chart)):
        try:
            found |= tell(checks)
        except ValueError as fault:
            found["not_told"].append(f"{name}: {fault}")
    return found


def _drift(checks: Sequence[Check]) -> Document:
    from gaugelink.metrology.drift import drift  # noqa: PLC0415

    days = [Fraction(_micros(check.utc), DAY_S * 10**6) for check in checks]
    if days[-1] - days[0] < 1:
        raise ValueError("found all checks within a day, needed: a day between them")
    line = drift([day - days[0] for day in days], [check.off_pm for check in checks])
    return {
        "drift_um_a_day": line.slope / 1e6,
        "drift_95_percent": [end / 1e6 for end in line.slope_ends],
        "drifts": line.drifts,
    }


def _chart(checks: Sequence[Check]) -> Document:
    from gaugelink.metrology.charts import chart  # noqa: PLC0415

    drawn = chart([[check.off_pm] for check in checks], "individuals")
    step = max(check.step_pm for check in checks)
    if drawn.sigma < step:
        # Its points jump between two figures, and every rule for points is about that alone.
        raise ValueError(f"the display's step of {step / 1e6:g} um is coarser than the scatter")
    found = {
        f"{mark}{end}": getattr(band, end) / 1e6
        for mark, band in (("", drawn.location), ("spread_", drawn.spread))
        for end in ("center", "lower", "upper")
    }
    return found | {
        "spreads_um": [spread / 1e6 for spread in drawn.spreads],
        "signals": [
            {"utc": checks[one.at].utc, "job": checks[one.at].job, "chart": one.on,
             "what": one.words, "at": one.at}
            for one in drawn.signals
        ],
    }  # fmt: skip


def _moved(checks: Iterable[Check]) -> Iterator[int]:
    """Give by how much the zero moved between the checks before and after each series."""
    before: dict[str, int] = {}
    for check in checks:
        if check.when == "before":
            before[check.job] = check.off_pm
        elif check.job in before:
            yield check.off_pm - before.pop(check.job)


def _micros(utc: str) -> int:
    """Turn a time stamp of the record into microseconds; whole, so that none is rounded."""
    moment = datetime.fromisoformat(utc)
    return int(moment.timestamp()) * 10**6 + moment.microsecond


def _lines(one: Document) -> Iterator[str]:
    count = len(one["checks"])
    yield f"{one['gauge']}  {one['title']}, {one['serial']}: {count} zero checks"
    mean, most, u = one["mean_off_um"], one["largest_off_um"], one["u_um"]
    yield f"  off by {mean:+.2f} um on average, at most {most:+.2f} um; the gauge's u is {u:g} um"
    if one["moved_in_a_series_um"] is not None:
        yield f"  moved by at most {one['moved_in_a_series_um']:+.2f} um within one series"
    if one["drift_um_a_day"] is not None:
        low, high = one["drift_95_percent"]
        words = "it drifts" if one["drifts"] else "chance alone explains it"
        yield (f"  drift {one['drift_um_a_day']:+.3g} um a day (95 %: {low:+.3g} to {high:+.3g}): "
               f"{words}")  # fmt: skip
    if one["center"] is not None:
        rough = "" if count >= ENOUGH else f"; rough, as there are fewer than {ENOUGH}"
        yield f"  chart: {one['lower']:+.2f} to {one['upper']:+.2f} um{rough}"
        if not one["signals"]:
            yield "  nothing that chance alone would not do: it is steady"
    for signal in one["signals"]:
        yield f"  {signal['job']}, {signal['utc']}: {signal['what']} (chart of {signal['chart']})"
    for words in one["not_told"]:
        yield f"  not told, {words}"


def _plot(path: Path, one: Document) -> None:
    from gaugelink.commands.chart_plot import write  # noqa: PLC0415

    if one["center"] is None:
        raise InputError(f"no chart can be drawn: {one['not_told'][-1]}", field="--plot")
    names = [f"{number}. {check['job']}, {check['utc'][:16]}"
             for number, check in enumerate(one["checks"], 1)]  # fmt: skip
    write(path, {
        "kind": "individuals", "unit": "um",
        **{key: one[key] for key in ("center", "lower", "upper", "spread_center", "spread_lower",
                                     "spread_upper")},
        "signals": [{"subgroup": names[signal["at"]], "chart": signal["chart"],
                     "what": signal["what"]} for signal in one["signals"]],
        "points": [{"subgroup": name, "value": check["off_um"],
                    "spread": one["spreads_um"][at - 1] if at else None}
                   for at, (name, check) in enumerate(zip(names, one["checks"], strict=True))],
    }, [])  # fmt: skip

"""Tell how much of what readings differ by is the gauge, the people, and the parts.

Columns: part, operator, trial, value; and unit (mm or in; mm where it is absent). Every part
has to be measured by every person the same number of times, best in mixed order, with parts that
cover the range of wear. With --tolerance the share of the tolerance is told too, six standard
deviations of measuring against it (or --spread). One person alone does a quick study of
repeatability with --one-person, or holds a gauge against a master with --master.

Exit status: 0 done; 2 the file is bad, or cannot be analysed.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gaugelink.commands.lengths import length_above_0
from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER, is_length_unit
from gaugelink.tablefile import read_table

if TYPE_CHECKING:
    import argparse

    from gaugelink.metrology.study import Crossed, Study
    from gaugelink.metrology.study_range import ByRange
    from gaugelink.quantity import LengthUnit
    from gaugelink.tablefile import Row

SPREADS: Final = ("6", "5.15")
"""Standard deviations that stand for the spread of measuring, against the tolerance: 99.73 % of
normal values, the usual ones today, or 99 %, of older books (both from memory)."""

NAMES: Final = {
    "repeatability": "repeatability (gauge)",
    "reproducibility": "reproducibility (people)",
    "rr": "both: measuring",
    "part": "parts",
    "total": "total",
}


@dataclass(frozen=True, slots=True)
class Readings:
    """The readings of a study file, in its unit."""

    crossed: Crossed
    unit: LengthUnit
    step: float


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("file", metavar="FILE", help="readings (CSV: part,operator,trial,value)")
    parser.add_argument("--tolerance", metavar="LENGTH",
                        help="width of the tolerance to be judged, for example 0.05mm")  # fmt: skip
    parser.add_argument("--spread", choices=SPREADS, default=SPREADS[0],
                        help="standard deviations held against the tolerance (default "
                        "%(default)s; 5.15 in older books)")  # fmt: skip
    parser.add_argument("--method", choices=["anova", "range"], default="anova",
                        help="analysis of variance, or averages and ranges")  # fmt: skip
    parser.add_argument("--interaction", choices=["auto", "keep", "pool"], default="auto",
                        help="people who differ more on some parts: keep it apart, pool it with "
                        "the repeatability, or pool it where its p is above 0.25")  # fmt: skip
    parser.add_argument("--test-against", choices=["interaction", "repeatability"],
                        help="what F of parts and people is held against while the interaction is "
                        "kept (default: interaction)")  # fmt: skip
    parser.add_argument("--one-person", action="store_true",
                        help="a quick study: part,value, each part several times")  # fmt: skip
    parser.add_argument("--master", metavar="LENGTH",
                        help="readings of a master of this actual size: value")  # fmt: skip
    parser.add_argument("--u-master", metavar="LENGTH", default="0mm",
                        help="standard uncertainty of the master's size")  # fmt: skip
    parser.add_argument("--sheet", metavar="SHEET.toml",
                        help="say whether the gauge can judge this sheet's limits")  # fmt: skip
    parser.add_argument("--characteristic", metavar="NAME",
                        help="with --sheet: which, for example 'stem diameter'")  # fmt: skip
    parser.add_argument("--plot", metavar="FILE.html",
                        help="write the plots, to look at offline")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Analyse one study.

    Raises:
        InputError: the file is bad, not crossed, or has no scatter.
    """
    from gaugelink.metrology.study import by_variance  # noqa: PLC0415
    from gaugelink.metrology.study_range import by_range  # noqa: PLC0415

    if args.characteristic is not None and args.sheet is None:
        raise InputError("found it, accepted: with --sheet only", field="--characteristic")
    if args.one_person or args.master:
        return _small(args)
    readings = read(Path(args.file))
    tolerance = None
    if args.tolerance:
        tolerance = length_above_0(args.tolerance, "--tolerance") / PM_PER[readings.unit]
    found: Study | ByRange
    try:
        if args.method == "anova":
            found = by_variance(readings.crossed, args.interaction, args.test_against)
        else:
            found = by_range(readings.crossed)
    except ValueError as fault:
        raise InputError(str(fault), file=args.file) from None
    document = _document(found, readings, tolerance, float(args.spread))
    if args.sheet:
        from gaugelink.commands.study_sheet import limits_document  # noqa: PLC0415

        rr_pm = document["sd"]["rr"] * PM_PER[readings.unit]
        document["limits"] = limits_document(args.sheet, args.characteristic, rr_pm)
    if args.plot:
        from gaugelink.commands.study_plot import write  # noqa: PLC0415

        write(Path(args.plot), readings.crossed, document, readings.step)
    if args.json:
        print(json.dumps(document))
    else:
        _print(document)
        if args.sheet:
            from gaugelink.commands.study_sheet import tell  # noqa: PLC0415

            tell(args.characteristic, document["limits"])
    return 0


def _small(args: argparse.Namespace) -> int:
    """Do a study that needs one person only."""
    from gaugelink.commands import study_small  # noqa: PLC0415

    if args.one_person and args.master:
        raise InputError("found both, accepted: one of the two", field="--one-person, --master")
    for name in ("plot", "sheet"):
        if getattr(args, name):
            raise InputError("found it, accepted: with a crossed study only", field=f"--{name}")
    if args.master:
        document = study_small.master_document(
            Path(args.file), args.master, args.u_master, args.tolerance
        )
    else:
        document = study_small.one_person_document(Path(args.file), args.tolerance,
                                                   float(args.spread))  # fmt: skip
    if args.json:
        print(json.dumps(document))
    else:
        study_small.tell(document)
    return 0


def read(path: Path) -> Readings:
    """Read a study file, and check that it is crossed.

    Raises:
        InputError: a bad cell, one part or person only, or a part that somebody measured less
            often than others.
    """
    from gaugelink.metrology.counts import counts_of  # noqa: PLC0415
    from gaugelink.metrology.study import Crossed  # noqa: PLC0415

    rows = read_table(path, required=("part", "operator", "trial", "value"), optional=("unit",))
    unit = _unit(rows)
    seen: dict[tuple[str, str], dict[str, Row]] = {}
    for row in rows:
        for column in ("part", "operator", "trial"):
            if not row[column]:
                raise row.fault(column, "the cell is empty; accepted: a name or a number")
        try:
            counts_of([row["value"]])
        except InputError as fault:
            raise row.fault("value", fault.what) from None
        trials = seen.setdefault((row["part"], row["operator"]), {})
        if row["trial"] in trials:
            before = trials[row["trial"]].line
            raise row.fault(
                "trial",
                f"found trial {row['trial']!r} of part {row['part']!r} by "
                f"{row['operator']!r} twice (line {before}); accepted: once",
            )
        trials[row["trial"]] = row
    parts = tuple(dict.fromkeys(row["part"] for row in rows))
    operators = tuple(dict.fromkeys(row["operator"] for row in rows))
    _check_crossed(seen, parts, operators, str(path))
    counts = counts_of(row["value"] for row in rows)
    by_line = {row.line: value for row, value in zip(rows, counts.values, strict=True)}
    cells = {key: [by_line[row.line] for row in trials.values()] for key, trials in seen.items()}
    each = len(next(iter(seen.values())))
    return Readings(Crossed(parts, operators, each, cells), unit, float(counts.step))


def _unit(rows: list[Row]) -> LengthUnit:
    unit = rows[0]["unit"] or "mm"
    for row in rows:
        here = row["unit"] or "mm"
        if not is_length_unit(here) or here != unit:
            raise row.fault("unit", f"found {here!r}, accepted: mm or in, the same in every row")
    assert is_length_unit(unit)
    return unit


def _check_crossed(
    seen: dict[tuple[str, str], dict[str, Row]],
    parts: tuple[str, ...], operators: tuple[str, ...], file: str,
) -> None:  # fmt: skip
    for names, noun in ((parts, "part"), (operators, "operator")):
        if len(names) < 2:
            hint = "; or --one-person" if noun == "operator" else ""
            raise InputError(f"found one {noun} ({names[0]}), needed: at least two{hint}",
                             file=file, field=noun)  # fmt: skip
    most = max(len(trials) for trials in seen.values())
    for part in parts:
        for one in operators:
            count = len(seen.get((part, one), {}))
            if count != most:
                raise InputError(
                    f"found {count} trials of part {part!r} by {one!r} and {most} elsewhere, "
                    "needed: every part by every operator equally often; measure what is missing",
                    file=file, field="trial",
                )  # fmt: skip
    if most < 2:
        raise InputError("found one trial of each part, needed: at least two", file=file,
                         field="trial")  # fmt: skip


def _document(
    found: Study | ByRange, readings: Readings, tolerance: float | None, spread: float
) -> dict[str, Any]:
    from gaugelink.metrology.study import Study, distinct_categories  # noqa: PLC0415

    step = readings.step
    if isinstance(found, Study):
        sd = {name: float(getattr(found.components, name)) ** 0.5 * step for name in NAMES}
    else:
        sd = {name: getattr(found, name) * step for name in NAMES}
    document: dict[str, Any] = {
        "method": "anova" if isinstance(found, Study) else "range",
        "unit": readings.unit,
        "parts": len(readings.crossed.parts),
        "operators": len(readings.crossed.operators),
        "trials": readings.crossed.trials,
        "sd": sd,
        "percent_of_total": {name: 100 * value / sd["total"] for name, value in sd.items()},
        "percent_of_tolerance": (
            {name: 100 * spread * value / tolerance for name, value in sd.items()}
            if tolerance else None
        ),
        "tolerance": tolerance,
        "spread": spread,
        "distinct_categories": distinct_categories(sd["part"] ** 2, sd["rr"] ** 2),
        "anova": [],
    }  # fmt: skip
    if isinstance(found, Study):
        from gaugelink.metrology.study_limits import limits  # noqa: PLC0415

        document["interaction"] = "pooled" if found.pooled else "kept"
        document["tested_against"] = found.against
        document["anova"] = _table(found, step**2)
        document["sd_95_percent"] = {
            name: [end**0.5 * step for end in ends] for name, ends in limits(found).items()
        }
    else:
        document["mean_range"] = found.mean_range * step
        document["upper_range"] = found.upper_range * step
    return document


def _table(found: Study, square: float) -> list[dict[str, Any]]:
    table = []
    for row in found.rows.values():
        tested = found.tested.get(row.source)
        table.append({
            "source": row.source, "df": row.df, "ss": float(row.ss) * square,
            "ms": float(row.ms) * square,
            "f": tested.f if tested else None, "p": tested.p if tested else None,
        })  # fmt: skip
    total = sum(row.ss for row in found.rows.values())
    df = sum(row.df for row in found.rows.values())
    table.append({"source": "total", "df": df, "ss": float(total) * square, "ms": None, "f": None,
                  "p": None})  # fmt: skip
    return table


def _print(document: dict[str, Any]) -> None:
    unit, share, limits = document["unit"], document["percent_of_tolerance"], document.get(
        "sd_95_percent", {}
    )  # fmt: skip
    print(f"{document['parts']} parts, {document['operators']} operators, "
          f"{document['trials']} trials each")  # fmt: skip
    if document["anova"]:
        print(f"\n{'':<16}{'df':>5}{'sum of squares':>18}{'F':>10}{'p':>10}")
        for row in document["anova"]:
            tail = "" if row["f"] is None else f"{row['f']:>10.4g}{row['p']:>10.4f}"
            print(f"{row['source']:<16}{row['df']:>5}{row['ss']:>18.6g}{tail}")
        print(f"The interaction of parts and people was {document['interaction']}; F of parts "
              f"and people is\nagainst the {document['tested_against']}.")  # fmt: skip
    print(f"\n{'standard deviation':<24}{unit:>10}{'95 %':>22}{'of total':>10}"
          f"{'of tolerance' if share else '':>14}".rstrip())  # fmt: skip
    for name, words in NAMES.items():
        ends = limits.get(name)
        between = f"{ends[0]:.4g} to {ends[1]:.4g}" if ends else ""
        of_tolerance = f"{share[name]:.1f} %" if share else ""
        row = (f"{words:<24}{document['sd'][name]:>10.5g}{between:>22}"
               f"{document['percent_of_total'][name]:>8.1f} %{of_tolerance:>14}")  # fmt: skip
        print(row.rstrip())
    print(f"\nThe gauge tells {document['distinct_categories']} classes of these parts apart.")
    print(_conclusion(document))


def _conclusion(document: dict[str, Any]) -> str:
    """Say what the usual bounds make of it: 10 % and 30 %, and five classes."""
    share = document["percent_of_tolerance"]
    of, percent = (
        ("the tolerance", share["rr"]) if share
        else ("the total", document["percent_of_total"]["rr"])
    )  # fmt: skip
    if percent < 10:
        word = "can judge this"
    elif percent <= 30:
        word = "can judge this with care: near a limit more readings, or a better gauge"
    else:
        word = "cannot judge this: look for a better gauge or another method"
    return (f"Measuring takes {percent:.1f} % of {of}: the gauge {word}\n(usual bounds: 10 % and "
            "30 %, five classes or more).")  # fmt: skip

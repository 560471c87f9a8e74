"""A bench file for the simulated gauges of a scenario, so that a bench can be tried without any."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.simulate.scenario import Scenario


def bench_text(scenario: Scenario, ports: Mapping[str, str]) -> str:
    """Write the bench file.

    Args:
        scenario: the scenario.
        ports: the name of each gauge's port, by its mark.
    """
    about = scenario.scenario
    lines = [
        f"# The simulated gauges of {about.name}, as long as offered; all figures are invented.",
        "[bench]",
        _row("name", about.bench),
        _row("operator", about.operator),
        _row("record", "records"),
        "",
        "[job]",
        _row("name", about.job),
        _row("head", about.head),
        _row("serial", about.serial),
        _row("stage", about.stage),
        _row("sheet", about.sheet),
        "invented = true",
    ]
    for gauge in scenario.gauge:
        lines += [
            "",
            "[[gauge]]",
            _row("id", gauge.id),
            _row("kind", gauge.kind),
            _row("title", gauge.title),
            _row("serial", gauge.serial),
            _row("driver", gauge.driver),
            _row("u", f"{gauge.u / 1000:.6f} mm"),
            *(
                [_row("repeatability", f"{gauge.repeatability / 1000:.6f} mm")]
                if gauge.repeatability is not None
                else []
            ),
            _row("calibration_due", gauge.calibration_due),
            _row("port", ports[gauge.id]),
        ]
    return "\n".join(lines) + "\n"


def _row(key: str, text: str) -> str:
    return f"{key} = {json.dumps(text, ensure_ascii=False)}"  # TOML writes such texts alike

"""``gaugelink driver check`` says whether a driver file is understood, and by whom it is not."""

from __future__ import annotations

import json
import re

import pytest

from gaugelink import content

DRIVERS = content.names("drivers")


@pytest.mark.parametrize("name", DRIVERS)
def test_every_driver_that_ships_understands_its_examples(name, run_cli):
    status, out, err = run_cli("driver", "check", name, "--json")
    assert (status, err) == (0, "")
    document = json.loads(out)
    assert document["driver"] == name
    assert any(item["gives"].startswith("the value ") for item in document["examples"])


def test_an_example_that_promises_another_value_is_named_with_its_line(run_cli, tmp_path):
    text, _ = content.read("drivers", "signed-line")
    wrong = text.replace('value = "2.1380"', 'value = "2.1390"', 1)
    assert wrong != text
    path = tmp_path / "my-gauge.toml"
    path.write_text(wrong, encoding="utf-8")
    status, out, err = run_cli("driver", "check", path)
    assert (status, out) == (2, "")
    assert re.search(r"my-gauge\.toml, line \d+, example\.1: found the value 2\.1380 mm", err)
    assert len(err.splitlines()) == 1


def test_a_newcomer_adds_a_gauge_with_a_text_editor(run_cli, tmp_path, monkeypatch):
    """As hardware_notes/adding-a-gauge.md has it: copy, paste a caught line, ask."""
    text, _ = content.read("drivers", "signed-line")
    head, _, _ = text.partition("[[example]]")
    caught = '[[example]]\nbytes = "- 12.3456 MM\\r"\nvalue = "-12.3456"\nunit = "mm"\n'
    own = tmp_path / "drivers"
    own.mkdir()
    mine = head.replace('name = "signed-line"', 'name = "my-gauge"') + caught
    (own / "my-gauge.toml").write_text(mine, encoding="utf-8")
    monkeypatch.setenv("GAUGELINK_CONTENT", str(tmp_path))
    status, out, _ = run_cli("driver", "check", "my-gauge")
    assert status == 0
    assert "It understands every example." in out
    (tmp_path / "sent.bin").write_bytes(b"-  0.5000 MM\r")
    status, out, _ = run_cli("decode", "--driver", "my-gauge", tmp_path / "sent.bin", "--json")
    assert status == 0
    assert json.loads(out.splitlines()[0])["value"] == "-0.5000"

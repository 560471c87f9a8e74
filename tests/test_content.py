"""Content files are found by name, the user's own first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gaugelink import content
from gaugelink.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path


def test_the_shipped_content_is_found():
    assert {"signed-line", "bcd52", "scale24", "plain-line", "mode-line"} <= set(
        content.names("drivers")
    )
    assert "demo-head" in content.names("sim")
    assert "demo-pump-engine" in content.names("sim/sheets")


def test_every_kind_has_a_folder():
    for kind in content.KINDS:
        assert content.folders(kind), kind


def test_the_users_own_file_adds_and_overrides(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    own = tmp_path / "drivers"
    own.mkdir()
    (own / "scale24.toml").write_text("# mine\n", encoding="utf-8")
    (own / "another.toml").write_text("# new\n", encoding="utf-8")
    monkeypatch.setenv("GAUGELINK_CONTENT", str(tmp_path))
    assert "another" in content.names("drivers")
    assert content.read("drivers", "scale24")[0] == "# mine\n"
    assert "bcd52" in content.names("drivers")


def test_an_unknown_name_is_answered_with_the_names_there_are():
    with pytest.raises(InputError, match=r"found 'nobody', accepted: .*scale24"):
        content.read("drivers", "nobody")


@pytest.mark.parametrize("name", ["../../etc/passwd", "..", "drivers/scale24", "a b"])
def test_a_name_never_reaches_out_of_its_folder(name: str):
    with pytest.raises(InputError):
        content.read("drivers", name)


def test_a_file_that_is_no_text_is_refused_in_one_sentence(tmp_path: Path):
    path = tmp_path / "x.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8 text"):
        content.read("drivers", str(path))

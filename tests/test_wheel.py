"""Everything that a user needs is in the wheel."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
CONTENT = ("drivers", "sim", "dashboards", "hardware_notes")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the wheel under test, or build one from the sources."""
    if given := os.environ.get("GAUGELINK_WHEEL"):
        return Path(given)
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), "."],
        cwd=ROOT, check=True, capture_output=True, timeout=150,
    )  # fmt: skip
    [path] = out.glob("*.whl")
    return path


def _sources(folder: Path) -> list[Path]:
    return [
        path for path in folder.rglob("*")
        if path.is_file() and not any(part.startswith((".", "__pycache__")) for part in path.parts)
    ]  # fmt: skip


@pytest.mark.parametrize("folder", CONTENT)
def test_every_content_file_is_in_the_wheel(wheel: Path, folder: str):
    names = zipfile.ZipFile(wheel).namelist()
    if not (ROOT / folder).is_dir():
        # The sources are out of reach: the installed package is what is looked at.
        assert any(name.startswith(f"gaugelink/_shipped/{folder}/") for name in names)
        return
    files = _sources(ROOT / folder)
    assert files
    for path in files:
        inside = f"gaugelink/_shipped/{path.relative_to(ROOT).as_posix()}"
        assert inside in names, f"{path} is not in the wheel"


def test_every_file_of_the_package_is_in_the_wheel(wheel: Path):
    names = zipfile.ZipFile(wheel).namelist()
    assert "gaugelink/py.typed" in names
    if (ROOT / "gaugelink").is_dir():
        files = [p for p in _sources(ROOT / "gaugelink") if "_shipped" not in p.parts]
        assert len(files) > 50
        for path in files:
            assert path.relative_to(ROOT).as_posix() in names


def test_the_wheel_holds_nothing_else(wheel: Path):
    for name in zipfile.ZipFile(wheel).namelist():
        assert name.startswith(("gaugelink/", "gaugelink-")), name
        assert not name.endswith((".pyc", ".pem", ".sqlite"))

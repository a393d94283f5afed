"""The rules of the house, each held by a tool, so that nobody has to remember them."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
BIN = Path(sys.executable).parent


def run(*command: str) -> None:
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=600, check=False)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout[-6000:]}\n{done.stderr[-3000:]}"


@pytest.mark.parametrize(
    "command",
    [
        ("ruff", "check", "."),
        ("ruff", "format", "--check", "."),
        ("mypy",),
        ("lint-imports", "--no-cache"),
        ("deptry", "pinmap"),
    ],
    ids=["lint", "format", "types", "arrows", "dependencies"],
)
def test_house_rule(command: tuple[str, ...]) -> None:
    run(str(BIN / command[0]), *command[1:])


def test_top_level_is_fixed() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split(
        "\n"
    )
    top = {name.split("/")[0] for name in listed if name and not name.startswith(".")}
    assert top == {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "pinmap", "templates", "static", "migrations", "tests",
    }  # fmt: skip


def test_tests_mirror_the_package() -> None:
    """A test module stands where its subject stands; tests of the whole (bench, browser, processes, top level) stand
    apart."""
    strays = []
    for path in (ROOT / "tests").rglob("test_*.py"):
        inside = path.relative_to(ROOT / "tests").parent
        if inside.parts[:1] in {(), ("bench",), ("browser",), ("processes",)}:
            continue
        if not (ROOT / "pinmap" / inside).is_dir():
            strays.append(str(path))
    assert not strays


def test_readme_gives_two_commands_and_the_settings() -> None:
    readme = (ROOT / "README.md").read_text()
    assert len(re.findall(r"^    python3 -m venv", readme, re.M)) == 2
    from pinmap.settings import Settings

    missing = [name for name in Settings.model_fields if f"PINMAP_{name.upper()}" not in readme]
    assert not missing, f"README.md does not name the settings {missing}"

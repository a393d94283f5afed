"""Runs netlists through ngspice, many in one process."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest


def ngspice() -> str:
    """The solver's path; the test is skipped where it is not installed, but never in continuous integration."""
    found = shutil.which("ngspice")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("ngspice is not installed")
        pytest.skip("ngspice is not installed")
    return found


def operating_points(netlists: Sequence[str], folder: Path) -> list[dict[str, float]]:
    """Node -> volts for each netlist, in order."""
    program = ngspice()
    script = ["all circuits", ".control", "set filetype=binary"]
    for i, text in enumerate(netlists):
        (folder / f"c{i}.cir").write_text(text)
        script += [f"source {folder}/c{i}.cir", "op", f"write {folder}/c{i}.raw", "destroy all", "remcirc"]
    script += ["quit", ".endc", ".end", ""]
    (folder / "run.cir").write_text("\n".join(script))
    done = subprocess.run(
        [program, "-b", str(folder / "run.cir")], capture_output=True, text=True, timeout=500, check=False,
        stdin=subprocess.DEVNULL,
    )  # fmt: skip
    out = []
    for i in range(len(netlists)):
        raw = folder / f"c{i}.raw"
        assert raw.exists(), f"the circuit solver has no answer to netlist {i}:\n{netlists[i]}\n{done.stderr[-2000:]}"
        out.append(_read_raw(raw.read_bytes()))
    return out


def _read_raw(data: bytes) -> dict[str, float]:
    head, _, body = data.partition(b"Binary:\n")
    lines = head.decode().splitlines()
    start = lines.index("Variables:") + 1
    names = [line.split()[1] for line in lines[start:] if line.strip()]
    values = np.frombuffer(body[: 8 * len(names)], dtype="<f8")
    out = {}
    for name, value in zip(names, values.tolist(), strict=True):
        if name.startswith("v(") or "#" not in name:
            out[name.removeprefix("v(").removesuffix(")")] = value
    return out

"""The command line as a script sees it: output, standard error, exit status."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

ISO_1724 = """connector,cavity,function
12N,1,Left turn
12N,2,Rear fog lamp
12N,3,Ground
12N,4,Right turn
12N,5,"Right tail, clearance, plate lamp"
12N,6,Stop lamps
12N,7,"Left tail, clearance, plate lamp"
"""
ISO_11446 = """Socket;Pin;Use
13P;1;left turn
13P;2;rear fog
13P;3;ground for 1-8
13P;4;right turn
13P;5;right tail, clearance, plate
13P;6;stop
13P;7;left tail, clearance, plate
13P;8;reversing
13P;9;+12 V permanent
13P;10;+12 V ignition
13P;11;ground for 10
13P;12;reserved
13P;13;ground for 9
"""


def pinmap(tmp_path: Path, *arguments: str, url: str = "") -> subprocess.CompletedProcess[str]:
    environment = {
        **os.environ,
        "PINMAP_DATABASE_URL": url or f"sqlite:///{tmp_path / 'shop.sqlite3'}",
        "PYTHONPATH": str(ROOT),
    }
    return subprocess.run(
        [sys.executable, "-m", "pinmap", *arguments], cwd=tmp_path, env=environment, capture_output=True, text=True,
        timeout=120, check=False,
    )  # fmt: skip


@pytest.fixture
def lists(tmp_path: Path) -> Path:
    (tmp_path / "a.csv").write_text(ISO_1724)
    (tmp_path / "b.csv").write_text(ISO_11446)
    return tmp_path


def test_cross_as_csv(lists: Path) -> None:
    """The adapter between ISO 1724 and ISO 11446 is the identity on seven cavities; six stay unmatched."""
    done = pinmap(lists, "cross", "a.csv", "b.csv", "--csv")
    assert done.returncode == 0, done.stderr
    rows = list(csv.DictReader(io.StringIO(done.stdout)))
    columns = ["from_connector", "from_cavity", "to_connector", "to_cavity", "function", "confidence", "reason"]
    assert list(rows[0]) == columns
    assert [(r["from_connector"], r["from_cavity"], r["to_connector"], r["to_cavity"]) for r in rows] == [
        ("12N", str(n), "13P", str(n)) for n in range(1, 8)
    ]
    assert all(0.8 <= float(r["confidence"]) <= 1 for r in rows)
    left = [line for line in done.stderr.splitlines() if "unmatched" in line]
    assert [line.split(": ")[1].split()[0] for line in left] == [f"13P-{n}" for n in range(8, 14)]
    assert all("b.csv" in line for line in left)


def test_cross_as_json_is_its_mirror_when_turned_round(lists: Path) -> None:
    there = json.loads(pinmap(lists, "cross", "a.csv", "b.csv", "--json").stdout)
    back = json.loads(pinmap(lists, "cross", "b.csv", "a.csv", "--json").stdout)
    pairs = {(p["from_cavity"], p["to_cavity"], p["confidence"]) for p in there["pairs"]}
    assert pairs == {(p["to_cavity"], p["from_cavity"], p["confidence"]) for p in back["pairs"]}
    assert there["left_b"] == back["left_a"]


def test_a_row_that_cannot_be_read_is_named(lists: Path) -> None:
    (lists / "bad.csv").write_text("connector,cavity,function,current_a\nX,1,Left turn,2\nX,2,Stop lamps,lots\n")
    done = pinmap(lists, "cross", "bad.csv", "b.csv", "--csv")
    assert done.returncode == 0
    assert "bad.csv row 3: current_a" in done.stderr
    assert "Stop" not in done.stdout


def test_a_file_that_is_no_table_is_one_message(lists: Path) -> None:
    (lists / "bad.xlsx").write_bytes(b"PK\x03\x04 nothing")
    done = pinmap(lists, "cross", "bad.xlsx", "b.csv")
    assert done.returncode == 2
    assert done.stderr.startswith("pinmap: ")
    assert "Traceback" not in done.stderr


def test_job_out_check_build_and_in_again(tmp_path: Path) -> None:
    listed = json.loads(pinmap(tmp_path, "jobs", "--json").stdout)
    finished = next(j for j in listed if not j["undecided"])
    half_way = next(j for j in listed if j["undecided"])
    assert pinmap(tmp_path, "job", "export", finished["key"], "job.json").returncode == 0
    plain = json.loads((tmp_path / "job.json").read_text())

    checked = pinmap(tmp_path, "check", "job.json", "--json")
    assert checked.returncode == 0, checked.stdout[-2000:]
    wrong = pinmap(tmp_path, "check", half_way["key"])
    assert wrong.returncode == 1
    assert "R62" in wrong.stdout

    sized = pinmap(tmp_path, "size", "job.json", "--signal", "s003", "--json")
    assert sized.returncode == 0, sized.stderr
    assert "round" not in sized.stderr, "progress is for a terminal"
    proposal = json.loads(sized.stdout)
    assert proposal["copper_kg"] <= proposal["copper_before_kg"]
    assert {line["signal"] for line in proposal["lines"]} == {"s003"}
    assert pinmap(tmp_path, "size", "job.json", "--signal", "nothing").returncode == 2

    built = pinmap(tmp_path, "build", "job.json", "--out", "built", "--json")
    assert built.returncode == 0, built.stderr
    names = json.loads(built.stdout)["files"]
    assert {Path(n).suffix for n in names} >= {".csv", ".xlsx", ".pdf", ".svg"}
    assert all((tmp_path / "built" / n).stat().st_size > 100 for n in names)

    (tmp_path / "shop.sqlite3").unlink()
    other = {**plain}
    text = json.dumps(other).replace(f'"key": "{finished["key"]}"', '"key": "brought-in"', 1)
    (tmp_path / "other.json").write_text(text)
    taken = pinmap(tmp_path, "job", "import", "other.json", "--json")
    assert taken.returncode == 0, taken.stderr
    assert pinmap(tmp_path, "job", "export", "brought-in", "again.json").returncode == 0
    assert json.loads((tmp_path / "again.json").read_text()) == json.loads(text)


def test_pinout_is_all_or_nothing(lists: Path) -> None:
    (lists / "bad.csv").write_text("connector,cavity,function,current_a\nX,1,Left turn,2\nX,2,Stop lamps,lots\n")
    refused = pinmap(lists, "pinout", "bad.csv", "--platform", "bench")
    assert refused.returncode == 2
    assert "row 3" in refused.stderr
    taken = pinmap(lists, "pinout", "a.csv", "--platform", "bench", "--json")
    assert json.loads(taken.stdout) == {"platform": "bench", "pins": 7}


def test_schema_is_the_one_the_app_publishes(tmp_path: Path) -> None:
    from pinmap.exchange import job_json

    assert json.loads(pinmap(tmp_path, "schema").stdout) == json.loads(json.dumps(job_json.schema()))


def test_unknown_job_is_status_2(tmp_path: Path) -> None:
    done = pinmap(tmp_path, "check", "nowhere")
    assert done.returncode == 2
    assert "nowhere" in done.stderr


def test_what_a_library_prints_does_not_stand_in_the_answer() -> None:
    code = "import os; from pinmap.cli.jobs import own_stdout; own_stdout(); os.write(1, b'noise'); print('answer')"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert (run.stdout, run.stderr) == ("answer\n", "noise")

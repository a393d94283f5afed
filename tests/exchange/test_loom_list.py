"""The list of runs, out and in."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.crossing import edits
from pinmap.core.crossing.edits import part_loom
from pinmap.core.crossing.edits_run_list import take_runs
from pinmap.core.errors import FileRejected
from pinmap.core.model.looms import Fixing, Loom
from pinmap.core.model.words import FixingKind
from pinmap.demo import finished_snapshot
from pinmap.exchange.loom_list import read_runs, table_of
from pinmap.exchange.pinout_in import read_pasted
from pinmap.exchange.tables_csv import csv_text


def test_the_demo_goes_out_and_in_without_a_change() -> None:
    snapshot = finished_snapshot()
    table = table_of(snapshot.job)
    lines = read_runs(read_pasted(csv_text(table.headings, table.rows)))
    job, taken = take_runs(snapshot, lines)
    assert len(taken) == len(snapshot.job.segments)
    assert {t.problem for t in taken} == {""}
    assert job == snapshot.job


def test_two_looms_go_out_and_in_without_a_change() -> None:
    snapshot = finished_snapshot()
    assert "loom" not in table_of(snapshot.job).headings
    job = part_loom(snapshot.job, "J6-J9", at_m=0.2, loom=Loom(key="l2", name="Starter loom"), name="X90")
    table = table_of(job)
    assert {row[-1] for row in table.rows} == {"Engine and front loom", "Starter loom"}
    lines = read_runs(read_pasted(csv_text(table.headings, table.rows)))
    again, taken = take_runs(replace(snapshot, job=job), lines)
    assert {t.problem for t in taken} == {""}
    assert again == job


@pytest.mark.parametrize(
    ("text", "length_m"),
    [("450", 0.45), ("450 mm", 0.45), ("0,45 m", 0.45), ("18 in", 0.4572), ("45cm", 0.45), ("1.5 ft", 0.4572)],
)
def test_lengths_as_people_write_them(text: str, length_m: float) -> None:
    (line,) = read_runs(read_pasted(f"from;to;length\nA;B;{text}\n"))
    assert (line.length_m, line.problem) == (length_m, "")


@pytest.mark.parametrize("text", ["long", "450 parsec", "--", "1e9e9"])
def test_a_length_that_is_none_is_a_problem_of_its_line(text: str) -> None:
    (line,) = read_runs(read_pasted(f"from;to;length\nA;B;{text}\n"))
    assert line.length_m is None
    assert text in line.problem


def test_a_list_without_ends_is_refused_with_the_columns_it_needs() -> None:
    with pytest.raises(FileRejected, match=r"no column from, to.* run, from, to, length_mm"):
        read_runs(read_pasted("pin;length\n1;2\n"))


def test_fixings_go_out_and_in_with_their_runs() -> None:
    snapshot = finished_snapshot()
    one, two = snapshot.job.segments[:2]
    job = edits.add_fixing(
        snapshot.job, Fixing(key="c1", segment=one.key, kind=FixingKind.CLIP, at_m=0.02, inner_mm=14.5, part="P 7")
    )
    job = edits.add_fixing(job, Fixing(key="g1", segment=one.key, kind=FixingKind.GROMMET, at_m=0.0, inner_mm=30.0))
    held = replace(snapshot, job=job)
    table = table_of(job)
    assert table.rows[0][-1] == "clip 20 mm ø 14.5 part P 7; grommet 0 mm ø 30"
    text = csv_text(table.headings, table.rows)
    same, taken = take_runs(held, read_runs(read_pasted(text)))
    assert (same, {t.problem for t in taken}) == (job, {""})
    again, _ = take_runs(snapshot, read_runs(read_pasted(text)))
    assert {replace(f, key="") for f in again.fixings} == {replace(f, key="") for f in job.fixings}
    # From the other end, and in place of what was there; a blank leaves what is.
    length_mm = two.length_m * 1000
    line = f"run;from;to;length_mm;fixings\n{two.key};{two.b};{two.a};{length_mm:g};clip 30 ø 9\n{one.key};;;;\n"
    turned, taken = take_runs(held, read_runs(read_pasted(line)))
    assert {t.problem for t in taken} == {""}
    assert {f.segment: f.at_m for f in turned.fixings if f.segment == two.key} == {
        two.key: pytest.approx(two.length_m - 0.03)
    }
    assert {f for f in turned.fixings if f.segment == one.key} == set(job.fixings)


@pytest.mark.parametrize("text", ["clamp 120 mm ø 14", "clip ø 14", "clip 120", "clip 1 mm ø 14; what"])
def test_a_fixing_that_cannot_be_read_is_a_problem_of_its_line(text: str) -> None:
    (line,) = read_runs(read_pasted(f"from,to,length,fixings\nA,B,450,{text}\n"))
    assert "fixings" in line.problem

"""Tables and pictures to build by, as pages and as files."""

from __future__ import annotations

import csv
import io

import pytest

from tests.factories_web import JOB, Visitor


def test_the_build_table_and_its_file_say_the_same(bench: Visitor) -> None:
    ids = [r.th.get_text().strip() for r in bench.open(f"{JOB}/build").page.select("#rows tr")]
    assert ids == ["1A", "1B", "2A"]
    answer = bench.client.get(f"{JOB}/build/files/build-table.csv")
    assert answer.headers["content-disposition"].startswith("attachment")
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [r[0] for r in rows if r and r[0] in ids] == ids


@pytest.mark.parametrize("name", ["cut", "parts", "labels"])
def test_lists(bench: Visitor, name: str) -> None:
    assert bench.open(f"{JOB}/build/{name}").page.select("table tbody tr")


def test_a_loom_without_splices_has_an_empty_list_of_them(bench: Visitor) -> None:
    assert "Splices" in bench.open(f"{JOB}/build/splices").text


def test_pictures(bench: Visitor) -> None:
    for page in ("plan", "map", "faces"):
        assert bench.open(f"{JOB}/build/{page}").page.select(".drawing svg"), page
    assert bench.open(f"{JOB}/build/faces?connector=rig|C1").page.select("svg")
    assert bench.open(f"{JOB}/build/faces?page=99").status == 200
    bench.open(f"{JOB}/build/faces?page=0", status=422)


def test_the_ring_out_has_a_line_for_each_wire(bench: Visitor) -> None:
    text = bench.open(f"{JOB}/prove").text
    assert "Ring-out" in text
    assert "1A" in text


def test_what_is_not_there(bench: Visitor) -> None:
    for address in ("build/nothing", "build/files/nothing.csv", "build/files/build-table.exe", "build?variant=none"):
        assert bench.client.get(f"{JOB}/{address}").status_code == 404, address

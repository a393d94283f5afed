"""The list of jobs, a new job, a job file in."""

from __future__ import annotations

import json

from pinmap.services import jobs
from tests.factories_web import JOB, Visitor


def test_the_list_names_every_job_with_how_far_it_is(bench: Visitor) -> None:
    rows = {r.th.get_text(): r.get_text(" ") for r in bench.open("/").page.select("tbody tr")}
    assert "Rig" in rows["Bench"]
    assert "Cart" in rows["Bench"]
    assert "4" in rows["Bench"]
    assert "none" in rows["Bench done"]


def test_a_new_job_stands_on_what_was_ticked(bench: Visitor) -> None:
    bench.open("/").follow("New job")
    bench.sent("/jobs/new", {"name": "Third", "customer": "Ann", "pick": ["rig|", "cart|late", "lone|"]})
    assert bench.notice() == "The job is made; Pinmap proposes what meets what"
    job = jobs.get(bench.shop, "third").job
    assert (job.name, job.customer) == ("Third", "Ann")
    assert [(s.role.value, s.picks[0].platform) for s in job.seats] == [
        ("donor", "rig"),
        ("host", "cart"),
        ("accessory", "lone"),
    ]


def test_a_job_without_a_host_is_refused_and_what_was_typed_stays(bench: Visitor) -> None:
    bench.open("/jobs/new").send("/jobs/new", {"name": "Third", "pick": ["rig|"]}).refused("tick a host")
    again = bench.form("/jobs/new").values()
    assert again["name"] == ["Third"]
    assert again["pick"] == ["rig|"]
    bench.sent("/jobs/new", {"pick": ["rig|", "cart|late"]})


def test_a_job_file_goes_out_and_in(bench: Visitor) -> None:
    file = bench.client.get(f"{JOB}/job.json").content
    bench.open("/").send("/jobs/import", file=("bench.json", file)).refused("import it under a new key")
    bench.open("/").sent("/jobs/import", {"rename": "yes"}, file=("bench.json", file))
    assert bench.notice() == "The job file is in"
    assert jobs.get(bench.shop, "bench-2").job.signals == jobs.get(bench.shop, "bench").job.signals


def test_a_file_that_is_no_job_is_refused_by_name(bench: Visitor) -> None:
    for data in (b"", b"{", b"[]", json.dumps({"format": "other"}).encode()):
        bench.open("/").send("/jobs/import", file=("x.json", data)).refused()
        assert bench.page.select_one(".notice.bad")
    assert {line.key for line in jobs.list_jobs(bench.shop)} == {"bench", "bench-done"}

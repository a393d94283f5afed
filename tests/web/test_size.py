"""Sizing: looked at, confirmed, set; never what was not shown."""

from __future__ import annotations

from pinmap.services import jobs
from tests.factories_web import DONE, JOB, Visitor

PAGE = f"{JOB}/check/sizing"


def test_nothing_is_sized_before_it_is_asked_for(bench: Visitor) -> None:
    assert "Choose a signal, a feed or the whole job" in bench.open(PAGE).text


def test_a_proposal_is_set_after_it_was_looked_at(bench: Visitor) -> None:
    bench.open(f"{PAGE}?signal=s001")
    assert "Set these 2 sizes" in bench.text
    bench.sent(PAGE)
    assert bench.notice() == "The proposed sizes are in the job"
    sizes = {m.mm2 for m in jobs.get(bench.shop, "bench").snapshot.signal["s001"].members}
    assert sizes == {0.5}
    assert "Set these" not in bench.open(f"{PAGE}?signal=s001").text


def test_another_proposal_than_the_shown_one_is_not_set(bench: Visitor) -> None:
    bench.open(f"{PAGE}?signal=s001")
    data = bench.form(PAGE).values() | {"stamp": ["another"]}
    bench.post(PAGE, data).refused("is not the one that was shown")
    assert jobs.get(bench.shop, "bench").version == int(data["version"][0])


def test_what_is_not_there_is_refused_and_no_wires_are_no_failure(bench: Visitor) -> None:
    assert bench.open(f"{PAGE}?signal=nothing", status=422).text.count("choose a signal from the list") == 1
    assert "choose a feed from the list" in bench.open(f"{PAGE}?feed=nothing", status=422).text
    assert bench.open(f"{DONE}/check/sizing?whole=yes").status == 200

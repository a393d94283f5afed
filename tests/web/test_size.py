"""Sizing: looked at, confirmed, set; never what was not shown."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from datetime import timedelta

import pytest

from pinmap.core.electrics.size_watch import Progress
from pinmap.core.errors import StructureError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Snapshot
from pinmap.services import jobs, size_search, sizing
from pinmap.services.analysis import analyse
from pinmap.services.shop import Shop
from pinmap.services.sizing import Proposal
from pinmap.store import jobs as rows
from pinmap.store import searches
from pinmap.store.base import now
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


def test_a_search_that_takes_longer_shows_how_far_it_is_and_ends_with_the_best_so_far(
    bench: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = sizing.propose

    def until_stopped(
        snapshot: Snapshot, words: Dictionary, scope: Collection[str] | None, tell: Callable[[Progress], bool]
    ) -> Proposal:
        while tell(Progress(rounds=2, proving=True, best_kg=1.5, bound_kg=1.25, seconds=7.0)):
            time.sleep(0.05)
        return real(snapshot, words, scope)

    monkeypatch.setattr(size_search, "PATIENCE_S", 0.3)
    monkeypatch.setattr(sizing, "propose", until_stopped)
    bench.open(f"{PAGE}?signal=s001")
    assert "Stop and take the best so far" in bench.text
    assert "Set these" not in bench.text
    bench.open(f"{PAGE}/progress?signal=s001")
    for said in ("1.5 kg", "1.25 kg", "7 s"):
        assert said in bench.text
    elsewhere = Shop(str(bench.shop.engine.url.render_as_string(hide_password=False)))  # as another process sees it
    view = jobs.get(elsewhere, "bench")
    done = sizing.wires_of(analyse(view.snapshot, view.snapshot.variants[0], view.dictionary), "s001")
    asked = size_search.question(view.snapshot, view.dictionary, done)
    assert size_search.search(elsewhere, "bench", view.snapshot, view.dictionary, done).progress.best_kg == 1.5
    size_search.stop(elsewhere, "bench", asked)
    until = time.monotonic() + 60
    while not size_search.standing(elsewhere, "bench", asked).ended and time.monotonic() < until:
        time.sleep(0.05)
    assert bench.open(f"{PAGE}/progress?signal=s001").answer.headers["HX-Refresh"] == "true"
    assert "Set these 2 sizes" in bench.open(f"{PAGE}?signal=s001").text
    elsewhere.close()


def test_a_search_whose_process_ended_is_begun_anew_and_one_that_failed_says_why(
    bench: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    view = jobs.get(bench.shop, "bench")
    scope = sizing.wires_of(analyse(view.snapshot, view.snapshot.variants[0], view.dictionary), "s001")
    asked = size_search.question(view.snapshot, view.dictionary, scope)
    with bench.shop.write() as session:
        job_id = rows.versions(session, "bench").job_id
        searches.begin(session, job_id, asked, "gone", now() - size_search.SILENT - timedelta(seconds=1))
    assert "Set these 2 sizes" in bench.open(f"{PAGE}?signal=s001").text

    def refused(*_: object) -> Proposal:
        raise StructureError("nothing leads there")

    monkeypatch.setattr(sizing, "propose", refused)
    assert "leads there" in bench.open(f"{PAGE}?whole=yes", status=422).text
    assert "leads there" in bench.open(f"{PAGE}?whole=yes", status=422).text, "it was not tried again"

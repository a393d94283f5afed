"""Findings and their acceptance, wires, loads."""

from __future__ import annotations

from pinmap.services import jobs
from tests.factories_web import JOB, Visitor

PAGE = f"{JOB}/check"


def test_findings_are_listed_and_one_is_accepted_by_name(bench: Visitor) -> None:
    bench.open(PAGE)
    before = len(bench.page.select("article.finding"))
    assert before
    finding = bench.form(f"{PAGE}/accept").values()["finding"][0]
    bench.sent(f"{PAGE}/accept", {"reason": "measured by hand"}, hidden={"finding": finding})
    assert bench.notice() == "Accepted; it stays listed"
    assert len(bench.page.select("article.finding")) == before
    assert "Accepted by A. Fitter: measured by hand" in bench.text
    made = jobs.get(bench.shop, "bench").job.acceptances[0]
    assert (made.finding, made.by, made.reason) == (finding, "A. Fitter", "measured by hand")


def test_notes_that_say_the_same_of_many_places_are_folded(visitor: Visitor) -> None:
    page = visitor.open("/jobs/q24-brindle/check").page
    folded = page.select("details.many")
    assert folded
    for fold in folded:
        said = {(f.select_one(".tag").get_text(), f.select_one("h3 a").get_text()) for f in fold.select("article")}  # type: ignore[union-attr]  # each has them
        assert len(said) == 1
        assert "note" in {severity for severity, _ in said}
        assert f"at {len(fold.select('article'))} places" in fold.summary.get_text()  # type: ignore[union-attr]  # it has one


def test_an_acceptance_owes_a_reason(bench: Visitor) -> None:
    bench.open(PAGE)
    finding = bench.form(f"{PAGE}/accept").values()["finding"][0]
    bench.send(f"{PAGE}/accept", {"reason": " "}, hidden={"finding": finding}).refused("reason")
    assert bench.form(f"{PAGE}/accept", finding=finding).tag.find_parent("details").has_attr("open")  # type: ignore[union-attr]  # it stands in one
    assert jobs.get(bench.shop, "bench").job.acceptances == ()


def test_wires_and_loads_in_a_chosen_state(bench: Visitor) -> None:
    rows = [r.th.get_text() for r in bench.open(f"{PAGE}/wires?case=cranking").page.select("tbody tr") if r.th]
    assert {"1A", "1B"} <= {r.split()[0] for r in rows}
    assert "Cranking" in bench.text
    assert bench.open(f"{PAGE}/wires?case=nonsense").status == 200
    assert "C1-1" in bench.open(f"{PAGE}/loads").text

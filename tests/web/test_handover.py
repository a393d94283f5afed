"""Release, links for customers, and what a link opens."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from pinmap.core.crossing import edits
from pinmap.services import jobs, revisions, sharing
from tests.factories_web import DONE, JOB, Visitor


def test_a_release_is_refused_by_name_of_what_is_open(bench: Visitor) -> None:
    bench.open(f"{JOB}/handover")
    assert "pin rig:C1-3 is undecided" in bench.text
    assert not bench.page.select(f'form[action="{JOB}/handover/release"]')
    version = "2"
    bench.post(f"{JOB}/handover/release", {"version": version}).refused("cannot be released yet", "is undecided")


def test_a_release_gets_the_next_letter_and_the_releasers_name(bench: Visitor) -> None:
    bench.open(f"{DONE}/handover").sent(f"{DONE}/handover/release", {"note": "second"})
    assert bench.notice() == "Revision B is released"
    line = revisions.list_revisions(bench.shop, "bench-done")[-1]
    assert (line.letter, line.author, line.note) == ("B", "A. Fitter", "second")
    assert "as revision B froze it" in bench.text
    assert "revision B" in bench.open(DONE).page.select(".journey li.done")[-1].text


def test_what_has_changed_since_the_last_release_is_not_called_the_same(bench: Visitor) -> None:
    version = jobs.get(bench.shop, "bench-done").version
    jobs.edit(bench.shop, "bench-done", version, lambda job, _: edits.update_job(job, note="something new"))
    assert "froze it" not in bench.open(f"{DONE}/handover").text


def _link(bench: Visitor, **typed: str) -> str:
    bench.open(f"{DONE}/handover").sent(f"{DONE}/handover/share", {"label": "Ann"} | typed)
    shown = bench.page.select_one(".notice.good a")
    assert shown is not None
    return str(shown["href"]).removeprefix("http://testserver")


def test_a_link_opens_the_pin_table_to_a_stranger_until_it_is_revoked(bench: Visitor) -> None:
    address = _link(bench)
    assert address not in bench.open(f"{DONE}/handover").answer.text, "the link is shown once"
    stranger = Visitor(TestClient(bench.client.app))
    assert "Crank" in stranger.open(address).text
    assert stranger.answer.headers["x-robots-tag"] == "noindex, nofollow"
    assert not stranger.page.select("nav a[href='/platforms']")
    bench.open(f"{DONE}/handover").sent(f"{DONE}/handover/revoke")
    stranger.open(address, status=404)


def test_a_passphrase_is_asked_for(bench: Visitor) -> None:
    address = _link(bench, passphrase="correct horse")
    stranger = Visitor(TestClient(bench.client.app))
    stranger.open(address, status=403).send(address, {"passphrase": "wrong horse"})
    assert stranger.status == 403
    stranger.send(address, {"passphrase": "correct horse"})
    assert "Crank" in stranger.text


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [({"days": "0"}, "from 1 to"), ({"days": "many"}, "days"), ({"passphrase": "short"}, "eight characters")],
)
def test_a_bad_link_is_refused_and_the_rest_stays_typed(bench: Visitor, typed: dict[str, str], remedy: str) -> None:
    action = f"{DONE}/handover/share"
    bench.open(f"{DONE}/handover").send(action, {"label": "Ann"} | typed).refused(remedy)
    assert bench.form(action).values()["label"] == ["Ann"]
    assert bench.form(action).values()["passphrase"] == [""], "a passphrase is never sent back"
    assert [link.label for link in sharing.list_links(bench.shop, "bench-done")] == ["Customer"]

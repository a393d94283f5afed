"""Checking off at the bench, as a technician does it with a phone: without script, one form after the other."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from urllib.parse import urlencode

import pytest
from fastapi.testclient import TestClient

from pinmap.core.crossing import edits
from pinmap.core.model.people import PersonRole
from pinmap.services import jobs, people, revisions
from pinmap.services.shop import Shop
from pinmap.settings import Settings
from pinmap.web.app import create_app
from tests.factories_people import sign_in
from tests.factories_web import JOB, Visitor
from tests.hostile_corpus import TEXTS
from tests.web.test_hostile_forms import harmless

BENCH = f"{JOB}/bench"


def someone(visitor: Visitor, role: PersonRole) -> Visitor:
    """Somebody else with a browser at the same app; the test person of this role is let in."""
    shop: Shop = visitor.shop
    for entry in people.list_people(shop):
        if entry.person.disabled is not None:
            people.enable(shop, entry.person.id, entry.person.version)
    client = TestClient(visitor.client.app, follow_redirects=True)
    sign_in(client, shop, role)
    return Visitor(client, script=False)


@pytest.fixture
def tess(bench: Visitor) -> Visitor:
    return someone(bench, PersonRole.TECHNICIAN)


def first(visitor: Visitor) -> str:
    """Name of the line at the top."""
    return " ".join(visitor.page.select_one(".to-do h3").get_text(" ").split())  # type: ignore[union-attr]  # else it fails


def tick(visitor: Visitor, verdict: str, typed: dict[str, str] | None = None) -> Visitor:
    """Presses a button of the first line."""
    form = visitor.page.select_one(".to-do form")
    assert form is not None
    ref = str(form.select_one("input[name=line]")["value"])  # type: ignore[index]  # else it fails
    return visitor.send(str(form["action"]), typed or {}, press=f"verdict={verdict}", hidden={"line": ref})


def test_a_technician_goes_down_the_list(tess: Visitor) -> None:
    tess.open(BENCH)
    assert "0 of 3 done" in tess.text
    seen = []
    for _ in range(3):
        seen.append(first(tess))
        tick(tess, "done")
        assert tess.status == 200
        assert f"{seen[-1]}: done, Tess Technician" in tess.text
    assert len(set(seen)) == 3
    assert "This list is finished" in tess.text
    assert "3 of 3 done" in tess.text
    assert tess.answer.url.fragment == "here"


def test_each_list_says_what_to_do(tess: Visitor) -> None:
    for stage, words in (("cut", "mm"), ("ends", "F1-1"), ("continuity", "at most"), ("isolation", "at least 10 MΩ")):
        tess.open(f"{BENCH}?stage={stage}")
        assert words in tess.text
        assert "Airbag" in tess.text
        assert "Injector" in tess.text
    tess.open(f"{BENCH}?stage=nothing", status=422)
    tess.open(f"{BENCH}?stage=ends&place=F1&show=all")
    assert {h.get_text().split(" at ")[1].split("-")[0] for h in tess.page.select(".to-do h3")} == {"F1"}


def test_a_reading_above_the_limit_does_not_pass_and_comes_back(tess: Visitor) -> None:
    tess.open(f"{BENCH}?stage=continuity")
    before = first(tess)
    tick(tess, "passed", {"value": "0,9", "note": "leads nulled"})
    tess.refused("above the limit", "write it down as failed")
    assert tess.page.select_one(".to-do input[name=value]")["value"] == "0,9"  # type: ignore[index]  # else it fails
    assert "leads nulled" in tess.page.select_one(".to-do textarea").get_text()  # type: ignore[union-attr]
    assert first(tess) == before
    tick(tess, "failed", {"value": "0.9", "note": "leads nulled"})
    assert f"{before}: failed; 0.9 Ω; leads nulled, Tess Technician" in tess.text
    assert "passed, 1 failed" in tess.text


def test_two_people_at_one_line_and_at_two(bench: Visitor, tess: Visitor) -> None:
    bert = someone(bench, PersonRole.BUILDER)
    tess.open(BENCH)
    bert.open(BENCH)
    line = first(tess)
    tick(tess, "done")
    tick(bert, "failed")
    assert f"{line}: failed, Bert Builder" in bert.text
    assert "Before that: done, Tess Technician" in bert.text
    assert "both are kept" in bert.text
    tess.open(f"{BENCH}?show=all")
    shown = tess.page.select_one(".to-do")
    assert shown is not None
    assert "Bert Builder" in shown.get_text()
    assert "Tess Technician" in shown.get_text()
    tess.open(BENCH)
    assert first(tess) == f"{line} failed"  # is still to be made good
    tess.send(f"{BENCH}?variant={_variant(tess)}&stage=cut", {}, press="verdict=done", hidden={"line": _second(tess)})
    assert tess.status == 200


def _variant(visitor: Visitor) -> str:
    action = str(visitor.page.select_one(".to-do form")["action"])  # type: ignore[index]  # else it fails
    return action.partition("variant=")[2].partition("&")[0]


def _second(visitor: Visitor) -> str:
    return str(visitor.page.select(".to-do input[name=line]")[1]["value"])


def test_a_wrong_tick_is_taken_back(tess: Visitor) -> None:
    tess.open(BENCH)
    line = first(tess)
    tick(tess, "done")
    form = tess.page.select_one(".just-now form")
    assert form is not None
    ref = str(form.select_one("input[name=line]")["value"])  # type: ignore[index]  # else it fails
    tess.sent(str(form["action"]), {}, press="verdict=taken back", hidden={"line": ref})
    assert "0 of 3 done" in tess.text
    tess.open(BENCH)
    assert first(tess) == line


def test_a_line_that_changed_meanwhile_is_looked_at_again(bench: Visitor, tess: Visitor) -> None:
    tess.open(BENCH)
    version = jobs.get(bench.shop, "bench").version
    jobs.edit(bench.shop, "bench", version, lambda j, _: edits.update_segment(j, "r1", length_m=2.0))
    tick(tess, "done", {"note": "typed"})
    tess.refused("has changed since the page was opened", "Nothing was written down")
    assert "typed" in tess.page.select_one(".to-do textarea").get_text()  # type: ignore[union-attr]  # else it fails
    tick(tess, "done", {"note": "typed"})
    assert "done; typed, Tess Technician" in tess.text


def test_a_line_that_changed_afterwards_says_what_changed(bench: Visitor, tess: Visitor) -> None:
    tess.open(BENCH)
    line = first(tess)
    tick(tess, "done")
    version = jobs.get(bench.shop, "bench").version
    jobs.edit(bench.shop, "bench", version, lambda j, _: edits.update_signal(j, "s001", mm2=6.0))
    tess.open(BENCH)
    assert f"{line} to do again" in [" ".join(h.get_text(" ").split()) for h in tess.page.select(".to-do h3")]
    assert "size 4 mm² → 6 mm²" in tess.text
    assert "1 to do again" in tess.text


def test_the_state_stands_where_people_look_for_it(bench: Visitor, tess: Visitor) -> None:
    tess.open(BENCH)
    tick(tess, "done")
    assert "cut: done" in bench.open(f"{JOB}/build").text
    assert "1 of 9 done" in bench.text
    assert bench.open(f"{JOB}/prove").follow("Check off at the bench").page.select(".to-do")
    assert "1 of 9 done" in bench.open(f"{JOB}/handover").text
    bench.open(JOB).follow("Ring out")
    assert "At the bench" in bench.text


def test_a_revision_is_checked_off_and_its_record_goes_along(visitor: Visitor) -> None:
    key = "q24-brindle"
    revisions.release(visitor.shop, key, jobs.get(visitor.shop, key).version, "A. Fitter")
    tess = someone(visitor, PersonRole.TECHNICIAN)
    home = f"/jobs/{key}/revisions/A"
    assert "Nothing was checked off yet" in tess.open(home).text
    tess.open(f"{home}/bench?serial=0042")
    tick(tess, "done", {"note": "=HYPERLINK(1) <script>x</script>"})
    assert tess.status == 200
    assert "=HYPERLINK(1) <script>x</script>" in tess.text
    assert "<script>x" not in tess.answer.text
    assert "0042" in tess.open(home).text
    assert "1 of 852 done" in tess.text
    assert "0042" in tess.open(f"/jobs/{key}/handover").text
    rows = _rows(tess, f"{home}/bench/files/test-record.csv?serial=0042")
    (row,) = [row for row in rows if any("HYPERLINK" in cell for cell in row)]
    assert not any(cell.startswith("=") for cell in row)


def _file(visitor: Visitor, address: str) -> bytes:
    answer = visitor.client.get(address)
    assert answer.status_code == 200, address
    assert answer.headers["content-disposition"].startswith("attachment")
    return answer.content


def _rows(visitor: Visitor, address: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(_file(visitor, address).decode("utf-8-sig"))))


def test_the_test_record_as_files(tess: Visitor) -> None:
    tess.open(f"{BENCH}?stage=isolation")
    tick(tess, "passed", {"value": "500"})
    rows = _rows(tess, f"{BENCH}/files/test-record.csv")
    assert any("passed" in row and "500000000" in row and "Tess Technician" in row for row in rows)
    assert _file(tess, f"{BENCH}/files/test-record.pdf").startswith(b"%PDF")
    assert _file(tess, f"{BENCH}/files/test-record.xlsx").startswith(b"PK")
    tess.open(f"{BENCH}/files/test-record.exe", status=404)


def test_hostile_notes_and_serial_numbers_are_only_text(tess: Visitor) -> None:
    taken = 0
    form = tess.open(f"{BENCH}?stage=continuity&show=all").page.select_one(".to-do form")
    assert form is not None
    data = {str(t["name"]): str(t["value"]) for t in form.select("input[type=hidden]")}
    for text in TEXTS:
        action = str(form["action"]) + "&" + urlencode({"serial": text[:40]}, errors="surrogatepass")
        tess.at = f"{BENCH}?stage=continuity&show=all"
        tess.post(action, data | {"verdict": "failed", "note": text.encode("utf-8", "replace").decode()})
        harmless(tess, text[:60])
        assert tess.status in (200, 404, 422), (text[:60], tess.status)
        taken += tess.status == 200
    assert taken > 200
    tess.open(f"{JOB}/handover")
    harmless(tess, "hand-over")
    for kind in ("csv", "xlsx", "pdf"):
        _file(tess, f"{BENCH}/files/test-record.{kind}?{urlencode({'serial': TEXTS[0][:40]})}")


@pytest.fixture
def reader(bench_copy: Callable[[], AbstractContextManager[str]]) -> Iterator[Visitor]:
    with bench_copy() as url:
        app = create_app(Settings(database_url=url, demo=False, trusted_hosts="testserver"))
        with TestClient(app) as client:
            yield Visitor(client)
        app.state.shop.close()


def test_nobody_checks_off_without_signing_in(reader: Visitor) -> None:
    data = {"line": "x", "as_shown": "x", "verdict": "done"}
    assert reader.client.post(BENCH, data=data).status_code == 401

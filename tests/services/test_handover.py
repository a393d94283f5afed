"""Revisions, share links and outputs."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest
import sqlalchemy as sa

from pinmap.core.crossing import edits
from pinmap.core.errors import Conflict, InputError, NotFound, StructureError
from pinmap.core.facts.functions import FunctionEntry
from pinmap.demo import demo_platforms, finished_snapshot, half_way_job
from pinmap.services import analysis, demo, dictionary, jobs, outputs, revisions, sharing
from pinmap.services.shop import Shop
from pinmap.store.base import now, table

DONE, OPEN = finished_snapshot().job.key, half_way_job().key


@pytest.fixture
def demo_shop(shop: Shop) -> Shop:
    demo.load(shop)
    return shop


def test_demo_comes_back_as_it_was_made(demo_shop: Shop) -> None:
    found = jobs.get(demo_shop, DONE).snapshot
    assert found.job == finished_snapshot().job
    assert set(found.platforms) <= set(demo_platforms())


def test_open_job_is_not_released_and_says_why(demo_shop: Shop) -> None:
    view = jobs.get(demo_shop, OPEN)
    against = revisions.blocks(view)
    assert any("undecided" in text for text in against)
    with pytest.raises(StructureError, match="undecided"):
        revisions.release(demo_shop, OPEN, view.version, "A. Fitter")
    assert revisions.list_revisions(demo_shop, OPEN) == ()


def test_release_share_and_revoke(demo_shop: Shop) -> None:
    view = jobs.get(demo_shop, DONE)
    assert revisions.blocks(view) == ()
    with pytest.raises(InputError, match="author"):
        revisions.release(demo_shop, DONE, view.version, " ")
    line = revisions.release(demo_shop, DONE, view.version, "A. Fitter", "first")
    assert (line.letter, line.content_hash) == ("A", view.snapshot.content_hash)
    with pytest.raises(Conflict):
        revisions.release(demo_shop, DONE, view.version, "A. Fitter")
    token = sharing.create_link(demo_shop, DONE, "A", days=7, label="Customer")
    assert len(token) >= 22  # 128 bits and more
    with demo_shop.read() as session:
        stored = session.execute(sa.select(table("share_link"))).mappings().one()
    assert token not in str(dict(stored))
    assert stored["token_sha256"] == hashlib.sha256(token.encode()).hexdigest()

    def later(job: object, _: object) -> object:
        return edits.update_job(job, note="changed")  # type: ignore[arg-type]  # a Job

    view = jobs.edit(demo_shop, DONE, jobs.get(demo_shop, DONE).version, later)  # type: ignore[arg-type]
    opened = sharing.open_link(demo_shop, token)
    assert opened.snapshot.job.note != "changed"
    assert opened.snapshot.content_hash == line.content_hash
    assert opened.newer == ""
    assert len(opened.rows) > 50
    assert revisions.release(demo_shop, DONE, view.version, "B. Fitter").letter == "B"
    assert sharing.open_link(demo_shop, token).newer == "B"
    (link,) = sharing.list_links(demo_shop, DONE)
    assert (link.state, link.views, link.label) == ("open", 2, "Customer")
    with pytest.raises(NotFound):
        sharing.revoke(demo_shop, OPEN, link.id)
    sharing.revoke(demo_shop, DONE, link.id)
    said = set()
    for wrong in (token, "wrong", "", "nul\x00", "\ud800"):
        with pytest.raises(NotFound) as caught:
            sharing.open_link(demo_shop, wrong)
        said.add(str(caught.value))
    other = sharing.create_link(demo_shop, DONE, "B", days=1)
    with demo_shop.write() as session:
        session.execute(sa.update(table("share_link")).values(expires=now() - timedelta(seconds=1)))
    with pytest.raises(NotFound) as caught:
        sharing.open_link(demo_shop, other)
    assert said == {str(caught.value)}
    with pytest.raises(StructureError, match="2 released"):
        jobs.delete(demo_shop, DONE, jobs.get(demo_shop, DONE).version)


def test_passphrase(demo_shop: Shop) -> None:
    view = jobs.get(demo_shop, DONE)
    revisions.release(demo_shop, DONE, view.version, "A. Fitter")
    with pytest.raises(InputError, match="passphrase"):
        sharing.create_link(demo_shop, DONE, "A", days=1, passphrase="short")
    with pytest.raises(InputError, match="days"):
        sharing.create_link(demo_shop, DONE, "A", days=0)
    with pytest.raises(NotFound):
        sharing.create_link(demo_shop, DONE, "Z", days=1)
    token = sharing.create_link(demo_shop, DONE, "A", days=1, passphrase="correct horse")
    with pytest.raises(InputError, match="passphrase"):
        sharing.unlock(demo_shop, token, "wrong horse", address="one")
    grant = sharing.unlock(demo_shop, token, "correct horse", address="one")
    assert sharing.open_link(demo_shop, token, grant).letter == "A"


def test_revision_keeps_the_dictionary_of_its_time(demo_shop: Shop) -> None:
    dictionary.add(demo_shop, FunctionEntry(code="WINCH", name="Winch", states="F"))
    view = jobs.get(demo_shop, DONE)
    assert view.dictionary.get("WINCH") is not None
    revisions.release(demo_shop, DONE, view.version, "A. Fitter")
    dictionary.delete(demo_shop, "WINCH", 1)
    assert jobs.get(demo_shop, DONE).dictionary.get("WINCH") is None
    assert revisions.get(demo_shop, DONE, "A").dictionary.get("WINCH") is not None


@pytest.mark.parametrize(
    ("count", "letter"), [(0, "A"), (7, "H"), (8, "J"), (22, "Z"), (23, "AA"), (24, "AB"), (46, "BA")]
)
def test_letters(count: int, letter: str) -> None:
    assert revisions.next_letter(["x"] * count) == letter


def test_every_output_can_be_made() -> None:
    snapshot = finished_snapshot()
    variant = snapshot.variants[0]
    signs = {
        "csv": b"\xef\xbb\xbf",
        "xlsx": b"PK",
        "zip": b"PK",
        "pdf": b"%PDF",
        "svg": b"<",
        "json": b"{",
        "dxf": b"0\r\n",
    }
    for name in outputs.NAMES:
        made = outputs.make(snapshot, variant, name)
        assert made.data.startswith(signs[name.rpartition(".")[2]]), name
        assert made.filename.endswith(name)
        assert made.filename == outputs.safe_name(made.filename, 300)
    with pytest.raises(NotFound, match="build-table"):
        outputs.make(snapshot, variant, "../../etc/passwd")


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("Q24 → Brindle 6", "Q24-Brindle-6"), ("../../x", "x"), ("", "file"), ("...", "file"), ('a"\r\nb', "a-b"),
        ("ä" * 300, "a" * 80), (".hidden", "hidden"),
    ],
)  # fmt: skip
def test_file_names_are_harmless(text: str, safe: str) -> None:
    assert outputs.safe_name(text) == safe


def test_analysis_is_remembered_by_content() -> None:
    snapshot = finished_snapshot()
    variant = snapshot.variants[0]
    first = analysis.analyse(snapshot, variant)
    assert analysis.analyse(snapshot, variant) is first
    known = dictionary.merged([dictionary.to_plain(FunctionEntry(code="X9", name="X"))])
    assert analysis.analyse(snapshot, variant, known) is not first


def test_overview_counts_what_is_there(demo_shop: Shop) -> None:
    view = jobs.get(demo_shop, OPEN)
    found = analysis.overview(view.snapshot, view.dictionary)
    assert [s.key for s in found.steps] == [
        "gather", "decide", "layout", "route", "size", "check", "build", "handover",
    ]  # fmt: skip
    assert found.undecided > 0
    assert found.next is not None
    assert found.next.key == "decide"
    decide = found.steps[1]
    assert decide.total - decide.done == found.undecided


def test_dictionary_entries_of_ones_own(shop: Shop) -> None:
    entry = FunctionEntry(code="WINCH", name="Winch", synonyms=("capstan",), current_a=80.0, states="F")
    dictionary.add(shop, entry)
    assert dictionary.own(shop) == ((entry, 1),)
    assert dictionary.entries(shop).get("WINCH") == entry
    with pytest.raises(InputError, match="already"):
        dictionary.add(shop, entry)
    with pytest.raises(InputError, match="states"):
        dictionary.add(shop, FunctionEntry(code="Y", name="Y", states="Z"))
    with pytest.raises(Conflict):
        dictionary.update(shop, entry, 5)
    dictionary.update(shop, FunctionEntry(code="WINCH", name="Rope winch"), 1)
    assert dictionary.entries(shop).by_code["WINCH"].name == "Rope winch"
    with pytest.raises(NotFound):
        dictionary.delete(shop, "NONE", 1)

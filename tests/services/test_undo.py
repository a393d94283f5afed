"""Undo brings back the same content, redo brings back the other; a stale one is refused."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from pinmap.core.crossing import edits
from pinmap.core.errors import Conflict, InputError, StructureError
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Loom, Node, Segment
from pinmap.core.model.words import NodeKind
from pinmap.services import jobs, undo
from pinmap.services.jobs import JobView
from pinmap.services.shop import Shop
from pinmap.store import steps


def _do(shop: Shop, view: JobView, what: str, change: Callable[[Job], Job]) -> JobView:
    def changed(job: Job, _: Snapshot) -> Job:
        return change(job)

    return jobs.edit(shop, view.job.key, view.version, changed, what)


def _with_loom(shop: Shop) -> JobView:
    view = jobs.create_job(shop, "demo", "Demo")
    view = _do(shop, view, "loom", lambda j: edits.add_loom(j, Loom(key="main", name="Loom")))
    for key in ("j1", "j2"):
        node = Node(key=key, loom="main", kind=NodeKind.JUNCTION)
        view = _do(shop, view, f"node {key}", lambda j, node=node: edits.add_node(j, node))
    run = Segment(key="r1", loom="main", a="j1", b="j2", length_m=0.5)
    return _do(shop, view, "run r1", lambda j: edits.add_segment(j, run))


def test_undo_and_redo_give_the_same_content_hash(shop: Shop) -> None:
    view = _with_loom(shop)
    hashes = [view.snapshot.content_hash]
    for mm in (600, 700, 800):
        view = _do(shop, view, f"{mm} mm", lambda j, mm=mm: edits.update_segment(j, "r1", length_m=mm / 1000))
        hashes.append(view.snapshot.content_hash)
    assert len(set(hashes)) == 4
    for expected in reversed(hashes[:-1]):
        view, _ = undo.undo(shop, "demo", view.version)
        assert view.snapshot.content_hash == expected
    for expected in hashes[1:]:
        view, what = undo.redo(shop, "demo", view.version)
        assert view.snapshot.content_hash == expected
    assert what == "800 mm"
    assert jobs.get(shop, "demo").snapshot.content_hash == hashes[-1]


def test_everything_can_be_undone_down_to_the_empty_job(shop: Shop) -> None:
    view = _with_loom(shop)
    assert undo.offered(shop, "demo") == undo.Offer("run r1", "")
    for _ in range(4):
        view, _what = undo.undo(shop, "demo", view.version)
    assert view.job == Job(key="demo", name="Demo")
    assert undo.offered(shop, "demo") == undo.Offer("", "loom")
    with pytest.raises(InputError, match="no change is left"):
        undo.undo(shop, "demo", view.version)


def test_a_new_change_ends_what_could_be_done_again(shop: Shop) -> None:
    view = _with_loom(shop)
    view, _ = undo.undo(shop, "demo", view.version)
    view = _do(shop, view, "rename", lambda j: edits.update_job(j, name="Other"))
    assert undo.offered(shop, "demo") == undo.Offer("rename", "")
    with pytest.raises(InputError):
        undo.redo(shop, "demo", view.version)


def test_a_stale_undo_takes_nothing_back(shop: Shop) -> None:
    view = _with_loom(shop)
    later = _do(shop, view, "rename", lambda j: edits.update_job(j, name="Other"))
    with pytest.raises(Conflict):
        undo.undo(shop, "demo", view.version)
    assert jobs.get(shop, "demo").snapshot.content_hash == later.snapshot.content_hash


def test_what_no_longer_stands_as_the_change_left_it_is_not_undone(shop: Shop) -> None:
    view = _with_loom(shop)
    with shop.write() as session:
        steps.add(session, 1, "elsewhere", '{"name": "Before"}', '{"name": "After"}')
    with pytest.raises(StructureError, match="elsewhere"):
        undo.undo(shop, "demo", view.version)


def test_the_oldest_steps_are_forgotten(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(steps, "KEPT", 3)
    view = _with_loom(shop)
    for _ in range(3):
        view, _what = undo.undo(shop, "demo", view.version)
    assert view.job.looms
    with pytest.raises(InputError):
        undo.undo(shop, "demo", view.version)

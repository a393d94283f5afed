"""Revisions: what a release freezes, comparing, restoring, branching."""

from __future__ import annotations

from dataclasses import replace

import pytest
import sqlalchemy as sa

from pinmap.core.build.comparison import Turn
from pinmap.core.build.rework import Deed
from pinmap.core.crossing import edits
from pinmap.core.errors import Conflict, InputError, NotFound, StructureError
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.rules import registry
from pinmap.demo import finished_snapshot
from pinmap.services import analysis, comparing, demo, jobs, platforms, revisions
from pinmap.services.jobs import JobView
from pinmap.services.shop import Shop

KEY = finished_snapshot().job.key


@pytest.fixture
def demo_shop(shop: Shop) -> Shop:
    demo.load(shop)
    return shop


def change(shop: Shop, **values: object) -> JobView:
    """Changes the second signal of the job."""

    def act(job: Job, _: Snapshot) -> Job:
        second = replace(job.signals[1], **values)  # type: ignore[arg-type]
        return replace(job, signals=(job.signals[0], second, *job.signals[2:]))

    return jobs.edit(shop, KEY, jobs.get(shop, KEY).version, act)


def release(shop: Shop, note: str = "") -> str:
    return revisions.release(shop, KEY, jobs.get(shop, KEY).version, "A. Fitter", note).letter


def test_a_release_freezes_what_was_checked_found_and_accepted(demo_shop: Shop) -> None:
    view = jobs.get(demo_shop, KEY)
    found = analysis.findings(view.snapshot, None, view.dictionary)
    known = {a.finding: (a.by, a.reason) for a in view.job.acceptances}
    one = next(f for f in found if f.key not in known)
    jobs.edit(
        demo_shop, KEY, view.version, lambda j, _: edits.accept_finding(j, one.key, by="B. Owner", reason="known")
    )
    known[one.key] = ("B. Owner", "known")
    release(demo_shop)
    checks = revisions.get(demo_shop, KEY, "A").checks
    assert checks is not None
    assert [r.rule for r in checks.rules] == [info.id for info in registry.rule_list()]
    # Numbers may differ in the last bit: an analysis after an edit takes over the network that was there.
    assert [replace(n.finding, numbers=()) for n in checks.findings] == [replace(f, numbers=()) for f in found]
    assert {n.finding.key: (n.by, n.reason) for n in checks.findings if n.by} == known
    assert sum(r.found for r in checks.rules) == len(found)
    assert checks.passed == len(checks.rules) - len({f.rule for f in found})
    assert checks.program


def test_a_revision_from_before_checks_were_kept_still_opens(demo_shop: Shop) -> None:
    release(demo_shop)
    with demo_shop.write() as session:
        columns = "job_id, author, note, created, content_hash, snapshot, functions"
        session.execute(
            sa.text(f"INSERT INTO revision (letter, {columns}) SELECT 'B', {columns} FROM revision WHERE letter = 'A'")
        )
    assert revisions.get(demo_shop, KEY, "B").checks is None


def test_comparing_says_what_a_builder_needs(demo_shop: Shop) -> None:
    release(demo_shop)
    alike = comparing.compared(demo_shop, KEY, "A")
    assert (alike.alike, alike.sections, alike.tasks) == (True, (), ())
    before = jobs.get(demo_shop, KEY).snapshot.job.signals[1]
    rows = analysis.analyse(alike.new.snapshot, alike.new_variant, alike.new.dictionary).build_rows
    (first, *_) = [r for r in rows if r.signal == before.key]
    other = "VT" if first.colour != "VT" else "PK"
    change(demo_shop, colour=other, members=tuple(replace(m, colour="", mm2=None) for m in before.members), mm2=4.0)
    found = comparing.compared(demo_shop, KEY, "A")
    assert not found.alike
    task = next(t for t in found.tasks if t.what == f"wire {first.wire}")
    assert task.deed is Deed.RECUT
    assert f"{first.mm2:g} mm² → 4 mm²" in task.how
    assert f"{first.colour} → {other}" in task.how
    wires = next(s for s in found.sections if s.subject == "Wires")
    assert wires.count(Turn.ADDED) == wires.count(Turn.REMOVED) == 0
    assert {"Wires", "Parts"} <= {s.subject for s in found.sections}
    assert found.counts[Deed.RECUT] >= 1
    back = comparing.compared(demo_shop, KEY, comparing.DRAFT, "A")
    assert [(s.subject, tuple(d.mirrored for d in s.differences)) for s in back.sections] == [
        (s.subject, s.differences) for s in found.sections
    ]
    with pytest.raises(NotFound):
        comparing.compared(demo_shop, KEY, "Z")


def test_restoring_keeps_the_draft_and_can_be_undone(demo_shop: Shop) -> None:
    released = jobs.get(demo_shop, KEY).snapshot
    release(demo_shop)
    change(demo_shop, note="written after the release")
    later = jobs.edit(
        demo_shop, KEY, jobs.get(demo_shop, KEY).version, lambda j, _: replace(j, next_number=j.next_number + 5)
    )
    with pytest.raises(Conflict):
        revisions.restore(demo_shop, KEY, "A", later.version - 1, "A. Fitter")
    assert revisions.kept_drafts(demo_shop, KEY) == (), "a refused restore keeps nothing"
    restored = revisions.restore(demo_shop, KEY, "A", later.version, "A. Fitter")
    assert restored.snapshot.job == replace(released.job, next_number=later.job.next_number)
    (kept,) = revisions.kept_drafts(demo_shop, KEY)
    assert (kept.who, kept.content_hash) == ("A. Fitter", later.snapshot.content_hash)
    back = revisions.bring_back(demo_shop, KEY, kept.id, restored.version, "A. Fitter")
    assert back.snapshot.content_hash == later.snapshot.content_hash
    assert jobs.get(demo_shop, KEY).snapshot.content_hash == later.snapshot.content_hash
    assert len(revisions.kept_drafts(demo_shop, KEY)) == 2
    with pytest.raises(NotFound):
        revisions.bring_back(demo_shop, KEY, 10**6, back.version, "A. Fitter")


def test_what_the_library_lost_cannot_be_restored_but_branched(demo_shop: Shop) -> None:
    release(demo_shop)
    view = jobs.get(demo_shop, KEY)
    fated = view.job.fates[0].pin
    view = jobs.edit(demo_shop, KEY, view.version, lambda j, _: replace(j, fates=j.fates[1:]))
    for other in [line.key for line in jobs.list_jobs(demo_shop) if line.key != KEY]:
        jobs.delete(demo_shop, other, jobs.get(demo_shop, other).version)
    platform = platforms.get(demo_shop, fated.platform)
    platforms.delete_pin(demo_shop, fated.platform, platform.version, fated)
    with pytest.raises(StructureError, match=f"{fated.cavity}.*branch"):
        revisions.restore(demo_shop, KEY, "A", view.version, "A. Fitter")
    assert revisions.kept_drafts(demo_shop, KEY) == ()
    assert jobs.get(demo_shop, KEY).version == view.version
    made = revisions.branch(demo_shop, KEY, "A", name="For another truck")
    assert made.job.key != KEY
    assert len(made.snapshot.pin) == len(revisions.get(demo_shop, KEY, "A").snapshot.pin)


def test_a_branch_names_its_origin(demo_shop: Shop) -> None:
    release(demo_shop)
    source = revisions.get(demo_shop, KEY, "A").snapshot
    with pytest.raises(InputError, match="name"):
        revisions.branch(demo_shop, KEY, "A", name=" ")
    made = revisions.branch(
        demo_shop, KEY, "A", name="For a customer", customer="C. Driver", note="late truck", who="A. Fitter"
    )
    assert made.job == replace(source.job, key="for-a-customer", name="For a customer", customer="C. Driver")
    assert made.snapshot.platforms == source.platforms, "unchanged pinouts are shared"
    origin = revisions.lineage(demo_shop, "for-a-customer").origin
    assert origin is not None
    assert (origin.job, origin.letter, origin.who, origin.note) == (KEY, "A", "A. Fitter", "late truck")
    assert revisions.lineage(demo_shop, KEY).branches == (("A", "for-a-customer", "For a customer"),)
    assert revisions.list_revisions(demo_shop, "for-a-customer") == ()
    jobs.delete(demo_shop, "for-a-customer", made.version)
    assert revisions.lineage(demo_shop, KEY).branches == ()

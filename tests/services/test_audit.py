"""Every change of the shop is written down with who made it, in the same transaction."""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa

import pinmap.services
from pinmap.core.crossing import edits
from pinmap.core.errors import Conflict, InputError
from pinmap.core.facts.functions import FunctionEntry
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.people import RIGHTS, Actor, PersonRole
from pinmap.core.model.pinouts import Cavity, Connector, Housing, Pin, PinKey
from pinmap.core.model.words import Fate, Role
from pinmap.services import audit, demo, dictionary, housings, jobs, people, platforms, revisions, sharing
from pinmap.services.shop import Shop
from pinmap.store.audit import Entry, Query

KEY = "q24-brindle"


def ann(shop: Shop, role: PersonRole = PersonRole.OWNER) -> Shop:
    """The shop in the hands of somebody who is on file."""
    person, _ = people.invite(shop, "Ann Fitter", "ann", role)
    return shop.acting_as(Actor("Ann Fitter", RIGHTS[role], person.id))


def newest(shop: Shop, **query: str) -> Entry:
    return audit.entries(shop, Query(**query), limit=1).entries[0]


@pytest.fixture
def demo_shop(shop: Shop) -> Shop:
    demo.load(shop)
    return ann(shop)


def _edit(shop: Shop, change: Callable[[Job], Job], what: str = "") -> None:
    jobs.edit(shop, KEY, jobs.get(shop, KEY).version, lambda job, _: change(job), what)


def test_an_edit_of_a_job_is_told_from_what_to_what(demo_shop: Shop) -> None:
    fate = jobs.get(demo_shop, KEY).job.fates[0]
    other = next(f for f in (Fate.PARKED, Fate.CAPPED) if f is not fate.fate)
    _edit(demo_shop, lambda j: replace(j, fates=(replace(fate, fate=other), *j.fates[1:])), "fate decided")
    entry = newest(demo_shop)
    assert (entry.who, entry.kind, entry.subject, entry.what) == ("Ann Fitter", "job", KEY, "fate decided")
    (change,) = entry.changes
    assert (change.field, change.old, change.new) == ("fate", fate.fate.value, other.value)
    pin = fate.pin
    by_pin = newest(demo_shop, platform=pin.platform, connector=pin.connector, cavity=pin.cavity)
    assert by_pin.id == entry.id
    assert newest(demo_shop, who="Ann Fitter").id == entry.id
    with demo_shop.read() as session:
        (person_id,) = session.execute(sa.text(f"SELECT person_id FROM audit WHERE id = {entry.id}")).one()
    assert person_id == demo_shop.actor.person


def test_a_refused_change_leaves_no_entry(demo_shop: Shop) -> None:
    last = newest(demo_shop).id

    def wrong(job: Job, _: Snapshot) -> Job:
        return edits.update_job(job, name="", customer="", note="")

    with pytest.raises(InputError):
        jobs.edit(demo_shop, KEY, jobs.get(demo_shop, KEY).version, wrong)
    with pytest.raises(Conflict):
        jobs.edit(demo_shop, KEY, 0, lambda job, _: replace(job, note="x"))
    with pytest.raises(Conflict):
        platforms.rename(demo_shop, "brindle-6", 0, "Other")
    assert newest(demo_shop).id == last


def test_jobs_come_and_go_with_an_entry_each(demo_shop: Shop) -> None:
    jobs.create_job(demo_shop, "", "Empty one")
    assert newest(demo_shop, subject="empty-one").what == "started"
    made = jobs.copy(demo_shop, KEY, "twin", "Twin")
    assert newest(demo_shop).what == f"copied from the job {KEY}"
    jobs.delete(demo_shop, "twin", made.version)
    gone = newest(demo_shop)
    assert (gone.subject, gone.what) == ("twin", "deleted")
    assert made.snapshot.content_hash in gone.changes[0].old
    jobs.import_json(demo_shop, jobs.export_json(demo_shop, KEY), rename=True)
    assert newest(demo_shop).what == "brought in from a job file"


def test_revisions_and_links_are_written_down(demo_shop: Shop) -> None:
    revisions.release(demo_shop, KEY, jobs.get(demo_shop, KEY).version, "Ann Fitter")
    assert newest(demo_shop).what == "revision A released"
    token = sharing.create_link(demo_shop, KEY, "A", days=3, label="Customer", passphrase="long enough")
    entry = newest(demo_shop)
    assert entry.what == "link to revision A made"
    assert "3 days" in entry.changes[0].new
    told = str(audit.entries(demo_shop, Query()))
    assert token not in told
    assert "long enough" not in told
    sharing.revoke(demo_shop, KEY, sharing.list_links(demo_shop, KEY)[0].id)
    assert newest(demo_shop).what == "link for Customer revoked"
    _edit(demo_shop, lambda j: replace(j, note="later"))
    revisions.restore(demo_shop, KEY, "A", jobs.get(demo_shop, KEY).version, "Ann Fitter")
    entry = newest(demo_shop)
    assert entry.what == "revision A restored"
    assert [(c.field, c.old) for c in entry.changes] == [("note", "later")]
    revisions.branch(demo_shop, KEY, "A", name="Branch")
    assert newest(demo_shop, subject="branch").what == f"branched from the job {KEY}, revision A"
    assert newest(demo_shop, subject=KEY).what == "revision A branched into the job branch"


def test_the_library_is_written_down_pin_by_pin(shop: Shop) -> None:
    shop = ann(shop)
    view = platforms.create(shop, name="Body", role=Role.HOST)
    view = platforms.add_connector(shop, "body", view.version, Connector(name="C1"))
    view = platforms.add_pin(shop, "body", view.version, Pin(connector="C1", cavity="1", function="Lamp"))
    entry = newest(shop)
    assert (entry.kind, entry.subject, entry.what) == ("platform", "body", "pin C1-1")
    assert [c.field for c in entry.changes] == ["added"]
    view = platforms.update_pin(
        shop, "body", view.version, PinKey("body", "C1", "1"), Pin(connector="C1", cavity="1", function="Horn")
    )
    change = newest(shop, platform="body", connector="C1", cavity="1").changes[0]
    assert (change.field, change.old, change.new) == ("function", "Lamp", "Horn")
    platforms.delete(shop, "body", view.version)
    assert newest(shop, kind="platform").what == "deleted"
    assert len(audit.entries(shop, Query(platform="body", cavity="1")).entries) == 3
    housing = Housing(key="own", name="Own", cavities=(Cavity(name="1", column=0, row=0),))
    version = housings.create(shop, housing)
    housings.update(shop, replace(housing, sealed=True), version)
    housings.delete(shop, "own")
    told = [e.what for e in audit.entries(shop, Query(kind="housing", subject="own")).entries]
    assert told == ["deleted", "changed", "added"]
    dictionary.add(shop, FunctionEntry(code="WINCH", name="Winch"))
    dictionary.update(shop, FunctionEntry(code="WINCH", name="Rope winch"), 1)
    change = newest(shop, kind="function").changes[0]
    assert (change.field, change.old, change.new) == ("name", "Winch", "Rope winch")
    dictionary.delete(shop, "WINCH", 2)
    assert newest(shop, kind="function").what == "deleted"


def test_what_is_done_to_people_is_for_owners_to_read(shop: Shop) -> None:
    owner = ann(shop)
    ben, _ = people.invite(owner, "Ben Builder", "ben", PersonRole.TECHNICIAN)
    people.change_role(owner, ben.id, ben.version, PersonRole.BUILDER)
    change = newest(owner, kind="person", subject="ben").changes[0]
    assert (change.field, change.old, change.new) == ("role", "technician", "builder")
    people.disable(owner, ben.id, ben.version + 1)
    assert newest(owner).what == "access ended"
    builder = shop.acting_as(Actor("Ben Builder", RIGHTS[PersonRole.BUILDER], ben.id))
    assert [e for e in audit.entries(builder, Query()).entries if e.kind == "person"] == []


def test_pages_follow_one_another_without_gap(shop: Shop) -> None:
    for n in range(7):
        jobs.create_job(shop, f"j{n}", f"Job {n}")
    seen: list[int] = []
    before = None
    while True:
        page = audit.entries(shop, Query(kind="job"), before, limit=3)
        seen += [e.id for e in page.entries]
        if page.older is None:
            break
        before = page.older
    assert len(seen) == 7
    assert seen == sorted(set(seen), reverse=True)


# What writes without changing anything that the shop's people would look for.
NOT_RECORDED = {
    "throttle": {"count", "was_right"},  # vain tries
    "sessions": {"sign_in", "begin", "find", "sign_out", "end_own"},  # who is signed in where
    "sharing": {"open_link"},  # counts views
    "pinout_import": {"remap", "edit_cell", "choose", "discard", "_stage"},  # nothing is in the library yet
    "presence": {"here"},  # who looks at a job just now
    "questions": {"ask"},  # a reader's question stands in the list of questions itself
    "size_search": {"search", "stop", "_note"},  # how far a search is; what it found is in the job when set
    "people": {"first_link"},  # printed at start, before anybody is there
}
_RECORDERS = {"record", "_note", "edit_in", "change_in", "store_snapshot", "_store_new"}


def test_no_service_writes_without_an_entry() -> None:
    """A function that opens a writing transaction also writes an entry, or stands in the list above with a reason."""
    for path in sorted(Path(pinmap.services.__path__[0]).glob("*.py")):
        tree = ast.parse(path.read_text())
        for function in [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]:
            called = {
                c.func.attr if isinstance(c.func, ast.Attribute) else getattr(c.func, "id", "")
                for c in ast.walk(function)
                if isinstance(c, ast.Call)
            }
            opens = any(
                isinstance(c, ast.Call)
                and isinstance(c.func, ast.Attribute)
                and c.func.attr == "write"
                and getattr(c.func.value, "id", "") == "shop"
                for c in ast.walk(function)
            )
            if opens and function.name not in NOT_RECORDED.get(path.stem, set()):
                assert called & _RECORDERS, f"{path.stem}.{function.name} changes something and writes no entry"

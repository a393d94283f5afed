"""The record of changes is only added to, in the database itself; and is found by thing, person, pin and time."""

from __future__ import annotations

from datetime import timedelta

import pytest
import sqlalchemy as sa

from pinmap.core.crossing.changes import Change
from pinmap.core.model.pinouts import PinKey
from pinmap.services.shop import Shop
from pinmap.store import audit
from pinmap.store.audit import Query
from pinmap.store.base import now

PIN = PinKey("host", "C1", "4", "late")
MOVED = Change("signal 7", "joins", "", str(PIN), PIN)
SIZED = Change("signal 7", "mm2", "0.5", "0.75")


@pytest.fixture
def written(shop: Shop) -> Shop:
    with shop.write() as session:
        audit.add(session, "Ann", "job", "truck", "pins joined", (MOVED, SIZED))
        audit.add(session, "Ben", "platform", "host", "pin C1-4", (Change(f"pin {PIN}", "note", "", "x", PIN),))
        audit.add(session, "Ben", "job", "other", "made", ())
    return shop


@pytest.mark.parametrize(
    "deed",
    [
        "UPDATE audit SET who = 'nobody'",
        "UPDATE audit_change SET new = ''",
        "DELETE FROM audit WHERE id = 3",
        "DELETE FROM audit_change",
    ],
)
def test_nothing_is_taken_back(written: Shop, deed: str) -> None:
    with pytest.raises(sa.exc.DBAPIError, match="only added to"), written.engine.begin() as connection:
        connection.exec_driver_sql(deed)
    with written.read() as session:
        assert [e.who for e in audit.find(session, Query(), limit=9)] == ["Ben", "Ben", "Ann"]


def test_nothing_is_replaced_or_emptied(written: Shop) -> None:
    columns = "id, at, who, kind, subject, what"
    if written.engine.dialect.name == "sqlite":
        deeds = [
            f"INSERT OR REPLACE INTO audit ({columns}) SELECT id, at, 'nobody', kind, subject, what FROM audit",
            "INSERT OR REPLACE INTO audit_change SELECT audit_id, position, '', '', '', '', '', '', '' "
            "FROM audit_change",
        ]
    else:
        deeds = [
            "TRUNCATE audit CASCADE",
            "TRUNCATE audit_change",
            f"INSERT INTO audit ({columns}) SELECT id, at, 'nobody', kind, subject, what FROM audit "
            "ON CONFLICT (id) DO UPDATE SET who = 'nobody'",
        ]
    for deed in deeds:
        with pytest.raises(sa.exc.DBAPIError, match="only added to"), written.engine.begin() as connection:
            connection.exec_driver_sql(deed)
    with written.read() as session:
        (first,) = audit.find(session, Query(who="Ann"), limit=9)
    assert [(c.subject, c.field, c.old, c.new) for c in first.changes] == [
        (c.subject, c.field, c.old, c.new) for c in (MOVED, SIZED)
    ]


def test_found_by_thing_person_pin_and_time(written: Shop) -> None:
    with written.read() as session:

        def whats(**query: object) -> list[str]:
            return [e.what for e in audit.find(session, Query(**query), limit=9)]  # type: ignore[arg-type]

        assert whats(kind="job") == ["made", "pins joined"]
        assert whats(kind="job", subject="truck") == ["pins joined"]
        assert whats(who="Ben") == ["made", "pin C1-4"]
        assert whats(platform="host", connector="C1", cavity="4") == ["pin C1-4", "pins joined"]
        assert whats(platform="host", connector="C1", cavity="5") == []
        assert whats(since=now() - timedelta(minutes=5)) == ["made", "pin C1-4", "pins joined"]
        assert whats(until=now() - timedelta(minutes=5)) == []
        (at_pin,) = audit.find(session, Query(kind="job", platform="host", cavity="4"), limit=9)
        assert [c.field for c in at_pin.changes] == ["joins"], "only what concerns the pin"
        newest, middle = audit.find(session, Query(), limit=2)
        assert [e.what for e in audit.find(session, Query(), limit=9, before=middle.id)] == ["pins joined"]
        assert [e.id for e in audit.find(session, Query(), limit=9, without=("job",))] == [middle.id]
        assert newest.id > middle.id
        assert audit.people(session) == ("Ann", "Ben")

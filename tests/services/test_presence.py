"""Who else is in a job, through the database alone."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest

from pinmap.core.errors import NotFound
from pinmap.core.model.people import RIGHTS, Actor, PersonRole
from pinmap.services import jobs, presence
from pinmap.services.shop import Shop
from pinmap.store.base import now
from tests.factories_people import session_of


def _as(shop: Shop, role: PersonRole) -> Shop:
    session_of(shop, role)
    number = list(PersonRole).index(role) + 1
    return shop.acting_as(Actor(role.value, RIGHTS[role], number))


@pytest.fixture
def three(shop: Shop) -> tuple[Shop, Shop, Shop]:
    jobs.create_job(shop, "a", "A")
    jobs.create_job(shop, "b", "B")
    owner, builder, technician = (_as(shop, role) for role in PersonRole)
    return owner, builder, technician


def test_others_are_seen_with_their_page_and_oneself_is_not(three: tuple[Shop, Shop, Shop]) -> None:
    owner, builder, technician = three
    assert presence.here(owner, "a", "Ledger").others == ()
    assert [(o.name, o.page) for o in presence.here(builder, "a", "Signals").others] == [("A. Fitter", "Ledger")]
    presence.here(technician, "b", "Trace")
    assert [o.name for o in presence.here(owner, "a", "Layout").others] == ["Bert Builder"]
    assert [(o.name, o.page) for o in presence.here(builder, "a", "Signals").others] == [("A. Fitter", "Layout")]


def test_another_process_sees_the_same(three: tuple[Shop, Shop, Shop], new_shop: Callable[[], Shop]) -> None:
    presence.here(three[0], "a", "Ledger")
    elsewhere = new_shop().acting_as(three[1].actor)
    assert [o.name for o in presence.here(elsewhere, "a", "").others] == ["A. Fitter"]


def test_whoever_is_not_heard_of_is_gone(three: tuple[Shop, Shop, Shop], monkeypatch: pytest.MonkeyPatch) -> None:
    owner, builder, _ = three
    presence.here(owner, "a", "Ledger")
    later = now() + presence.GONE_AFTER + timedelta(seconds=1)
    monkeypatch.setattr(presence, "now", lambda: later)
    assert presence.here(builder, "a", "").others == ()


def test_the_version_tells_of_changes_and_the_command_line_is_nobody(
    three: tuple[Shop, Shop, Shop], shop: Shop
) -> None:
    before = presence.here(three[0], "a", "").version
    jobs.copy(shop, "a", "c", "C")
    assert presence.here(three[0], "a", "").version == before
    presence.here(shop, "a", "")
    assert presence.here(three[1], "a", "\x00" + "x" * 500).others[0].name == "A. Fitter"
    with pytest.raises(NotFound):
        presence.here(three[0], "nowhere", "")


def test_a_job_is_deleted_while_somebody_looks(three: tuple[Shop, Shop, Shop], shop: Shop) -> None:
    version = presence.here(three[0], "b", "").version
    jobs.delete(shop, "b", version)
    with pytest.raises(NotFound):
        presence.here(three[0], "b", "")

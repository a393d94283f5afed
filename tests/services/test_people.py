"""People: who comes in by which link, who may what, and that the shop always keeps an owner."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
import sqlalchemy as sa
from argon2 import PasswordHasher

from pinmap.core.errors import Conflict, InputError, NotAllowed, NotFound, PinmapError, StructureError
from pinmap.core.model.people import RIGHTS, VISITOR, Actor, PersonRole, Right
from pinmap.core.model.words import Role
from pinmap.services import jobs, passwords, people, platforms, sessions
from pinmap.services.shop import Shop
from pinmap.store.base import now, table
from pinmap.store.people import Person

SECRET = "brindle truck loom"


@pytest.fixture(autouse=True)
def quick_hashes(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Hashes that cost little, since these tests are not about their cost."""
    cheap = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
    monkeypatch.setattr(passwords, "_hasher", lambda: cheap)
    passwords._nobodys.cache_clear()
    yield
    passwords._nobodys.cache_clear()


def owner(shop: Shop) -> Person:
    token = people.first_link(shop)
    assert token is not None
    return people.come_in(shop, token, SECRET, SECRET, "Ann Owner", "ann")


def test_the_first_link_makes_the_owner_once(shop: Shop) -> None:
    assert not people.has_owner(shop)
    token = people.first_link(shop)
    assert token is not None
    assert len(token) >= 22  # 128 bits and more
    assert people.look_at(shop, token) is None
    assert people.look_at(shop, token) is None, "looking used it up"
    made = people.come_in(shop, token, SECRET, SECRET, "Ann  Owner ", " ANN ")
    assert (made.name, made.sign_in, made.role) == ("Ann Owner", "ann", PersonRole.OWNER)
    assert people.has_owner(shop)
    assert people.first_link(shop) is None
    with pytest.raises(NotFound):
        people.come_in(shop, token, SECRET, SECRET, "Eve", "eve")
    with shop.read() as session:
        stored = str(session.execute(sa.select(table("one_time_link"))).mappings().all())
        person = session.execute(sa.select(table("person"))).mappings().one()
    assert token not in stored
    assert SECRET not in str(dict(person))


def test_the_next_start_replaces_the_first_link(shop: Shop) -> None:
    first, second = people.first_link(shop), people.first_link(shop)
    assert first is not None
    assert second is not None
    with pytest.raises(NotFound):
        people.look_at(shop, first)
    assert people.look_at(shop, second) is None


def test_a_first_link_is_dead_once_there_is_an_owner_by_another_way(shop: Shop) -> None:
    token = people.first_link(shop)
    assert token is not None
    people.invite(shop, "Olga", "olga", PersonRole.OWNER)
    with pytest.raises(NotFound):
        people.come_in(shop, token, SECRET, SECRET, "Eve", "eve")


def test_two_at_once_make_one_owner(new_shop: Callable[[], Shop]) -> None:
    shops = [new_shop(), new_shop()]
    token = people.first_link(shops[0])
    assert token is not None
    made: list[Person] = []
    gone: list[PinmapError] = []

    def attempt(number: int) -> None:
        try:
            made.append(people.come_in(shops[number % 2], token, SECRET, SECRET, f"Ann {number}", f"ann{number}"))
        except NotFound as error:
            gone.append(error)

    threads = [threading.Thread(target=attempt, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(made), len(gone)) == (1, 7)
    assert len(people.list_people(shops[0])) == 1


def test_a_bad_password_leaves_the_link_good(shop: Shop) -> None:
    token = people.first_link(shop)
    assert token is not None
    for password, again, name, sign_in in (
        ("short", "short", "Ann", "ann"),
        (SECRET, "other words here", "Ann", "ann"),
        (SECRET, SECRET, "", "ann"),
        (SECRET, SECRET, "Ann", "a b"),
        (SECRET, SECRET, "Ann\x00", "ann"),
        (SECRET, SECRET, "Ann", "\ud800\ud800"),
    ):
        with pytest.raises(InputError):
            people.come_in(shop, token, password, again, name, sign_in)
    assert people.come_in(shop, token, SECRET, SECRET, "Ann", "ann").sign_in == "ann"


def test_wrong_used_replaced_and_expired_links_say_the_same(shop: Shop) -> None:
    owner(shop)
    _, used = people.invite(shop, "Bert", "bert", PersonRole.BUILDER)
    people.come_in(shop, used, SECRET, SECRET)
    person, replaced = people.invite(shop, "Tess", "tess", PersonRole.TECHNICIAN)
    _, expired = people.new_link(shop, person.id)
    with shop.write() as session:
        session.execute(sa.update(table("one_time_link")).values(expires=now() - timedelta(seconds=1)))
    said = set()
    for token in ("wrong", "", "nul\x00", "\ud800", used, replaced, expired):
        with pytest.raises(NotFound) as refused:
            people.look_at(shop, token)
        said.add(str(refused.value))
        with pytest.raises(NotFound) as refused:
            people.come_in(shop, token, SECRET, SECRET)
        said.add(str(refused.value))
    assert len(said) == 1


def test_an_invited_person_chooses_a_password_and_a_reset_ends_the_sessions(shop: Shop) -> None:
    owner(shop)
    person, token = people.invite(shop, "Bert Builder", "bert", PersonRole.BUILDER)
    assert [x.state for x in people.list_people(shop)] == ["active", "invited"]
    with pytest.raises(InputError, match="already"):
        people.invite(shop, "Other", "BERT", PersonRole.BUILDER)
    people.come_in(shop, token, SECRET, SECRET, "Eve", "eve")
    assert people.person_called(shop, "Bert").name == "Bert Builder", "an invited person gave another name"
    session = sessions.begin(shop, person, "test")
    assert sessions.find(shop, session) is not None
    _, again = people.new_link(shop, person.id)
    assert sessions.find(shop, session) is not None, "a link that is not used ends nothing"
    people.come_in(shop, again, "another good loom", "another good loom")
    assert sessions.find(shop, session) is None


def test_disabling_ends_everything_at_once_and_can_be_taken_back(shop: Shop) -> None:
    owner(shop)
    person, token = people.invite(shop, "Bert", "bert", PersonRole.BUILDER)
    session = sessions.begin(shop, person, "test")
    people.disable(shop, person.id, person.version)
    assert sessions.find(shop, session) is None
    with pytest.raises(NotFound):
        people.look_at(shop, token)
    with pytest.raises(StructureError, match="may not"):
        people.new_link(shop, person.id)
    with pytest.raises(Conflict):
        people.enable(shop, person.id, person.version)
    people.enable(shop, person.id, person.version + 1)
    assert people.person_called(shop, "bert").disabled is None


def test_another_role_counts_at_once(shop: Shop) -> None:
    owner(shop)
    person, _ = people.invite(shop, "Bert", "bert", PersonRole.BUILDER)
    token = sessions.begin(shop, person, "test")
    people.change_role(shop, person.id, person.version, PersonRole.TECHNICIAN)
    found = sessions.find(shop, token)
    assert found is not None
    assert not found.actor.may(Right.BUILD)


def test_the_last_owner_stays(shop: Shop) -> None:
    ann = owner(shop)
    with pytest.raises(StructureError, match="owner"):
        people.change_role(shop, ann.id, ann.version, PersonRole.BUILDER)
    with pytest.raises(StructureError, match="owner"):
        people.disable(shop, ann.id, ann.version)
    olga, _ = people.invite(shop, "Olga", "olga", PersonRole.OWNER)
    with pytest.raises(StructureError, match="owner who can sign in"):
        people.disable(shop, ann.id, ann.version)
    people.disable(shop, olga.id, olga.version)
    with pytest.raises(StructureError, match="owner"):
        people.disable(shop, ann.id, ann.version)


def test_two_owners_who_end_each_other_at_once_leave_one(new_shop: Callable[[], Shop]) -> None:
    shops = [new_shop(), new_shop()]
    ann = owner(shops[0])
    _, token = people.invite(shops[0], "Olga", "olga", PersonRole.OWNER)
    olga = people.come_in(shops[0], token, SECRET, SECRET)
    refused: list[PinmapError] = []

    def end(shop: Shop, person: Person) -> None:
        try:
            people.disable(shop, person.id, person.version)
        except StructureError as error:
            refused.append(error)

    threads = [threading.Thread(target=end, args=pair) for pair in zip(shops, (ann, olga), strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(refused) == 1
    assert people.has_owner(shops[0])


@pytest.mark.parametrize("role", [PersonRole.BUILDER, PersonRole.TECHNICIAN, None])
def test_services_ask_for_the_right_too(shop: Shop, role: PersonRole | None) -> None:
    ann = owner(shop)
    theirs = shop.acting_as(Actor("Somebody", RIGHTS[role]) if role else VISITOR)
    for deed in (
        lambda: people.list_people(theirs),
        lambda: people.invite(theirs, "Eve", "eve", PersonRole.OWNER),
        lambda: people.new_link(theirs, ann.id),
        lambda: people.change_role(theirs, ann.id, 1, PersonRole.TECHNICIAN),
        lambda: people.disable(theirs, ann.id, 1),
        lambda: people.first_link(theirs),
    ):
        with pytest.raises(NotAllowed):
            deed()
    if role == PersonRole.BUILDER:
        platforms.create(theirs, name="Bench", role=Role.DONOR)
        return
    with pytest.raises(NotAllowed):
        platforms.create(theirs, name="Bench", role=Role.DONOR)
    if role is None:
        with pytest.raises(NotAllowed):
            jobs.list_jobs(theirs)
    else:
        assert jobs.list_jobs(theirs) == ()


def test_the_same_memory_serves_every_actor(shop: Shop) -> None:
    theirs = shop.acting_as(VISITOR)
    assert theirs.snapshots is shop.snapshots
    assert theirs.actor is VISITOR
    assert shop.actor is not VISITOR

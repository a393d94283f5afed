"""Signing in: the same answer whatever is wrong, sessions that end when they should, tries that are slowed."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from argon2 import PasswordHasher

from pinmap.core.errors import InputError, NotFound, TooOften
from pinmap.core.model.people import PersonRole
from pinmap.services import passwords, people, sessions
from pinmap.services.shop import Shop
from pinmap.store import people as rows
from pinmap.store.base import now, table

SECRET = "brindle truck loom"
CHEAP = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)


@pytest.fixture(autouse=True)
def quick_hashes(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(passwords, "_hasher", lambda: CHEAP)
    passwords._nobodys.cache_clear()
    yield
    passwords._nobodys.cache_clear()


@pytest.fixture
def ann(shop: Shop) -> rows.Person:
    token = people.first_link(shop)
    assert token is not None
    return people.come_in(shop, token, SECRET, SECRET, "Ann Owner", "ann")


def enter(shop: Shop, name: str = "ann", password: str = SECRET, address: str = "10.0.0.1", replaces: str = "") -> str:
    return sessions.sign_in(shop, name, password, address=address, device="Firefox on Linux", replaces=replaces)


def change(shop: Shop, name: str, **values: Any) -> None:
    with shop.write() as session:
        session.execute(sa.update(table(name)).values(**values))


def test_in_and_out(shop: Shop, ann: rows.Person) -> None:
    token = enter(shop, " ANN ")
    me = sessions.find(shop, token)
    assert me is not None
    assert (me.name, me.role, me.actor.person) == ("Ann Owner", PersonRole.OWNER, ann.id)
    with shop.read() as session:
        assert token not in str(session.execute(sa.select(table("person_session"))).all())
    sessions.sign_out(shop, token)
    assert sessions.find(shop, token) is None
    sessions.sign_out(shop, token)  # again, which does nothing


def test_each_sign_in_is_a_new_session_and_ends_the_one_it_replaces(shop: Shop, ann: rows.Person) -> None:
    first = enter(shop)
    second = enter(shop, replaces=first)
    assert first != second
    assert sessions.find(shop, first) is None
    third = enter(shop, replaces="a token from nowhere")
    assert sessions.find(shop, second) is not None
    assert sessions.find(shop, third) is not None
    assert sessions.find(shop, "a token from nowhere") is None


def test_whatever_is_wrong_the_answer_is_the_same(shop: Shop, ann: rows.Person) -> None:
    people.invite(shop, "Nell", "nell", PersonRole.BUILDER)  # has no password yet
    bert, token = people.invite(shop, "Bert", "bert", PersonRole.BUILDER)
    people.come_in(shop, token, SECRET, SECRET)
    people.disable(shop, bert.id, bert.version)
    said = set()
    for number, (name, password) in enumerate(
        [
            ("ann", "wrong words here"), ("ann", ""), ("nobody", SECRET), ("", ""), ("nell", ""), ("nell", SECRET),
            ("bert", SECRET), ("nul\x00", SECRET), ("\ud800", SECRET), ("ann" * 100, SECRET), ("ann", "x" * 100_000),
        ]
    ):  # fmt: skip
        with pytest.raises(InputError) as refused:
            enter(shop, name, password, address=f"10.0.1.{number}")
        said.add((refused.value.field, refused.value.remedy))
    assert len(said) == 1


def test_sessions_idle_and_age_out(shop: Shop, ann: rows.Person) -> None:
    token = enter(shop)
    change(shop, "person_session", last_used=now() - sessions.IDLE - timedelta(seconds=1))
    assert sessions.find(shop, token) is None
    change(shop, "person_session", last_used=now() - sessions.IDLE + timedelta(minutes=1))
    assert sessions.find(shop, token) is not None  # and this use counts
    me = sessions.find(shop, token)
    assert me is not None
    assert now() - sessions.own(shop, me)[0].last_used < timedelta(minutes=1)
    change(shop, "person_session", expires=now() - timedelta(seconds=1))
    assert sessions.find(shop, token) is None
    enter(shop)
    with shop.read() as session:
        count = session.execute(sa.select(sa.func.count()).select_from(table("person_session"))).scalar_one()
    assert count == 1, "an ended session was not cleared away"


def test_own_sessions_are_ended_one_by_one_and_all(shop: Shop, ann: rows.Person) -> None:
    tokens = [enter(shop) for _ in range(4)]
    me = sessions.find(shop, tokens[0])
    assert me is not None
    other = sessions.find(shop, tokens[1])
    assert other is not None
    assert len(sessions.own(shop, me)) == 4
    sessions.end_own(shop, me, other.session)
    assert [sessions.find(shop, t) is not None for t in tokens] == [True, False, True, True]
    with pytest.raises(NotFound):
        sessions.end_own(shop, me, other.session)
    assert sessions.end_own(shop, me) == 2
    assert [sessions.find(shop, t) is not None for t in tokens] == [True, False, False, False]


def test_nobody_ends_somebody_elses_session(shop: Shop, ann: rows.Person) -> None:
    token = enter(shop)
    mine = sessions.find(shop, token)
    assert mine is not None
    bert, _ = people.invite(shop, "Bert", "bert", PersonRole.BUILDER)
    me = sessions.find(shop, sessions.begin(shop, bert, "test"))
    assert me is not None
    with pytest.raises(NotFound):
        sessions.end_own(shop.acting_as(me.actor), me, mine.session)
    assert sessions.find(shop, token) is not None


def test_an_ended_session_is_ended_for_every_process(
    new_shop: Callable[[], Shop], shop: Shop, ann: rows.Person
) -> None:
    token = enter(shop)
    other = new_shop()
    assert sessions.find(other, token) is not None
    sessions.sign_out(shop, token)
    assert sessions.find(other, token) is None


def test_a_new_password_ends_the_other_sessions(shop: Shop, ann: rows.Person) -> None:
    here, there = enter(shop), enter(shop)
    me = sessions.find(shop, here)
    assert me is not None
    with pytest.raises(InputError) as refused:
        sessions.change_password(shop, me, "wrong words here", "another good loom", "another good loom")
    assert refused.value.field == "old_password"
    with pytest.raises(InputError):
        sessions.change_password(shop, me, SECRET, "password12", "password12")
    sessions.change_password(shop, me, SECRET, "another good loom", "another good loom")
    assert sessions.find(shop, here) is not None
    assert sessions.find(shop, there) is None
    with pytest.raises(InputError):
        enter(shop, address="10.0.0.7")
    assert enter(shop, password="another good loom")


def test_the_old_password_cannot_be_tried_out_in_a_session_left_open(shop: Shop, ann: rows.Person) -> None:
    me = sessions.find(shop, enter(shop))
    assert me is not None
    checked = 0
    for _ in range(50):
        try:
            sessions.change_password(shop, me, "wrong words here", "another good loom", "another good loom")
        except InputError:
            checked += 1
        except TooOften:
            pass
    assert checked < 10


def test_a_hash_of_older_parameters_is_renewed_at_sign_in(
    shop: Shop, ann: rows.Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    stronger = PasswordHasher(time_cost=2, memory_cost=128, parallelism=1)
    monkeypatch.setattr(passwords, "_hasher", lambda: stronger)
    enter(shop)
    with shop.read() as session:
        stored = rows.password_of(session, ann.id)
    assert stored is not None
    assert "m=128,t=2" in stored
    assert enter(shop)


def test_a_thousand_guesses_are_slowed_and_do_not_keep_the_owner_out(shop: Shop, ann: rows.Person) -> None:
    """From one address hardly any is looked at; the owner signs in from another all the while."""
    checked = refused = 0
    for number in range(1000):
        try:
            enter(shop, password=f"guess number {number}", address="203.0.113.9")
        except InputError:
            checked += 1
        except TooOften:
            refused += 1
    assert checked + refused == 1000
    assert checked <= 20
    assert enter(shop, address="10.0.0.1")


def test_unknown_names_are_slowed_like_known_ones(shop: Shop, ann: rows.Person) -> None:
    def outcome(name: str, address: str) -> list[str]:
        found = []
        for _ in range(8):
            try:
                enter(shop, name, "wrong words here", address=address)
            except (InputError, TooOften) as error:
                found.append(type(error).__name__)
        return found

    assert outcome("ann", "10.0.2.1")[:6] == outcome("nobody", "10.0.2.2")[:6] == ["InputError"] * 5 + ["TooOften"]


def test_guesses_over_many_names_from_one_address_are_slowed(shop: Shop, ann: rows.Person) -> None:
    checked = 0
    for number in range(100):
        try:
            enter(shop, f"name{number}", "wrong words here", address="203.0.113.9")
        except InputError:
            checked += 1
        except TooOften:
            pass
    assert checked < 30


def test_many_guesses_at_once_are_slowed_too(shop: Shop, ann: rows.Person) -> None:
    checked: list[int] = []

    def guess(number: int) -> None:
        try:
            enter(shop, password=f"guess number {number}", address="203.0.113.9")
        except InputError:
            checked.append(number)
        except TooOften:
            pass

    threads = [threading.Thread(target=guess, args=(n,)) for n in range(25)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(checked) <= 8


def test_a_password_changed_while_somebody_signs_in_counts(
    shop: Shop, ann: rows.Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = passwords.fits

    def slow(password: str, stored: str | None) -> bool:
        fits = real(password, stored)
        change(shop, "person", password=CHEAP.hash("another good loom"))
        return fits

    monkeypatch.setattr(passwords, "fits", slow)
    with pytest.raises(InputError):
        enter(shop)

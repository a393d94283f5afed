"""Vain tries wait longer each time, whichever process counts them."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
import sqlalchemy as sa

from pinmap.core.errors import TooOften
from pinmap.services import throttle
from pinmap.services.shop import Shop
from pinmap.services.throttle import Limit
from pinmap.store import throttle as rows
from pinmap.store.base import now, table

ONE = Limit("one", free=3, longest_wait_s=60)
ALL = Limit("all", free=10, longest_wait_s=60)


class Clock:
    """The present, which a test can move."""

    def __init__(self) -> None:
        self.time = now()

    def __call__(self) -> datetime:
        return self.time

    def pass_s(self, seconds: float) -> None:
        self.time += timedelta(seconds=seconds)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    made = Clock()
    monkeypatch.setattr(throttle, "now", made)
    monkeypatch.setattr(rows, "now", made)
    return made


def test_waits_grow_up_to_the_longest(shop: Shop, clock: Clock) -> None:
    waits = []
    for _ in range(12):
        throttle.count(shop, [ONE])
        try:
            throttle.count(shop, [ONE])
            waits.append(0)
        except TooOften as refused:
            waits.append(refused.wait_s)
            clock.pass_s(refused.wait_s - 0.5)
            with pytest.raises(TooOften):
                throttle.count(shop, [ONE])
            clock.pass_s(0.6)
    assert waits == [0, 1, 2, 4, 8, 16, 32, 60, 60, 60, 60, 60]


def test_a_refused_try_is_not_counted(shop: Shop, clock: Clock) -> None:
    for _ in range(3):
        throttle.count(shop, [ONE])
    for _ in range(50):
        with pytest.raises(TooOften):
            throttle.count(shop, [ONE])
    clock.pass_s(1.1)
    throttle.count(shop, [ONE])
    with pytest.raises(TooOften) as refused:
        throttle.count(shop, [ONE])
    assert refused.value.wait_s == 2


def test_a_right_one_begins_anew_and_takes_the_shared_count_back(shop: Shop, clock: Clock) -> None:
    for _ in range(2):
        throttle.count(shop, [ONE, ALL])
    throttle.count(shop, [ONE, ALL])
    throttle.was_right(shop, [ONE, ALL])
    with shop.read() as session:
        found = dict(session.execute(sa.select(table("throttle").c.subject_sha256, table("throttle").c.tries)).all())
    assert found == {ALL.fingerprint: 2}


def test_what_is_a_day_old_is_forgotten(shop: Shop, clock: Clock) -> None:
    for _ in range(3):
        throttle.count(shop, [ONE])
    clock.pass_s(86_500)
    throttle.count(shop, [ALL])
    with shop.read() as session:
        assert session.execute(sa.select(sa.func.count()).select_from(table("throttle"))).scalar_one() == 1


def test_many_at_once_are_no_way_round(new_shop: Callable[[], Shop]) -> None:
    """Thirty tries at once through two processes' worth of shops: only the free ones get through."""
    shops = [new_shop(), new_shop()]
    through: list[int] = []

    def attempt(number: int) -> None:
        try:
            throttle.count(shops[number % 2], [ONE, ALL])
        except TooOften:
            return
        through.append(number)

    threads = [threading.Thread(target=attempt, args=(n,)) for n in range(30)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    # three are free; one or two more when the whole takes longer than the first waits
    assert 3 <= len(through) <= 5

"""Guessing secrets: it opens nothing, and the time of the answer tells nothing; run with --benchmark-only.

Times are compared within one run: the chance that an answer of one kind took longer than one of another is a half when
nothing can be told from it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from statistics import median

import numpy as np
import pytest
import sqlalchemy as sa
from fastapi.testclient import TestClient
from pytest_benchmark.fixture import BenchmarkFixture

from pinmap.core.errors import InputError, NotFound
from pinmap.core.model.people import VISITOR, PersonRole
from pinmap.demo import finished_snapshot
from pinmap.services import demo, jobs, people, revisions, sessions, sharing
from pinmap.services.shop import Shop
from pinmap.services.tokens import digest, new_token
from pinmap.settings import Settings
from pinmap.store import throttle
from pinmap.store.base import now, table
from pinmap.web.app import create_app

_JOB = finished_snapshot().job.key
_GUESSES = 1_000_000
_SECRET = "brindle truck loom"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """The demo with a revision, and with somebody in it."""
    made = Shop(f"sqlite:///{tmp_path_factory.mktemp('secrets') / 'shop.sqlite3'}")
    made.upgrade()
    demo.load(made)
    revisions.release(made, _JOB, jobs.get(made, _JOB).version, "A. Fitter")
    token = people.first_link(made)
    assert token is not None
    people.come_in(made, token, _SECRET, _SECRET, "Ann Owner", "ann")
    people.invite(made, "Nell", "nell", PersonRole.BUILDER)
    yield made
    made.close()


@pytest.fixture(scope="module")
def dead_links(shop: Shop) -> tuple[list[str], list[str]]:
    """Tokens of expired and of revoked links, among a thousand good ones."""
    for _ in range(1000):
        sharing.create_link(shop, _JOB, "A", days=30)
    expired = [sharing.create_link(shop, _JOB, "A", days=30) for _ in range(20)]
    revoked = [sharing.create_link(shop, _JOB, "A", days=30) for _ in range(20)]
    link = table("share_link")
    with shop.write() as session:
        of = [link.c.token_sha256.in_([digest(t) for t in tokens]) for tokens in (expired, revoked)]
        session.execute(sa.update(link).where(of[0]).values(expires=now() - timedelta(days=1)))
        session.execute(sa.update(link).where(of[1]).values(revoked=now()))
    return expired, revoked


def test_a_million_guesses_find_no_link(
    benchmark: BenchmarkFixture, shop: Shop, dead_links: tuple[list[str], list[str]]
) -> None:
    """Against a thousand links, a thousand guesses a query; and no token is drawn twice."""
    link = table("share_link")

    def guess() -> tuple[int, int]:
        found = 0
        drawn: set[str] = set()
        with shop.read() as session:
            for _ in range(_GUESSES // 1000):
                fingerprints = [digest(new_token()) for _ in range(1000)]
                drawn.update(f[:24] for f in fingerprints)  # 96 bits tell a million apart
                count = sa.select(sa.func.count()).where(link.c.token_sha256.in_(fingerprints))
                found += session.execute(count).scalar_one()
        return found, len(drawn)

    assert benchmark.pedantic(guess, rounds=1) == (0, _GUESSES)


def test_guesses_through_the_service_find_nothing(
    benchmark: BenchmarkFixture, shop: Shop, dead_links: tuple[list[str], list[str]]
) -> None:
    visitor = shop.acting_as(VISITOR)

    def guess() -> None:
        with pytest.raises(NotFound):
            sharing.open_link(visitor, new_token())

    benchmark.pedantic(guess, rounds=20_000)


def test_thousands_of_guesses_by_http_find_nothing(
    benchmark: BenchmarkFixture, shop: Shop, dead_links: tuple[list[str], list[str]]
) -> None:
    app = create_app(Settings(trusted_hosts="testserver"), shop)

    def guess() -> set[tuple[int, str]]:
        with TestClient(app) as client:
            answers = [client.get(f"/s/{new_token()}") for _ in range(5000)]
        return {(a.status_code, digest(a.text.replace(a.request.url.path, ""))) for a in answers}

    answers = benchmark.pedantic(guess, rounds=1)
    assert len(answers) == 1
    assert next(iter(answers))[0] == 404


def _times_ms(kinds: dict[str, Callable[[], object]], rounds: int) -> dict[str, list[float]]:
    """Times of each kind of question, asked in turn so that whatever slows the machine slows all of them alike."""
    times: dict[str, list[float]] = {kind: [] for kind in kinds}
    names = list(kinds)
    for number in range(rounds):
        for kind in names[number % len(names) :] + names[: number % len(names)]:
            began = time.perf_counter()
            kinds[kind]()
            times[kind].append((time.perf_counter() - began) * 1e3)
    return times


def _chance_longer(a: list[float], b: list[float]) -> float:
    """The chance that a time of a is longer than one of b (Mann and Whitney's U as a share)."""
    sorted_b = np.sort(b)
    at = np.asarray(a)
    return float(np.mean((np.searchsorted(sorted_b, at, "left") + np.searchsorted(sorted_b, at, "right")) / 2) / len(b))


def _told_apart(benchmark: BenchmarkFixture, times: dict[str, list[float]], within: float) -> None:
    names = list(times)
    for kind in names:
        benchmark.extra_info[f"median of {kind} [ms]"] = round(median(times[kind]), 3)
    for a, b in [(x, y) for i, x in enumerate(names) for y in names[i + 1 :]]:
        ratio = median(times[a]) / median(times[b])
        chance = _chance_longer(times[a], times[b])
        benchmark.extra_info[f"{a} / {b}"] = f"ratio of medians {ratio:.3f}, chance of longer {chance:.3f}"
        assert 1 - within < ratio < 1 + within, f"{a} against {b}: {ratio:.3f}"


def test_wrong_expired_and_revoked_links_take_the_same_time(
    benchmark: BenchmarkFixture, shop: Shop, dead_links: tuple[list[str], list[str]]
) -> None:
    visitor = shop.acting_as(VISITOR)
    expired, revoked = dead_links
    wrong = [new_token() for _ in range(20)]
    turn = iter(range(10**9))

    def ask(token: str) -> None:
        with pytest.raises(NotFound):
            sharing.open_link(visitor, token)

    kinds = {
        "wrong": lambda: ask(wrong[next(turn) % len(wrong)]),
        "expired": lambda: ask(expired[next(turn) % len(expired)]),
        "revoked": lambda: ask(revoked[next(turn) % len(revoked)]),
    }
    _times_ms(kinds, 50)
    times = benchmark.pedantic(lambda: _times_ms(kinds, 3000), rounds=1)
    _told_apart(benchmark, times, within=0.1)


def test_unknown_names_and_wrong_passwords_take_the_same_time(
    benchmark: BenchmarkFixture, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same work for a person, for one without a password yet, and for nobody; without the waits, which would end
    the measuring."""
    monkeypatch.setattr(sessions.throttle.Limit, "wait_s", lambda _limit, _tries: 0)
    visitor = shop.acting_as(VISITOR)

    def ask(name: str) -> None:
        with pytest.raises(InputError):
            sessions.sign_in(visitor, name, "wrong words here", address="10.0.0.1", device="")

    kinds = {name: (lambda n=name: ask(n)) for name in ("ann", "nell", "nobody")}
    _times_ms(kinds, 3)
    times = benchmark.pedantic(lambda: _times_ms(kinds, 100), rounds=1)
    _told_apart(benchmark, times, within=0.15)  # a hundred hashes of 64 MiB on a busy machine
    with shop.write() as session:
        throttle.forget_older(session, now() + timedelta(days=1))


def test_finding_who_is_signed_in(benchmark: BenchmarkFixture, shop: Shop) -> None:
    """What every request of a signed-in person pays."""
    token = sessions.begin(shop, people.person_called(shop, "ann"), "bench")
    assert benchmark(lambda: sessions.find(shop, token)) is not None


def test_a_password_is_hashed(benchmark: BenchmarkFixture) -> None:
    """What one try costs, a guesser too."""
    from pinmap.services import passwords

    assert benchmark.pedantic(lambda: passwords.hashed(_SECRET), rounds=5)

"""The server is killed in the middle of its work, again and again: what it has answered is there, and nothing half."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import product

import httpx

from pinmap.services import integrity
from tests.factories_processes import THINGS, Ledger, Person, Sent, Server, amount, prepare, standing


def test_what_was_answered_is_there(
    db_url: str, start: Callable[..., list[Server]], figures: Callable[[str], None]
) -> None:
    kills = amount(3, 200)
    tokens = prepare(db_url)
    ledger = Ledger(db_url)
    chance = random.Random(7)
    answered = in_flight = kept = 0
    for number in range(kills):
        server = start(db_url)[0]
        people = [
            Person([server.address], token, 1000 * number + i, ledger.pins)
            for i, token in enumerate([*tokens.values()] * 2)
        ]
        with ThreadPoolExecutor(len(people)) as pool:
            working = [pool.submit(_until_it_ends, person) for person in people]
            while not any(person.taken for person in people):
                time.sleep(0.002)
            time.sleep(chance.uniform(0, 0.4))
            server.kill()
            for done in working:
                done.result()
        taken = [write for person in people for write in person.taken]
        unanswered = [person.open for person in people if person.open is not None]
        kept += _went_on(ledger, db_url, taken, unanswered)
        answered, in_flight = answered + len(taken), in_flight + len(unanswered)
        if number % 20 == 0 or number == kills - 1:
            assert integrity.check(db_url).faults == ()
        for person in people:
            person.close()
    figures(f"{kills} kills, {answered} writes answered, {in_flight} under way when killed, {kept} of these stored")
    assert answered >= kills


def _until_it_ends(person: Person) -> None:
    try:
        while True:
            person.write()
    except httpx.TransportError:
        return


def _went_on(ledger: Ledger, url: str, taken: Sequence[Sent], unanswered: Sequence[Sent]) -> int:
    """Takes the ledger on to what the database holds: all that was answered, and of what was under way each write whole
    or not at all. Gives how many of these were stored."""
    now = standing(url)
    told = {(thing, version) for thing, version, _ in taken}
    silent = [(t, v) for t in THINGS for v in range(ledger.versions[t], now[t]) if (t, v) not in told]
    assert all(version < now[thing] for thing, version in told), "a write that was answered is gone"
    tried: list[str] = []
    for chosen in _explanations(silent, unanswered):
        attempt = ledger.copy()
        try:
            attempt.advance([*taken, *chosen], now)
            attempt.compare(url)
        except AssertionError as error:
            tried.append(str(error)[:500])
            continue
        ledger.versions, ledger.histories = attempt.versions, attempt.histories
        return len(chosen)
    raise AssertionError(f"no serial order leads to what the database holds: {tried}")


def _explanations(silent: Sequence[tuple[str, int]], unanswered: Sequence[Sent]) -> Iterator[tuple[Sent, ...]]:
    """Each choice of unanswered writes that could have made the versions nobody was told of."""
    return product(*([write for write in unanswered if write[:2] == made] for made in silent))

"""Two people edit at random through real HTTP: what comes out equals a serial order of what was answered."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing

from pinmap.exchange import job_json
from pinmap.services import integrity, jobs
from pinmap.services.shop import Shop
from tests.factories_processes import JOBS, Ledger, Person, Server, amount, prepare, standing, told

PROCESSES = 2


def test_the_result_is_a_serial_order(
    db_url: str, start: Callable[..., list[Server]], figures: Callable[[str], None]
) -> None:
    """Each of two people works in two windows, and each window with every process."""
    wanted = amount(60, 5200)
    tokens = prepare(db_url)
    ledger = Ledger(db_url)
    first = dict(ledger.versions)
    addresses = [server.address for server in start(db_url, PROCESSES)]
    people = [Person(addresses, token, seed, ledger.pins) for seed, token in enumerate([*tokens.values()] * 2)]

    def work(person: Person) -> None:
        while len(person.taken) < wanted / len(people):
            person.write()

    with ThreadPoolExecutor(len(people)) as pool:
        for done in [pool.submit(work, person) for person in people]:
            done.result()
    taken = [write for person in people for write in person.taken]
    figures(told(people))
    assert len(taken) >= wanted
    answers = {status for person in people for status in person.answers}
    assert answers >= {303, 409}, "nobody got into anybody's way, so the run showed nothing"

    # no version was made but by a write that was answered
    made = Counter(thing for thing, _, _ in taken)
    assert standing(db_url) == {thing: version + made[thing] for thing, version in first.items()}
    ledger.advance(taken, standing(db_url))
    ledger.compare(db_url)
    assert integrity.check(db_url).faults == ()
    # every process shows just that, whatever it remembers
    with closing(Shop(db_url)) as shop:
        hashes = {thing: jobs.get(shop, thing).snapshot.content_hash for thing in JOBS}
    for client in people[0].clients:
        for thing in JOBS:
            answer = client.get(f"/jobs/{thing}/job.json")
            assert job_json.load(answer.content).content_hash == hashes[thing]
    for person in people:
        person.close()


def test_a_process_sees_at_once_what_another_has_changed(db_url: str, start: Callable[..., list[Server]]) -> None:
    tokens = prepare(db_url)
    pins = Ledger(db_url).pins
    here, there = (Person([s.address], next(iter(tokens.values())), 1, pins) for s in start(db_url, PROCESSES))
    for _ in range(5):
        there.look(there.clients[0], "big")  # so that it has something to remember
        before = len(here.taken)
        while len(here.taken) == before:
            here.write()
        thing, version, _ = here.taken[-1]
        assert there.look(there.clients[0], thing) == version + 1
    # a session that ends in one process has ended in the other
    assert here.clients[0].post("/sign-out").status_code == 303
    answer = there.clients[0].get("/jobs/big/settings")
    assert (answer.status_code, answer.headers["location"][:8]) == (303, "/sign-in")
    for person in (here, there):
        person.close()

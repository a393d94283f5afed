"""A backup taken while others write holds one state, with everything that was answered before it began."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from pinmap.services import backup, integrity
from tests.factories_processes import Ledger, Person, Server, amount, prepare, standing

OTHER = {"sqlite": "postgres", "postgres": "sqlite"}


def test_a_backup_holds_what_was_answered_before_it(
    db_url: str,
    engine_name: str,
    new_db: Callable[..., str],
    start: Callable[..., list[Server]],
    figures: Callable[[str], None],
    tmp_path: Path,
) -> None:
    """Restored into the other engine, each backup is sound and equals the writes up to where it stands."""
    wanted = amount(2, 20)
    tokens = prepare(db_url)
    ledger = Ledger(db_url)
    addresses = [server.address for server in start(db_url, 2)]
    people = [Person(addresses, token, seed, ledger.pins) for seed, token in enumerate([*tokens.values()] * 2)]
    enough = threading.Event()

    def work(person: Person) -> None:
        while not enough.is_set():
            person.write()

    def answered() -> dict[str, int]:
        return {
            thing: max([version + 1 for p in people for t, version, _ in list(p.taken) if t == thing], default=stood)
            for thing, stood in ledger.versions.items()
        }

    before: list[dict[str, int]] = []
    during = 0
    with ThreadPoolExecutor(len(people)) as pool:
        working = [pool.submit(work, person) for person in people]
        try:
            for number in range(wanted):
                seen = answered()
                while answered() == seen:  # so that each backup has something new in it
                    enough.wait(0.01)
                before.append(answered())
                backup.backup(db_url, tmp_path / f"{number}.zip")
                during += sum(answered().values()) - sum(before[-1].values())
        finally:
            enough.set()
        for done in working:
            done.result()
    taken = [write for person in people for write in person.taken]
    for number, least in enumerate(before):
        restored = new_db(OTHER[engine_name])
        backup.restore(restored, tmp_path / f"{number}.zip")
        assert integrity.check(restored).faults == ()
        now = standing(restored)
        assert all(now[thing] >= version for thing, version in least.items()), (now, least)
        ledger.advance(taken, now)  # in the order of their making, so each goes on from the one before
        ledger.compare(restored)
    figures(f"{wanted} backups, {len(taken)} writes answered, {during} of them while a backup was being made")
    for person in people:
        person.close()

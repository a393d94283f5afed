"""Pinmap as processes that answer HTTP, people who edit through it, and the model that says what must come out."""

from __future__ import annotations

import copy
import json
import os
import random
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import httpx
from fastapi.testclient import TestClient

from pinmap.core.crossing import edits
from pinmap.core.errors import PinmapError
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.people import PersonRole
from pinmap.core.model.pinouts import PinKey, Platform
from pinmap.core.model.words import Fate
from pinmap.exchange import job_json
from pinmap.services import jobs
from pinmap.services.shop import Shop
from pinmap.settings import Settings
from pinmap.store import jobs as job_rows
from pinmap.store import platform_rows
from pinmap.web.app import create_app
from pinmap.web.refs import end_ref
from tests.factories_people import COOKIE, session_of
from tests.factories_store import big_snapshot

FULL = "PINMAP_TEST_FULL"
ROOT = Path(__file__).resolve().parents[1]
JOBS = ("big", *(f"job-{n}" for n in range(2, 7)))
PLATFORM = "donor"
THINGS = (*JOBS, PLATFORM)
_VERSION = re.compile(r'name="version" value="(\d+)"')
_DEEDS = (*("settle", "join", "save") * 3, "clear", "add", "remove", "undo", "undo", "redo", "dissolve")


def amount(few: int, full: int) -> int:
    """How often something is done: a few times in every run of the tests, in full where that is asked for."""
    return full if os.environ.get(FULL) else few


def prepare(url: str) -> dict[PersonRole, str]:
    """Some jobs on the same two platforms, and two people; gives the people's tokens."""
    with closing(Shop(url)) as shop:
        snapshot = big_snapshot(100, 12)
        for key in JOBS:
            with shop.write() as session:
                jobs.store_snapshot(shop, session, replace(snapshot, job=replace(snapshot.job, key=key)))
        return {role: session_of(shop, role) for role in (PersonRole.OWNER, PersonRole.BUILDER)}


# Makes one more process that serves for each line of its input, a port and a database.
_NURSERY = """
import os, signal, sys
import uvicorn
from pinmap.settings import Settings
from pinmap.store import jobs as job_rows
from pinmap.store import platform_rows
from pinmap.web.app import create_app
from tests.factories_processes import warm
warm()
signal.signal(signal.SIGCHLD, signal.SIG_IGN)
print("ready", flush=True)
for line in sys.stdin:
    port, url = line.split()
    child = os.fork()
    if not child:
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        app = create_app(Settings(database_url=url, demo=False))
        uvicorn.run(app, host="127.0.0.1", port=int(port), log_level="warning")
        os._exit(0)
    print(child, flush=True)
"""


def warm() -> None:
    """Has each page made once, so that a process forked from this one need not compile its templates again."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/shop.sqlite3"
        settings = Settings(database_url=url, demo=False, trusted_hosts="testserver")
        app = create_app(settings)
        token = next(iter(prepare(url).values()))
        with TestClient(app, cookies={COOKIE: token}) as client:
            for address in (f"/jobs/{JOBS[0]}/settings", f"/jobs/{JOBS[0]}/job.json", f"/platforms/{PLATFORM}"):
                client.get(address).raise_for_status()
            for version, status in (("0", 409), ("1", 422)):
                answer = client.post(f"/jobs/{JOBS[0]}/decide/signals/s9999/dissolve", data={"version": version})
                assert answer.status_code == status
        app.state.shop.close()


class Nursery:
    """Makes processes of the app without loading it each time."""

    def __init__(self, log: Path) -> None:
        self.log = log
        self._process = subprocess.Popen(
            [sys.executable, "-c", _NURSERY], env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log.open("w"), text=True,
        )  # fmt: skip
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == "ready\n", log.read_text()

    def begin(self, url: str) -> Server:
        """One more process; it answers in a moment."""
        with socket.socket() as s:
            s.bind(("127.0.0.1", 0))
            port = s.getsockname()[1]
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{port} {url}\n")
        self._process.stdin.flush()
        return Server(int(self._process.stdout.readline()), port)

    def close(self) -> None:
        self._process.communicate()


class Server:
    """One process of the app."""

    def __init__(self, pid: int, port: int) -> None:
        self._pid, self._port = pid, port
        self.address = f"http://127.0.0.1:{port}"

    def wait(self) -> Server:
        """Returns when it answers."""
        deadline = time.monotonic() + 120
        while True:
            try:
                with socket.create_connection(("127.0.0.1", self._port), 1):
                    return self
            except OSError:
                assert time.monotonic() < deadline, "the server does not answer"
                time.sleep(0.01)

    def kill(self) -> None:
        """Ends it as the kernel does when memory runs out; returns when it is gone."""
        with suppress(ProcessLookupError):
            os.kill(self._pid, signal.SIGKILL)
            while True:
                os.kill(self._pid, 0)
                time.sleep(0.005)


@dataclass(frozen=True, slots=True)
class Write:
    """One form sent to the app, and what it means for the job or the platform it goes to."""

    thing: str
    path: str
    form: dict[str, Any]
    means: Callable[[History], None]


class History:
    """What a job or a platform is after the writes so far."""

    def __init__(self, job: Job, platform: Platform, known: frozenset[PinKey]) -> None:
        self.job, self.platform, self.known = job, platform, known
        self._before: list[tuple[Job, Job]] = []
        self._undone: list[tuple[Job, Job]] = []

    def copy(self) -> History:
        made = copy.copy(self)
        made._before, made._undone = list(self._before), list(self._undone)
        return made

    def change(self, act: Callable[[Job], Job]) -> None:
        old = self.job
        self.job = act(old)
        if self.job != old:
            self._before = [*self._before, (old, self.job)][-100:]
            self._undone = []

    def undo(self) -> None:
        old, new = self._before.pop()
        self.job = old
        self._undone.append((old, new))

    def redo(self) -> None:
        old, new = self._undone.pop()
        self.job = new
        self._before.append((old, new))


class Person:
    """Somebody at a browser: sends writes to any process and notes what was answered."""

    def __init__(self, addresses: Sequence[str], token: str, seed: int, pins: Sequence[PinKey]) -> None:
        self.chance, self.pins = random.Random(seed), pins
        # One connection a request: a server may close one that idles just as the next request goes out on it.
        alone = httpx.Limits(max_keepalive_connections=0)
        cookies = {COOKIE: token}
        self.clients = [httpx.Client(base_url=a, cookies=cookies, timeout=300, limits=alone) for a in addresses]
        self.known: dict[str, int] = {}
        self.seen: dict[str, Snapshot] = {}  # more or less what the jobs are now, so that most writes make sense
        self.taken: list[Sent] = []
        self.open: Sent | None = None  # sent, and not answered yet
        self.answers: dict[int, int] = {}

    def close(self) -> None:
        for client in self.clients:
            client.close()

    def write(self) -> None:
        """One write, against the version this person has seen last."""
        thing = self.chance.choice(THINGS)
        client = self.chance.choice(self.clients)
        if thing not in self.known:
            self.known[thing] = self.look(client, thing)
        version = self.known[thing]
        wanted = self.pin_write() if thing == PLATFORM else self.job_write(thing)
        self.open = (thing, version, wanted)
        answer = client.post(wanted.path, data={"version": str(version), **wanted.form})
        self.open = None
        self.answers[answer.status_code] = self.answers.get(answer.status_code, 0) + 1
        assert answer.status_code in (303, 409, 422), (wanted, answer.status_code, answer.text[-2000:])
        if answer.status_code == 303:
            self.taken.append((thing, version, wanted))
            self.known[thing] = version + 1
        elif answer.status_code == 409:
            shown = _VERSION.search(answer.text)  # the page that shows both versions is one to go on from
            if shown and int(shown[1]) > version:
                self.known[thing] = int(shown[1])
            else:
                del self.known[thing]

    def look(self, client: httpx.Client, thing: str) -> int:
        """The version that a page shows."""
        page = client.get(f"/platforms/{thing}" if thing == PLATFORM else f"/jobs/{thing}/settings")
        assert page.status_code == 200, page.text[-2000:]
        found = _VERSION.search(page.text)
        assert found, page.text
        if thing != PLATFORM and (thing not in self.seen or self.chance.random() < 0.2):
            self.seen[thing] = job_json.load(client.get(f"/jobs/{thing}/job.json").content)
        return int(found[1])

    def pin_write(self) -> Write:
        pin = self.chance.choice([p for p in self.pins if p.platform == PLATFORM])
        note, component = f"note {self.chance.random()}", self.chance.choice(["", "a", "b"])
        form = {
            "connector": pin.connector, "cavity": pin.cavity, "kind": "logic-12v", "direction": "out",
            "evidence": "assumed", "note": note, "component": component, "function": "changed",
        }  # fmt: skip

        def means(history: History) -> None:
            pins = tuple(
                replace(p, note=note, component=component, function="changed") if p.key(PLATFORM) == pin else p
                for p in history.platform.pins
            )
            history.platform = replace(history.platform, pins=pins)

        return Write(PLATFORM, f"/platforms/{PLATFORM}/pin?{httpx.QueryParams(pin=end_ref(pin))}", form, means)

    def job_write(self, thing: str) -> Write:
        chance, root = self.chance, f"/jobs/{thing}"
        seen = self.seen[thing]
        free = [pin for pin in self.pins if pin not in seen.signal_of] or self.pins
        some = chance.sample(free if chance.random() < 0.95 else self.pins, chance.choice([1, 2, 2, 3]))
        refs = [end_ref(pin) for pin in some]
        number = chance.choice([*seen.signal, "s9999"])
        joined = [m.end for s in seen.job.signals if s.key == number for m in s.members]
        text = f"{chance.random()}"

        def of(act: Callable[[Job, History], Job]) -> Callable[[History], None]:
            return lambda history: history.change(lambda job: act(job, history))

        match chance.choice(_DEEDS):
            case "settle":
                fate = chance.choice([Fate.PARKED, Fate.CAPPED, Fate.RETAINED])

                def settle(job: Job, history: History) -> Job:
                    for pin in some:
                        job = edits.set_fate(job, pin, fate, text, replacing=True, known=history.known)
                    return job

                form = {"deed": "settle", "pin": refs, "fate": fate.value, "reason": text}
                return Write(thing, f"{root}/decide/settle", form, of(settle))
            case "clear":

                def clear(job: Job, _: History) -> Job:
                    for pin in some:
                        job = edits.clear_fate(job, pin)
                    return job

                return Write(thing, f"{root}/decide/settle", {"deed": "clear", "pin": refs}, of(clear))
            case "join":

                def join(job: Job, history: History) -> Job:
                    job = without_fates(job, some)
                    return edits.join(job, some, name=text, known=history.known)

                return Write(thing, f"{root}/decide/settle", {"deed": "join", "pin": refs, "name": text}, of(join))
            case "save":
                form = {"name": text, "mm2": "0.75", "colour": "RD", "note": text, "confirmed": "yes"}
                values = {
                    "name": text, "function_code": "", "mm2": 0.75, "colour": "RD", "insulation": "", "twist": "",
                    "screen": "", "note": text, "confirmed": True,
                }  # fmt: skip
                save = of(lambda job, _: edits.update_signal(job, number, **values))
                return Write(thing, f"{root}/decide/signals/{number}", form, save)
            case "dissolve":
                dissolve = of(lambda job, _: edits.dissolve(job, number))
                return Write(thing, f"{root}/decide/signals/{number}/dissolve", {}, dissolve)
            case "add":
                pin = some[0]
                add = of(lambda job, h: edits.add_member(without_fates(job, [pin]), number, pin, known=h.known))
                form = {"deed": "add", "add": refs[0]}
                return Write(thing, f"{root}/decide/signals/{number}/members", form, add)
            case "remove":
                pin = chance.choice(joined or some)
                remove = of(lambda job, _: edits.remove_member(job, number, pin))
                form = {"deed": "remove", "end": [end_ref(pin)]}
                return Write(thing, f"{root}/decide/signals/{number}/members", form, remove)
            case "undo":
                return Write(thing, f"{root}/undo", {}, History.undo)
            case _:
                return Write(thing, f"{root}/redo", {}, History.redo)


def without_fates(job: Job, pins: Sequence[PinKey]) -> Job:
    """A pin that is joined by hand gives up its earlier fate."""
    return replace(job, fates=tuple(f for f in job.fates if f.pin not in pins))


Sent = tuple[str, int, Write]  # thing, the version it was asked against, what


class Ledger:
    """What was answered, put into the order of the versions it was asked against, and where that leads."""

    def __init__(self, url: str) -> None:
        with closing(Shop(url)) as shop:
            snapshots = {key: jobs.get(shop, key).snapshot for key in JOBS}
        self.versions = standing(url)
        self.pins = sorted(snapshots[JOBS[0]].pin)
        self.histories = {
            thing: History(s.job, s.platform[PLATFORM], frozenset(s.pin))
            for thing, s in (snapshots | {PLATFORM: snapshots[JOBS[0]]}).items()
        }

    def copy(self) -> Ledger:
        """Another one that goes its own way from here."""
        made = copy.copy(self)
        made.versions = dict(self.versions)
        made.histories = {thing: history.copy() for thing, history in self.histories.items()}
        return made

    def advance(self, taken: Sequence[Sent], upto: Mapping[str, int]) -> None:
        """Goes on to the versions given. Fails when two writes were taken against one version, when a version was
        made by a write that is not among them, and when one was taken that should have been refused."""
        for thing in THINGS:
            mine = {version: write for t, version, write in taken if t == thing}
            assert len(mine) == sum(t == thing for t, _, _ in taken), f"two writes of {thing} went through as one"
            for number in range(self.versions[thing], upto[thing]):
                assert number in mine, f"{thing} went on from version {number} by a write that nobody was told of"
                try:
                    mine[number].means(self.histories[thing])
                except (PinmapError, IndexError) as error:
                    raise AssertionError(f"{thing}: {mine[number]} was taken and should not have been") from error
            self.versions[thing] = upto[thing]

    def compare(self, url: str) -> None:
        """Fails unless the database holds just that."""
        assert standing(url) == self.versions
        platform = self.histories[PLATFORM].platform
        with closing(Shop(url)) as shop:
            for key in JOBS:
                stored, job = jobs.get(shop, key).snapshot, self.histories[key].job
                assert stored.platform[PLATFORM] == platform
                assert stored.job == job
                platforms = tuple(platform if p.key == PLATFORM else p for p in stored.platforms)
                assert stored.content_hash == replace(stored, job=job, platforms=platforms).content_hash


def standing(url: str) -> dict[str, int]:
    """The version of each thing."""
    with closing(Shop(url)) as shop, shop.read() as session:
        found = {key: job_rows.versions(session, key).version for key in JOBS}
        return found | {PLATFORM: platform_rows.find_platform(session, PLATFORM)[1]}


def told(people: Sequence[Person]) -> str:
    """Figures for the report of a run."""
    answers: dict[int, int] = {}
    for person in people:
        for status, count in person.answers.items():
            answers[status] = answers.get(status, 0) + count
    return json.dumps({"answers": answers, "taken": sum(len(p.taken) for p in people)})

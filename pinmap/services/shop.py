"""A shop: its database, what this process remembers of it, and in whose name it is worked on."""

from __future__ import annotations

import copy
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import NotAllowed, StructureError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.people import SYSTEM, Actor, Right
from pinmap.core.model.pinouts import Housing
from pinmap.services.memory import Memory, V
from pinmap.settings import Settings
from pinmap.store import migrate
from pinmap.store.engine import make_engine, writing
from pinmap.store.jobs import Refs
from pinmap.store.platform_rows import LoadedPlatform


class Shop:
    """One database, in the hands of one actor. Every service takes a Shop first and owns its transaction.

    Reading asks for the right READ and writing for BUILD unless a service says otherwise, so that a service nobody
    thought about is closed to technicians and visitors."""

    def __init__(self, database_url: str) -> None:
        self.actor = SYSTEM
        self.engine = make_engine(database_url)
        self._writing = writing(self.engine)
        # All queries of one read see one state; SQLite's transactions do so anyway.
        several = self.engine.dialect.name == "postgresql"
        self._reading = self.engine.execution_options(isolation_level="REPEATABLE READ") if several else self.engine
        # All are keyed by the versions they were made from, so another process's change is never missed.
        self.snapshots: Memory[tuple[Snapshot, Refs]] = Memory(32)
        self.platforms: Memory[LoadedPlatform] = Memory(128)
        self.housings: Memory[dict[str, tuple[Housing, int]]] = Memory(2)
        self.dictionaries: Memory[Dictionary] = Memory(2)

    def acting_as(self, actor: Actor) -> Shop:
        """The same shop in somebody's hands."""
        shop = copy.copy(self)
        shop.actor = actor
        return shop

    def require(self, right: Right) -> None:
        """Raises NotAllowed unless whoever acts has the right."""
        if not self.actor.may(right):
            raise NotAllowed(f"{self.actor.name}: this needs the right “{right}”, which your role does not include")

    @contextmanager
    def read(self, right: Right = Right.READ) -> Iterator[Session]:
        """A session that sees one state of the database and changes nothing. Raises NotAllowed."""
        self.require(right)
        with Session(self._reading) as session:
            yield session

    @contextmanager
    def write(self, right: Right = Right.BUILD) -> Iterator[Session]:
        """A session that commits at the end, or undoes everything when an error comes through. Raises NotAllowed, and
        StructureError when a newer Pinmap on the same database has stored something that this one does not know and
        would leave without what it belongs to."""
        self.require(right)
        try:
            with Session(self._writing, expire_on_commit=False) as session, session.begin():
                session.info["writing"] = True
                yield session
        except sa.exc.IntegrityError as error:
            if migrate.current(self.engine) == migrate.newest():
                raise
            raise StructureError(
                "a newer Pinmap works on this database as well and has stored something that belongs to this; nothing "
                "was changed. Do it in the newer one: load the page again in a moment, when all are brought up to date"
            ) from error

    def recall(self, session: Session, memory: Memory[V], key: Hashable, make: Callable[[], V]) -> V:
        """The value of a key. What a writing session reads is not remembered, because it may yet be undone."""
        return memory.get(key, make, keep="writing" not in session.info)

    def upgrade(self) -> None:
        """Brings the tables up to date."""
        migrate.upgrade(self.engine)

    def ping(self) -> None:
        """Raises SQLAlchemy's OperationalError when the database does not answer."""
        with self.read(Right.OPEN) as session:
            session.execute(sa.text("SELECT 1"))

    def is_empty(self, session: Session | None = None) -> bool:
        """Whether nobody has stored a platform or a job yet, as seen in a session of its own or in the one given."""
        if session is None:
            with self.read() as own:
                return self.is_empty(own)
        counts = sa.text("SELECT (SELECT count(*) FROM platform) + (SELECT count(*) FROM job)")
        return bool(session.execute(counts).scalar_one() == 0)

    def close(self) -> None:
        """Gives back all connections."""
        self.engine.dispose()


def open_shop(settings: Settings) -> Shop:
    """The shop of these settings, its tables up to date; loads the demo into an empty database when that is set."""
    shop = Shop(settings.database_url)
    shop.upgrade()
    if settings.demo and shop.is_empty():
        from pinmap.services import demo  # here, because reading the demo's files takes time that others need not wait

        demo.load(shop)
    return shop

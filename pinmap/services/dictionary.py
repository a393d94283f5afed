"""The function dictionary: the built-in one and what the shop has added to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from sqlmodel import Session

from pinmap.core.crossing.changes import differences, plain_changes
from pinmap.core.errors import Conflict, Difference, InputError, NotFound
from pinmap.core.facts.functions import Dictionary, FunctionEntry, dictionary
from pinmap.core.model.jobs import as_plain
from pinmap.core.model.words import Direction, Kind
from pinmap.services import audit
from pinmap.services.audit import Subject
from pinmap.services.shop import Shop
from pinmap.services.stale import looked_at
from pinmap.store import functions, versions


def entries(shop: Shop) -> Dictionary:
    """All functions; the shop's own replace built-in ones of the same code."""
    with shop.read() as session:
        return entries_in(shop, session)


def entries_in(shop: Shop, session: Session) -> Dictionary:
    """All functions, read in a session that is open."""
    stamp = versions.stamp(session, "functions")
    return shop.recall(
        session,
        shop.dictionaries,
        stamp,
        lambda: merged([entry for entry, _ in functions.load(session).values()]) if stamp else dictionary(),
    )


def merged(plain: list[dict[str, Any]]) -> Dictionary:
    """The built-in dictionary with entries as they are stored."""
    return dictionary().with_entries([from_plain(entry) for entry in plain])


def own(shop: Shop) -> tuple[tuple[FunctionEntry, int], ...]:
    """The shop's own functions with their versions, by code."""
    with shop.read() as session:
        return tuple((from_plain(entry), version) for entry, version in functions.load(session).values())


def get_own(shop: Shop, code: str) -> tuple[FunctionEntry, int]:
    """One of the shop's own functions with its version. Raises NotFound."""
    with shop.read() as session:
        return _own_in(session, code)


def _own_in(session: Session, code: str) -> tuple[FunctionEntry, int]:
    found = functions.load(session).get(code)
    if found is None:
        raise NotFound(f"there is no function {code!r} of your own")
    return from_plain(found[0]), found[1]


def add(shop: Shop, entry: FunctionEntry) -> None:
    """Adds a function, or one that replaces a built-in one. Raises InputError."""
    _check(entry)
    with shop.write() as session:
        functions.add(session, entry.code, to_plain(entry))
        _note(shop, session, entry.code, "added", {}, to_plain(entry))


def update(shop: Shop, entry: FunctionEntry, version: int) -> None:
    """Changes one of the shop's own functions. Raises InputError, Conflict, NotFound."""
    _check(entry)
    with shop.write() as session:
        before, _ = functions.load(session).get(entry.code, ({}, 0))
        try:
            functions.update(session, entry.code, to_plain(entry), version)
        except Conflict as stale:
            now = to_plain(_own_in(session, entry.code)[0])
            told = plain_changes(f"function {entry.code}", now, to_plain(entry))
            raise looked_at(stale, lambda: differences(told)) from None
        _note(shop, session, entry.code, "changed", before, to_plain(entry))


def delete(shop: Shop, code: str, version: int) -> None:
    """Deletes one of the shop's own functions; pins keep the code. Raises Conflict, NotFound."""
    with shop.write() as session:
        before, _ = functions.load(session).get(code, ({}, 0))
        try:
            functions.delete(session, code, version)
        except Conflict as stale:
            name = _own_in(session, code)[0].name
            raise looked_at(stale, lambda: (Difference(f"function {code}", "", name, "taken out"),)) from None
        _note(shop, session, code, "deleted", before, {})


def _note(
    shop: Shop, session: Session, code: str, what: str, before: Mapping[str, Any], after: Mapping[str, Any]
) -> None:
    changes = plain_changes(f"function {code}", before, after)
    audit.record(shop, session, Subject.FUNCTION, code, what, changes)


def to_plain(entry: FunctionEntry) -> dict[str, Any]:
    """All fields of an entry, ready for JSON."""
    return {f.name: as_plain(getattr(entry, f.name)) for f in fields(entry)}


def from_plain(plain: Mapping[str, Any]) -> FunctionEntry:
    """An entry out of its stored fields; a field that this version does not know is left out."""
    known = {f.name for f in fields(FunctionEntry)}
    values = {k: v for k, v in plain.items() if k in known}
    values["kind"] = Kind(values.get("kind", Kind.UNKNOWN))
    values["direction"] = Direction(values.get("direction", Direction.PASSIVE))
    values["synonyms"] = tuple(values.get("synonyms", ()))
    return FunctionEntry(**values)


def _check(entry: FunctionEntry) -> None:
    if not entry.name.strip():
        raise InputError("name", entry.name, "give the function a name")
    for field in ("current_a", "peak_a", "min_v"):
        value = getattr(entry, field)
        if value is not None and not 0 <= value < 10_000:
            raise InputError(field, value, "give a number from 0 to 10000, or leave it empty")
    dictionary().with_entries([entry])  # raises for what else is wrong

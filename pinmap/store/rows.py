"""Writes only what differs between the rows in a table and those wanted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import StructureError
from pinmap.store.base import checked, sound

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Plan:
    """What has to be written to one table."""

    table: sa.Table
    identity: tuple[str, ...]
    deletes: tuple[Row, ...] = ()
    inserts: tuple[Row, ...] = ()
    updates: tuple[Row, ...] = ()

    @property
    def size(self) -> int:
        """Rows to be written."""
        return len(self.deletes) + len(self.inserts) + len(self.updates)


def plan(
    session: Session, table: sa.Table, fixed: Row, key: Sequence[str], wanted: Iterable[Row], *, where: Any = None
) -> Plan:
    """Compares the rows in scope with the wanted ones, given in their order.

    ``fixed`` are columns that all rows share; ``where`` is the scope where it is wider than ``fixed``. ``key`` tells
    rows apart within it. A column ``position`` that is not given is filled in so that the order holds and few rows
    change. Raises StructureError when two wanted rows have one key.
    """
    scope = where if where is not None else sa.and_(*(table.c[name] == value for name, value in fixed.items()))
    names = [c.name for c in table.c if c.name not in fixed and c.name != "id"]
    found: dict[tuple[Any, ...], dict[str, Any]] = {}
    for values in session.execute(sa.select(*(table.c[n] for n in names)).where(scope)):
        row = dict(zip(names, values, strict=True))
        found[tuple(row[k] for k in key)] = row
    numbered = "position" in names
    inserts, updates = [], []
    seen: set[tuple[Any, ...]] = set()
    last = -1
    for given in wanted:
        identity = tuple(given[k] for k in key)
        if identity in seen:
            raise StructureError(f"{table.name} {'-'.join(map(str, identity))} stands twice", (str(identity[-1]),))
        seen.add(identity)
        old = found.get(identity)
        row = dict(given)
        if numbered and "position" not in row:
            row["position"] = old["position"] if old is not None and old["position"] > last else last + 1
        last = row.get("position", last)
        if old is None:
            inserts.append({**fixed, **row})
        elif old != row:
            updates.append(row)
    deletes = [{k: row[k] for k in key} for identity, row in found.items() if identity not in seen]
    return Plan(
        table,
        (*fixed, *key),
        tuple({**fixed, **row} for row in deletes),
        tuple({**fixed, **row} for row in inserts),
        tuple({**fixed, **row} for row in updates),
    )


def apply(session: Session, plans: Sequence[Plan]) -> int:
    """Executes plans that stand in the order parents before children; gives the number of rows written. Raises
    InputError for a value that no engine could hold."""
    for p in reversed(plans):
        if p.deletes:
            session.execute(p.table.delete().where(_identified(p)), [_identity(p, row) for row in p.deletes])
    for p in plans:
        if p.inserts:
            session.execute(p.table.insert(), [checked(p.table, dict(row)) for row in p.inserts])
        if p.updates:
            changing = [n for n in p.updates[0] if n not in p.identity]
            new = {n: sa.bindparam(f"new_{n}", type_=p.table.c[n].type) for n in changing}
            session.execute(
                p.table.update().where(_identified(p)).values(new),
                [_identity(p, row) | {f"new_{n}": sound(p.table.c[n], row[n]) for n in changing} for row in p.updates],
            )
    return sum(p.size for p in plans)


def _identified(p: Plan) -> sa.ColumnElement[bool]:
    terms = []
    for name in p.identity:
        column = p.table.c[name]
        sought = sa.bindparam(f"old_{name}", type_=column.type)
        # part of an identity may be empty, and NULL = NULL is not true
        terms.append(column.is_not_distinct_from(sought) if column.nullable else column == sought)
    return sa.and_(*terms)


def _identity(p: Plan, row: Row) -> dict[str, Any]:
    return {f"old_{name}": row[name] for name in p.identity}

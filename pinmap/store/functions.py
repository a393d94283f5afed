"""The shop's own functions, each as its fields by name."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import Conflict, InputError, NotFound
from pinmap.store.base import checked, sought, table, touched
from pinmap.store.versions import raise_stamp


def load(session: Session) -> dict[str, tuple[dict[str, Any], int]]:
    """code -> (fields, version), by code."""
    f = table("function_entry")
    return {
        code: (entry, version)
        for code, entry, version in session.execute(sa.select(f.c.code, f.c.entry, f.c.version).order_by(f.c.code))
    }


def add(session: Session, code: str, entry: dict[str, Any]) -> None:
    """Adds one. Raises InputError when the shop has one of this code."""
    f = table("function_entry")
    row = checked(f, {"code": code, "entry": entry, "version": 1})
    if session.execute(sa.select(f.c.code).where(f.c.code == code)).first() is not None:
        raise InputError("code", code, "you have added this one already; change it instead")
    session.execute(sa.insert(f).values(**row))
    raise_stamp(session, "functions")


def update(session: Session, code: str, entry: dict[str, Any], version: int) -> None:
    """Changes one. Raises NotFound or Conflict."""
    f = table("function_entry")
    mine = sa.and_(f.c.code == sought(code), f.c.version == version)
    _hit(session, touched(session, sa.update(f).where(mine).values(entry=entry, version=version + 1)), code, version)


def delete(session: Session, code: str, version: int) -> None:
    """Deletes one. Raises NotFound or Conflict."""
    f = table("function_entry")
    gone = touched(session, sa.delete(f).where(f.c.code == sought(code), f.c.version == version))
    _hit(session, gone, code, version)


def _hit(session: Session, rows: int, code: str, version: int) -> None:
    """Raises the reason why a statement found no row of this code and version; counts the change otherwise."""
    f = table("function_entry")
    if rows != 1:
        found = session.execute(sa.select(f.c.version).where(f.c.code == code)).scalar_one_or_none()
        if found is None:
            raise NotFound(f"there is no function {code!r} of your own")
        raise Conflict(f"the function {code}", version, found)
    raise_stamp(session, "functions")

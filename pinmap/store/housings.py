"""The shop's own housings as core records."""

from __future__ import annotations

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import InputError, NotFound
from pinmap.core.model.pinouts import Cavity, Housing
from pinmap.store.base import checked, sought, table, touched
from pinmap.store.rows import apply, plan
from pinmap.store.versions import claim, raise_stamp

_HOUSING_COLUMNS = ("key", "name", "gender", "family", "keying", "sealed", "terminal", "shape", "source", "lock")


def load_housings(session: Session) -> dict[str, tuple[Housing, int]]:
    """The shop's own housings and their versions, by key."""
    h, v = table("housing"), table("cavity")
    cavities: dict[int, list[Cavity]] = {}
    for housing_id, name, column, row in session.execute(
        sa.select(v.c.housing_id, v.c.name, v.c.column, v.c.row).order_by(v.c.housing_id, v.c.position)
    ):
        cavities.setdefault(housing_id, []).append(Cavity(name=name, column=column, row=row))
    found = session.execute(sa.select(h.c.id, h.c.version, *(h.c[x] for x in _HOUSING_COLUMNS)).order_by(h.c.key))
    out = {}
    for housing_id, version, *values in found:
        fields = dict(zip(_HOUSING_COLUMNS, values, strict=True))
        out[fields["key"]] = (Housing(cavities=tuple(cavities.get(housing_id, ())), **fields), version)
    return out


def save_housing(session: Session, housing: Housing, version: int | None) -> int:
    """Adds a housing (version None) or changes it; gives the new version. Raises InputError, Conflict, NotFound."""
    if not housing.key.strip():
        raise InputError("key", housing.key, "give the housing a key")
    if len(set(housing.cavity_names)) != len(housing.cavities) or not all(n.strip() for n in housing.cavity_names):
        raise InputError("cavities", housing.key, "give every cavity a name of its own")
    h = table("housing")
    fields = checked(h, {k: getattr(housing, k) for k in _HOUSING_COLUMNS})
    at = session.execute(sa.select(h.c.id).where(h.c.key == housing.key)).scalar_one_or_none()
    if version is None:
        if at is not None:
            raise InputError("key", housing.key, "choose another key, this one is taken")
        version = 1
        at = session.execute(sa.insert(h).values(**fields, version=version).returning(h.c.id)).scalar_one()
    else:
        if at is None:
            raise NotFound(f"there is no housing {housing.key!r}")
        version = claim(session, "housing", at, version)
        session.execute(sa.update(h).where(h.c.id == at).values(**fields))
    rows = [{"position": i, "name": x.name, "column": x.column, "row": x.row} for i, x in enumerate(housing.cavities)]
    apply(session, [plan(session, table("cavity"), {"housing_id": at}, ("position",), rows)])
    raise_stamp(session, "housings")
    return version


def delete_housing(session: Session, key: str) -> None:
    """Deletes one of the shop's housings. Raises NotFound."""
    h = table("housing")
    if touched(session, sa.delete(h).where(h.c.key == sought(key))) != 1:
        raise NotFound(f"there is no housing {key!r} of your own")
    raise_stamp(session, "housings")


def housing_uses(session: Session, key: str) -> tuple[str, ...]:
    """Where a housing is used, in words."""
    c, p, n, j = table("connector"), table("platform"), table("node"), table("job")
    on = session.execute(sa.select(p.c.name, c.c.name).select_from(c.join(p)).where(c.c.housing == key))
    at = session.execute(sa.select(j.c.name, n.c.key).select_from(n.join(j)).where(n.c.housing == key))
    return tuple(sorted([f"connector {c} of {p}" for p, c in on] + [f"loom connector {n} of job {j!r}" for j, n in at]))

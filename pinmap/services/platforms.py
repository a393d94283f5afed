"""Platforms and their pinouts, one function for each thing a user does to them.

Every change takes the version that the user saw and raises Conflict when somebody else saved since.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from sqlmodel import Session

from pinmap.core.crossing.changes import differences, platform_changes
from pinmap.core.errors import Conflict, Difference, InputError, NotFound, StructureError
from pinmap.core.facts.shelf import ShelfEntry, shelf
from pinmap.core.model.pinouts import Connector, ConnectorKey, Edition, Housing, Pin, PinKey, Platform
from pinmap.core.model.words import Role
from pinmap.services import audit, jobs
from pinmap.services.audit import Subject
from pinmap.services.remembered import all_housings, loaded
from pinmap.services.shop import Shop
from pinmap.services.stale import looked_at
from pinmap.store import platform_rows, versions
from pinmap.store.platform_rows import LoadedPlatform, PlatformSummary


@dataclass(frozen=True, slots=True)
class PlatformView:
    """A platform as it stood at one version; ``housings`` are those that its connectors name; ``jobs`` are (key,
    name) of the jobs that pick it."""

    platform: Platform
    version: int
    housings: Mapping[str, Housing]
    jobs: tuple[tuple[str, str], ...]


def list_platforms(shop: Shop) -> tuple[PlatformSummary, ...]:
    """All platforms, by name."""
    with shop.read() as session:
        return platform_rows.list_platforms(session)


def get(shop: Shop, key: str) -> PlatformView:
    """A platform. Raises NotFound."""
    with shop.read() as session:
        return _view(shop, session, key)


def create(
    shop: Shop,
    *,
    key: str = "",
    name: str,
    role: Role,
    nominal_v: float = 12.0,
    editions: tuple[Edition, ...] = (),
    note: str = "",
    source: str = "",
) -> PlatformView:
    """A new platform without pins; an empty key is made from the name. Raises InputError."""
    keys = [e.key for e in editions]
    if len(set(keys)) < len(keys):
        raise InputError("editions", ", ".join(keys), "give each edition a key of its own")
    volts = _volts(nominal_v)
    platform = Platform(
        key=key, name=_named(name), role=role, nominal_v=volts, editions=editions, note=note, source=source
    )
    return _add(shop, platform)


def update(shop: Shop, key: str, version: int, **changes: Any) -> PlatformView:
    """Changes name, role, nominal_v, note or source. Raises Conflict, InputError, NotFound."""
    _allowed(changes, {"name", "role", "nominal_v", "note", "source"})
    if "name" in changes:
        changes["name"] = _named(changes["name"])
    if "nominal_v" in changes:
        changes["nominal_v"] = _volts(changes["nominal_v"])
    return _change(shop, key, version, "platform", lambda _s, old: replace(old.platform, **changes))


def rename(shop: Shop, key: str, version: int, name: str) -> PlatformView:
    """Gives a platform another name; its key stays."""
    return update(shop, key, version, name=name)


def delete(shop: Shop, key: str, version: int) -> None:
    """Deletes a platform. Raises StructureError naming the jobs that use it, Conflict, NotFound."""
    with shop.write() as session:
        platform_id, _ = platform_rows.find_platform(session, key)
        users = platform_rows.jobs_using(session, platform_id)

        def trial() -> tuple[Difference, ...]:
            if users:
                names = ", ".join(repr(name) for _, _, name in users)
                raise StructureError(f"platform {key} is used by {names}; delete or change these first", (key,))
            return (Difference("the platform", "", "stored", "deleted for good"),)

        _claim(session, platform_id, version, f"platform {key} (delete)", trial)
        trial()
        gone = loaded(shop, session, platform_id, version + 1).platform
        platform_rows.delete_platform(session, platform_id)
        audit.record(shop, session, Subject.PLATFORM, key, "deleted", platform_changes(gone, None))


def copy(shop: Shop, key: str, new_key: str, name: str) -> PlatformView:
    """A copy under another key. Raises NotFound, InputError."""
    source = get(shop, key).platform
    return _add(shop, replace(source, key=new_key, name=_named(name)))


def shelf_entries() -> tuple[ShelfEntry, ...]:
    """Standard connectors that can be taken from the shelf."""
    return tuple(shelf())


def from_shelf(shop: Shop, entry_key: str, key: str = "", name: str = "") -> PlatformView:
    """A platform of one's own out of a standard connector. Raises NotFound, InputError."""
    entry = next((e for e in shelf() if e.key == entry_key), None)
    if entry is None:
        raise NotFound(f"the shelf has no {entry_key!r}")
    source = entry.platform.source or f"{entry.standard}: {entry.source}"
    return _add(shop, replace(entry.platform, key=key, name=_named(name or entry.platform.name), source=source))


def add_edition(shop: Shop, key: str, version: int, edition: Edition) -> PlatformView:
    """One more edition; an empty key is made from its name."""

    def act(_session: Session, old: LoadedPlatform) -> Platform:
        taken = {e.key for e in old.platform.editions}
        made = edition if edition.key else replace(edition, key=jobs.free_key(edition.name, taken))
        if made.key in taken:
            raise InputError("key", made.key, "choose another key, the platform has such an edition")
        return replace(old.platform, editions=(*old.platform.editions, replace(made, name=_named(made.name))))

    return _change(shop, key, version, "edition", act)


def update_edition(shop: Shop, key: str, version: int, edition: str, **changes: Any) -> PlatformView:
    """Changes anything of an edition but its key."""
    _allowed(changes, {"name", "from_year", "to_year", "market", "note"})

    def act(_session: Session, old: LoadedPlatform) -> Platform:
        _find(old.platform.editions, edition, "key", "edition")
        editions = tuple(replace(e, **changes) if e.key == edition else e for e in old.platform.editions)
        return replace(old.platform, editions=editions)

    return _change(shop, key, version, "edition", act)


def delete_edition(shop: Shop, key: str, version: int, edition: str) -> PlatformView:
    """Raises StructureError while a connector, a pin or a job names the edition."""

    def act(session: Session, old: LoadedPlatform) -> Platform:
        platform = old.platform
        _find(platform.editions, edition, "key", "edition")
        uses = [f"connector {c.name}" for c in platform.connectors if edition in c.editions]
        uses += [f"pin {p.connector}-{p.cavity}" for p in platform.pins if edition in p.editions]
        uses += [f"job {name!r}" for name in platform_rows.jobs_picking_edition(session, old.id, edition)]
        if uses:
            raise StructureError(f"edition {edition} is named by {_some(uses)}; change these first", (edition,))
        return replace(platform, editions=tuple(e for e in platform.editions if e.key != edition))

    return _change(shop, key, version, "edition", act)


def add_connector(shop: Shop, key: str, version: int, connector: Connector) -> PlatformView:
    """One more connector."""

    def act(_session: Session, old: LoadedPlatform) -> Platform:
        if any(c.name == connector.name for c in old.platform.connectors):
            raise InputError("name", connector.name, "choose another name, the platform has such a connector")
        return replace(old.platform, connectors=(*old.platform.connectors, connector))

    return _change(shop, key, version, f"connector {connector.name}", act)


def update_connector(shop: Shop, key: str, version: int, name: str, **changes: Any) -> PlatformView:
    """Changes a connector; with ``name`` in ``changes`` as ``new_name`` it is renamed, and its pins, and the jobs that
    use them, follow."""
    new_name = str(changes.pop("new_name", name)).strip()
    _allowed(changes, {f.name for f in fields(Connector)} - {"name"})

    def act(session: Session, old: LoadedPlatform) -> Platform:
        platform = old.platform
        connector = _find(platform.connectors, name, "name", "connector")
        if new_name != name:
            if not new_name:
                raise InputError("name", new_name, "give the connector a name")
            platform_rows.rename_connector(session, old.id, name, new_name)
        changed = replace(connector, name=new_name, **changes)
        return replace(
            platform,
            connectors=tuple(changed if c is connector else c for c in platform.connectors),
            pins=tuple(replace(p, connector=new_name) if p.connector == name else p for p in platform.pins),
        )

    return _change(shop, key, version, f"connector {name}", act)


def delete_connector(shop: Shop, key: str, version: int, name: str) -> PlatformView:
    """Deletes a connector with its pins. Raises StructureError while a job uses it or one of them."""

    def act(session: Session, old: LoadedPlatform) -> Platform:
        platform = old.platform
        _find(platform.connectors, name, "name", "connector")
        ids = [i for k, i in old.pin_ids.items() if k.connector == name]
        uses = platform_rows.connector_uses(session, old.connector_ids[ConnectorKey(platform.key, name)])
        if uses := (*uses, *platform_rows.pin_uses(session, ids)):
            raise StructureError(f"connector {name} is used by {_some(uses)}; take it out there first", (name,))
        return replace(
            platform,
            connectors=tuple(c for c in platform.connectors if c.name != name),
            pins=tuple(p for p in platform.pins if p.connector != name),
        )

    return _change(shop, key, version, f"connector {name}", act)


def add_pin(shop: Shop, key: str, version: int, pin: Pin) -> PlatformView:
    """One more pin. Raises InputError when the cavity has an entry for the same editions, or the housing no such
    cavity."""

    def act(session: Session, old: LoadedPlatform) -> Platform:
        _check_pin(shop, session, old, pin)
        if pin.key(key) in old.pin_ids:
            raise InputError("cavity", pin.cavity, "choose another cavity, this one has an entry for the same editions")
        return replace(old.platform, pins=(*old.platform.pins, pin))

    return _change(shop, key, version, f"pin {pin.connector}-{pin.cavity}", act)


def update_pin(shop: Shop, key: str, version: int, pin: PinKey, changed: Pin) -> PlatformView:
    """Changes a pin; moved to another cavity, connector or set of editions it stays joined in the jobs that use it."""

    def act(session: Session, old: LoadedPlatform) -> Platform:
        if pin not in old.pin_ids:
            raise NotFound(f"there is no pin {pin}")
        _check_pin(shop, session, old, changed)
        if changed.key(key) != pin:
            connector_id = old.connector_ids[ConnectorKey(key, changed.connector)]
            platform_rows.rename_pin(
                session, old.pin_ids[pin], connector_id, changed.cavity, ";".join(changed.editions)
            )
        return replace(old.platform, pins=tuple(changed if p.key(key) == pin else p for p in old.platform.pins))

    return _change(shop, key, version, f"pin {pin.connector}-{pin.cavity}", act)


def delete_pin(shop: Shop, key: str, version: int, pin: PinKey) -> PlatformView:
    """Deletes a pin. Raises StructureError while a job uses it."""

    def act(session: Session, old: LoadedPlatform) -> Platform:
        if pin not in old.pin_ids:
            raise NotFound(f"there is no pin {pin}")
        if uses := platform_rows.pin_uses(session, [old.pin_ids[pin]]):
            raise StructureError(f"pin {pin} is used by {_some(uses)}; take it out there first", (str(pin),))
        return replace(old.platform, pins=tuple(p for p in old.platform.pins if p.key(key) != pin))

    return _change(shop, key, version, f"pin {pin.connector}-{pin.cavity}", act)


def change_in(shop: Shop, session: Session, key: str, version: int, what: str, act: Act) -> None:
    """Changes a platform in a session that is open, and what follows from it in the jobs that use it."""
    platform_id, _ = platform_rows.find_platform(session, key)
    users = platform_rows.jobs_using(session, platform_id)  # first, so that no job changes meanwhile

    def trial() -> tuple[Difference, ...]:
        now = loaded(shop, session, *platform_rows.find_platform(session, key))
        after = act(session, now)
        platform_rows.check_platform(after)
        return differences(platform_changes(now.platform, after))

    _claim(session, platform_id, version, f"platform {key} ({what})", trial)
    old = loaded(shop, session, platform_id, version)
    new = act(session, old)
    platform_rows.save_platform(session, platform_id, new)
    audit.record(shop, session, Subject.PLATFORM, key, what, platform_changes(old.platform, new))
    for _, job, _ in users:
        jobs.rederive(shop, session, job)


Act = Callable[[Session, LoadedPlatform], Platform]


def _claim(
    session: Session, platform_id: int, version: int, what: str, trial: Callable[[], tuple[Difference, ...]]
) -> None:
    try:
        versions.claim(session, "platform", platform_id, version, what)
    except Conflict as stale:
        raise looked_at(stale, trial) from None


def _change(shop: Shop, key: str, version: int, what: str, act: Act) -> PlatformView:
    with shop.write() as session:
        change_in(shop, session, key, version, what, act)
        return _view(shop, session, key)


def _add(shop: Shop, platform: Platform) -> PlatformView:
    with shop.write() as session:
        taken = {p.key for p in platform_rows.list_platforms(session)}
        key = platform.key.strip() or jobs.free_key(platform.name, taken)
        made = replace(platform, key=key)
        platform_rows.add_platform(session, made)
        audit.record(shop, session, Subject.PLATFORM, key, "added", platform_changes(None, made))
        return _view(shop, session, key)


def _view(shop: Shop, session: Session, key: str) -> PlatformView:
    platform_id, version = platform_rows.find_platform(session, key)
    platform = loaded(shop, session, platform_id, version).platform
    named = {c.housing for c in platform.connectors}
    housings = {k: h for k, h in all_housings(shop, session).items() if k in named}
    users = tuple((k, name) for _, k, name in platform_rows.jobs_using(session, platform_id, lock=False))
    return PlatformView(platform, version, housings, users)


def _check_pin(shop: Shop, session: Session, old: LoadedPlatform, pin: Pin) -> None:
    if not pin.cavity.strip():
        raise InputError("cavity", pin.cavity, "name the cavity")
    connectors = {c.name: c for c in old.platform.connectors}
    if pin.connector not in connectors:
        raise InputError("connector", pin.connector, f"choose one of {_some(connectors) or 'none; add it first'}")
    connector = connectors[pin.connector]
    housing = all_housings(shop, session).get(connector.housing)
    if housing is not None and housing.cavities and pin.cavity not in housing.cavity_names:
        raise InputError("cavity", pin.cavity, f"housing {housing.name} has {', '.join(housing.cavity_names[:40])}")
    for field in ("current_a", "peak_a", "wire_mm2"):
        value = getattr(pin, field)
        if value is not None and not 0 <= value < 10_000:
            raise InputError(field, value, "give a number from 0 to 10000, or leave it empty")


def _find(records: Any, wanted: str, attribute: str, what: str) -> Any:
    for record in records:
        if getattr(record, attribute) == wanted:
            return record
    raise NotFound(f"there is no {what} {wanted!r}")


def _named(name: str) -> str:
    if not name.strip():
        raise InputError("name", name, "give it a name")
    return name.strip()


def _volts(value: float) -> float:
    if not 0 < value <= 60:
        raise InputError("nominal_v", value, "give the supply in volts, over 0 and up to 60")
    return float(value)


def _allowed(changes: Mapping[str, Any], names: set[str]) -> None:
    for name in changes:
        if name not in names:
            raise InputError("field", name, f"what can change is {', '.join(sorted(names))}")


def _some(uses: Any) -> str:
    shown = list(uses)
    return ", ".join(shown[:8]) + (f" and {len(shown) - 8} more" if len(shown) > 8 else "")

"""What comes in with a job file against what the shop has: shared, refused, or brought in under a new key."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from itertools import count

from pinmap.core.errors import StructureError
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import End
from pinmap.core.model.pinouts import Housing, PinKey, Platform


def settled(
    snapshot: Snapshot,
    housings: Mapping[str, Housing],
    platform: Callable[[str], Platform | None],
    *,
    rename: bool,
) -> Snapshot:
    """The snapshot with every clashing housing and platform under a key of its own. Raises StructureError naming all
    clashes when renaming is not wanted."""
    clashing_housings = [h.key for h in snapshot.housings if h.key in housings and housings[h.key] != h]
    clashing_platforms = [p.key for p in snapshot.platforms if platform(p.key) not in (None, p)]
    if clashing_housings or clashing_platforms:
        if not rename:
            named = [f"platform {k}" for k in clashing_platforms] + [f"housing {k}" for k in clashing_housings]
            raise StructureError(
                f"the file's {', '.join(named)} differ from those here under the same key; "
                "import with new keys, which keeps both",
                tuple(clashing_platforms + clashing_housings),
            )
        snapshot = _rename_housings(snapshot, clashing_housings, set(housings))
        # a platform whose housing was renamed is no longer the one it may have equalled
        clashing_platforms = [p.key for p in snapshot.platforms if platform(p.key) not in (None, p)]
        for key in clashing_platforms:
            new = next(k for n in count(2) if platform(k := f"{key}-{n}") is None and k not in snapshot.platform)
            snapshot = _rename_platform(snapshot, key, new)
    return snapshot


def _rename_housings(snapshot: Snapshot, keys: Collection[str], taken: Collection[str]) -> Snapshot:
    used = set(taken) | {h.key for h in snapshot.housings}
    new: dict[str, str] = {}
    for key in keys:
        new[key] = next(k for n in count(2) if (k := f"{key}-{n}") not in used)
        used.add(new[key])
    if not new:
        return snapshot
    return Snapshot(
        job=replace(
            snapshot.job,
            nodes=tuple(replace(n, housing=new.get(n.housing, n.housing)) for n in snapshot.job.nodes),
        ),
        platforms=tuple(
            replace(p, connectors=tuple(replace(c, housing=new.get(c.housing, c.housing)) for c in p.connectors))
            for p in snapshot.platforms
        ),
        housings=tuple(replace(h, key=new.get(h.key, h.key)) for h in snapshot.housings),
    )


def _rename_platform(snapshot: Snapshot, old: str, new: str) -> Snapshot:
    def key(name: str) -> str:
        return new if name == old else name

    def pin(named: PinKey) -> PinKey:
        return named._replace(platform=key(named.platform))

    def end(named: End) -> End:
        return pin(named) if isinstance(named, PinKey) else named

    job: Job = replace(
        snapshot.job,
        seats=tuple(
            replace(s, picks=tuple(p._replace(platform=key(p.platform)) for p in s.picks)) for s in snapshot.job.seats
        ),
        signals=tuple(
            replace(s, members=tuple(replace(m, end=end(m.end)) for m in s.members)) for s in snapshot.job.signals
        ),
        fates=tuple(replace(f, pin=pin(f.pin)) for f in snapshot.job.fates),
        nodes=tuple(
            replace(n, mates=None if n.mates is None else n.mates._replace(platform=key(n.mates.platform)))
            for n in snapshot.job.nodes
        ),
        devices=tuple(replace(d, only_with=key(d.only_with)) for d in snapshot.job.devices),
    )
    return Snapshot(
        job=job,
        platforms=tuple(replace(p, key=key(p.key)) for p in snapshot.platforms),
        housings=snapshot.housings,
    )

"""A save that came too late: refused, with what it would do to what is stored now."""

from __future__ import annotations

from collections.abc import Callable

from pinmap.core.errors import Conflict, Difference, PinmapError


def looked_at(stale: Conflict, trial: Callable[[], tuple[Difference, ...]]) -> Conflict:
    """The same refusal with what the save would change now, or why it cannot be done any more. ``trial`` makes the
    change; whoever calls undoes its transaction by raising what this gives."""
    try:
        return Conflict(stale.what, stale.expected, stale.found, changes=trial())
    except PinmapError as refused:
        return Conflict(stale.what, stale.expected, stale.found, refusal=str(refused))

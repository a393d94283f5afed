"""Whether two lists of a connector's functions agree only when one is read from the other side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping

from pinmap.core.model.pinouts import Housing
from pinmap.core.model.words import natural_key

_LEAST = 4  # functions that stand once in each list; fewer prove nothing
_CERTAIN = 0.6


def reversal(a: Mapping[str, str], b: Mapping[str, str], face: Housing | None) -> tuple[str, float, float] | None:
    """How ``b`` must be read to match ``a``, the share that matches then, and the share that matches as it stands.

    ``a`` and ``b`` are cavity -> function. Functions that stand twice in a list, such as grounds, say nothing and are
    left out. None unless a mirrored reading matches most of the functions and more than the straight one.
    """
    once_a, once_b = _once(a), _once(b)
    common = set(once_a) & set(once_b)
    if len(common) < _LEAST:
        return None
    straight = sum(once_a[f] == once_b[f] for f in common) / len(common)
    best: tuple[str, float] = ("", 0.0)
    for how, turn in _readings(set(a) | set(b), face).items():
        score = sum(once_a[f] == turn(once_b[f]) for f in common) / len(common)
        if score > best[1]:
            best = (how, score)
    return (*best, straight) if best[1] >= _CERTAIN and best[1] > straight else None


def _once(by_cavity: Mapping[str, str]) -> dict[str, str]:
    """Function -> cavity, for functions that stand once."""
    times = Counter(by_cavity.values())
    return {function: cavity for cavity, function in by_cavity.items() if function and times[function] == 1}


def _readings(names: set[str], face: Housing | None) -> dict[str, Callable[[str], str | None]]:
    order = sorted(names, key=natural_key)
    backwards = dict(zip(order, reversed(order), strict=True))
    out: dict[str, Callable[[str], str | None]] = {"the order of its numbers reversed": backwards.get}
    if face is None or not face.cavities:
        return out
    at = {(c.column, c.row): c.name for c in face.cavities}
    place = {c.name: (c.column, c.row) for c in face.cavities}
    columns, rows = [c.column for c in face.cavities], [c.row for c in face.cavities]
    across, down = min(columns) + max(columns), min(rows) + max(rows)

    def by_column(name: str) -> str | None:
        spot = place.get(name)
        return at.get((across - spot[0], spot[1])) if spot else None

    def by_row(name: str) -> str | None:
        spot = place.get(name)
        return at.get((spot[0], down - spot[1])) if spot else None

    out["its columns mirrored"] = by_column
    if len(set(rows)) > 1:
        out["its rows mirrored"] = by_row
    return out

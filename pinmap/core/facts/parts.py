"""Parts in trade terms: terminal families, fuses, coverings, and generic housings."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

from pinmap.core.errors import InputError, TableGap
from pinmap.core.facts import sources
from pinmap.core.model.pinouts import Cavity, Housing
from pinmap.core.model.words import Gender

CONTINUOUS_SHARE = 0.75  # of a fuse's rating at 25 °C that may flow for ever; fuse makers' application notes
CAVITY_LIMIT = 1000  # more than any connector has; keeps a typing slip from filling the memory
BAY_GAP = 2.0  # pitches between the bays of one housing


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminalFamily:
    """Terminals of one size. Ranges of wire [mm2] and insulation [mm], steady current of one contact [A], resistance
    of one made joint [ohm]; the insulation range is None for unsealed terminals."""

    key: str
    name: str
    form: str
    min_mm2: float
    max_mm2: float
    max_a: float
    contact_ohm: float
    min_od_mm: float | None
    max_od_mm: float | None
    finish: str
    sealed: bool
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseGate:
    """At ``multiple`` times its rating a fuse opens after min_s at the earliest and max_s at the latest [s]."""

    multiple: float
    min_s: float
    max_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseType:
    """A type of fuse: its ratings [A] with body colours in words, its rated voltage [V] and its time limits."""

    key: str
    name: str
    standard: str
    ratings_a: tuple[float, ...]
    colours: tuple[str, ...]
    max_v: float
    gates: tuple[FuseGate, ...]
    source: str
    breaking_a: float  # the largest current that it opens safely [A]
    breaking_from: str

    def colour(self, rated_a: float) -> str:
        """Body colour in words, "" if none is known. Raises TableGap for a rating that this type does not have."""
        if rated_a not in self.ratings_a:
            raise TableGap(f"fuse type {self.key}", rated_a, ", ".join(f"{a:g}" for a in self.ratings_a))
        return self.colours[self.ratings_a.index(rated_a)]

    def smallest_for(self, current_a: float, ambient_c: float = 25.0) -> float | None:
        """The smallest rating that carries a current for ever [A], None if none does."""
        need_a = current_a / (CONTINUOUS_SHARE * fuse_derating(ambient_c))
        return next((rated for rated in self.ratings_a if rated >= need_a - 1e-9), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Covering:
    """What a bundle is wrapped in; wall_mm adds to the bundle's radius [mm]."""

    key: str
    name: str
    form: str
    max_temp_c: float
    wall_mm: float
    min_bundle_mm: float
    max_bundle_mm: float
    source: str


@cache
def terminals() -> Mapping[str, TerminalFamily]:
    """Terminal families by key."""
    return {
        row["key"]: TerminalFamily(
            key=row["key"],
            name=row["name"],
            form=row["form"],
            min_mm2=float(row["min_mm2"]),
            max_mm2=float(row["max_mm2"]),
            max_a=float(row["max_a"]),
            contact_ohm=float(row["contact_ohm"]),
            min_od_mm=float(row["min_od_mm"]) if row["min_od_mm"] else None,
            max_od_mm=float(row["max_od_mm"]) if row["max_od_mm"] else None,
            finish=row["finish"],
            sealed=row["sealed"] == "yes",
            source=row["source"],
        )
        for row in sources.rows("terminals")
    }


@cache
def fuses() -> Mapping[str, FuseType]:
    """Fuse types by key: C, F and E of ISO 8820-3, SF30 and SF51 of ISO 8820-5."""
    gates: dict[str, list[FuseGate]] = {}
    for row in sources.rows("fuse_gates"):
        longest = float(row["max_s"]) if row["max_s"] else None
        gates.setdefault(row["gate"], []).append(
            FuseGate(multiple=float(row["multiple"]), min_s=float(row["min_s"]), max_s=longest)
        )
    breaking = {row["key"]: row for row in sources.rows("fuse_breaking")}
    by_key: dict[str, list[dict[str, str]]] = {}
    for row in sources.rows("fuses"):
        by_key.setdefault(row["key"], []).append(row)
    return {
        key: FuseType(
            key=key,
            name=group[0]["name"],
            standard=group[0]["standard"],
            ratings_a=tuple(float(row["rated_a"]) for row in group),
            colours=tuple(row["colour"] for row in group),
            max_v=float(group[0]["max_v"]),
            gates=tuple(gates[group[0]["gate"]]),
            source=group[0]["source"],
            breaking_a=float(breaking[key]["breaking_a"]),
            breaking_from=breaking[key]["source"],
        )
        for key, group in by_key.items()
    }


def fuse_derating(ambient_c: float) -> float:
    """Share of the 25 °C rating left at an ambient temperature, straight lines between the table's points, level
    below the first and carried on past the last."""
    points = [(float(row["ambient_c"]), float(row["factor"])) for row in sources.rows("fuse_derating")]
    if ambient_c <= points[0][0]:
        return points[0][1]
    below = max(i for i, (t, _) in enumerate(points[:-1]) if t <= ambient_c)
    (t0, f0), (t1, f1) = points[below], points[below + 1]
    return max(0.1, f0 + (f1 - f0) * (ambient_c - t0) / (t1 - t0))


@cache
def coverings() -> Mapping[str, Covering]:
    """Coverings by key."""
    return {
        row["key"]: Covering(
            key=row["key"],
            name=row["name"],
            form=row["form"],
            max_temp_c=float(row["max_temp_c"]),
            wall_mm=float(row["wall_mm"]),
            min_bundle_mm=float(row["min_bundle_mm"]),
            max_bundle_mm=float(row["max_bundle_mm"]),
            source=row["source"],
        )
        for row in sources.rows("coverings")
    }


def grid_cavities(
    columns: int, rows: int, *, names: Sequence[str] = (), order: str = "rows", prefix: str = "", start: int = 1
) -> tuple[Cavity, ...]:
    """A rectangle of cavities seen from the mating side, the first one at the top left.

    Without ``names`` they are numbered from ``start``. With fewer names than places the last places stay empty.
    Raises InputError for an impossible size, too many names, or a name used twice.
    """
    if columns < 1 or rows < 1 or columns * rows > CAVITY_LIMIT:
        raise InputError(
            "size", f"{columns} x {rows}", f"give 1 or more columns and rows, {CAVITY_LIMIT} cavities at most"
        )
    if order not in ("rows", "columns"):
        raise InputError("order", order, "use rows or columns")
    if len(names) > columns * rows:
        raise InputError("names", len(names), f"a grid of {columns} x {rows} has room for {columns * rows} cavities")
    wanted = list(names) or [f"{prefix}{start + i}" for i in range(columns * rows)]
    twice = sorted({name for name in wanted if wanted.count(name) > 1})
    if twice:
        raise InputError("names", ", ".join(twice[:5]), "name each cavity once")
    places = (
        [(c, r) for r in range(rows) for c in range(columns)]
        if order == "rows"
        else [(c, r) for c in range(columns) for r in range(rows)]
    )
    return tuple(Cavity(name=n, column=float(c), row=float(r)) for n, (c, r) in zip(wanted, places, strict=False))


def grid_housing(
    key: str,
    name: str,
    *,
    columns: int,
    rows: int,
    names: Sequence[str] = (),
    order: str = "rows",
    gender: Gender = Gender.UNKNOWN,
    family: str = "",
    keying: str = "",
    sealed: bool = False,
    terminal: str = "",
    source: str = "",
) -> Housing:
    """A rectangular housing of any size; see ``grid_cavities`` for names, order and errors."""
    return Housing(
        key=key,
        name=name,
        cavities=grid_cavities(columns, rows, names=names, order=order),
        gender=gender,
        family=family,
        keying=keying,
        sealed=sealed,
        terminal=terminal,
        source=source,
    )


def mate_of(housing: Housing, key: str, name: str) -> Housing:
    """The other half: contacts of the other gender, and the face mirrored as it is when seen from its own mating
    side."""
    other = {Gender.PIN: Gender.SOCKET, Gender.SOCKET: Gender.PIN}.get(housing.gender, Gender.UNKNOWN)
    return replace(housing, key=key, name=name, gender=other, cavities=_mirrored(housing.cavities))


def _mirrored(cavities: tuple[Cavity, ...]) -> tuple[Cavity, ...]:
    if not cavities:
        return ()
    both_ends = min(c.column for c in cavities) + max(c.column for c in cavities)
    return tuple(replace(c, column=round(both_ends - c.column, 4)) for c in cavities)


_BAY = re.compile(r"(?:(?P<prefix>\w):)?(?P<columns>\d+)x(?P<rows>\d+)")


def bay_cavities(bays: str, order: str = "rows") -> tuple[Cavity, ...]:
    """Cavities of one or more bays side by side: ``3x2`` or ``A:16x4+B:12x4``; numbers run on from bay to bay unless a
    letter begins the bay's names. Raises InputError."""
    found: list[Cavity] = []
    left = 0.0
    numbered = 0
    for text in bays.split("+"):
        match = _BAY.fullmatch(text.strip())
        if match is None:
            raise InputError("bays", text, "write columns x rows, such as 3x2 or A:16x4+B:12x4")
        prefix, columns, rows = match["prefix"] or "", int(match["columns"]), int(match["rows"])
        bay = grid_cavities(columns, rows, order=order, prefix=prefix, start=1 if prefix else numbered + 1)
        numbered += 0 if prefix else len(bay)
        found += [replace(cavity, column=cavity.column + left) for cavity in bay]
        left += columns - 1 + BAY_GAP
    return tuple(found)


@cache
def housings() -> Mapping[str, Housing]:
    """Housings that anybody can use, by key: both halves (``-pin``, ``-socket``) of each generic shape."""
    found: dict[str, Housing] = {}
    for row in sources.rows("housings"):
        half = Housing(
            key=f"{row['key']}-pin",
            name=f"{row['name']}, pins",
            cavities=bay_cavities(row["bays"], row["order"]),
            gender=Gender.PIN,
            family=row["key"],
            sealed=row["sealed"] == "yes",
            terminal=row["terminal"],
            source=row["source"],
        )
        found[half.key] = half
        other = mate_of(half, f"{row['key']}-socket", f"{row['name']}, sockets")
        found[other.key] = other
    return found

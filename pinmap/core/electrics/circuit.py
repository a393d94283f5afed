"""One circuit at the bench: the question, and what every method answers it with."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """The question. ``loop_m`` is all wire there and back; drop_pct None takes the standard's own limit; ``bundle``
    counts the loaded wires that lie together, this one included, ``total`` all wires there; temp_c is the insulation's
    class [°C]; on_s 0 is a steady load, period_s inf a single pulse; ``sizes`` is "stock" or a conductor catalogue."""

    current_a: float
    loop_m: float
    supply_v: float = 12.0
    drop_pct: float | None = None
    ambient_c: float = 30.0
    insulation: str = ""
    temp_c: float = 105.0
    bundle: int = 1
    total: int = 1
    covering: str = ""
    metal: str = "copper"
    sizes: str = "stock"
    on_s: float = 0.0
    period_s: float = float("inf")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the way to a number: its name, formula and numbers in words, and where the rule comes from."""

    name: str
    text: str
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One size of a standard: what it may carry and what it loses in this circuit. ``fuse_max_a`` is the largest fuse
    that it may have, None where the standard does not say."""

    size: str
    area_mm2: float
    ampacity_a: float
    drop_v: float
    temp_c: float | None = None
    fuse_max_a: float | None = None


@dataclass(frozen=True, slots=True)
class Method:
    """Every size by one method, rising. fuse_a is the fuse that the wire must stand, 0 where that is left out."""

    candidates: list[Candidate]
    allowed_v: float | None
    source: str
    steps: list[Step]
    fuse_a: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseChoice:
    """The smallest blade or bolt-in fuse that carries the current for ever at its place's temperature."""

    rating_a: float
    type: str
    name: str
    colour: str
    ambient_c: float
    text: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WireSheet:
    """The answer of one method. ``limit`` says what decides: "heat", "drop", "fuse" or "least size"; ``steps`` are
    formula and numbers, in order; ``near`` are the neighbouring sizes, the chosen one included; temp_c is known to the
    model only; fuse_ok is None where there is no fuse or the standard does not say."""

    standard: str
    size: str
    area_mm2: float
    drop_v: float
    drop_allowed_v: float | None
    ampacity_a: float
    limit: str
    source: str
    steps: tuple[Step, ...]
    near: tuple[Candidate, ...]
    temp_c: float | None = None
    fuse: FuseChoice | None = None
    fuse_max_a: float | None = None
    fuse_ok: bool | None = None


@dataclass(frozen=True, slots=True)
class Refusal:
    """A standard that has no answer to this question, and why."""

    standard: str
    field: str
    why: str


@dataclass(frozen=True, slots=True)
class Worksheet:
    """One question answered by every method, in the order of ``wire.STANDARDS``."""

    circuit: Circuit
    answers: tuple[WireSheet | Refusal, ...]
    fuse: FuseChoice | None

"""What draws current: which pins are a load's two ends, how much it takes, when it is on.

A component's ends are the pins of one platform that name it: the feed is its supply or high-side IN pin, the back its
ground, low-side or sensor-ground IN pin. Where no component is named, the load lies between the feed and the
platform's own ground pins; a platform without ground pins in, such as an engine, gives the current to its body.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pinmap.core.facts.functions import Dictionary, FunctionEntry
from pinmap.core.model.jobs import Practice, Snapshot, Variant
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import Direction, Fate, Kind, Role

SUPPLY_KINDS = frozenset({Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50, Kind.SUPPLY_87})
FEED_KINDS = SUPPLY_KINDS | {Kind.HIGH_SIDE, Kind.PWM_HIGH_SIDE}
BACK_KINDS = frozenset({Kind.GROUND, Kind.LOW_SIDE, Kind.PWM_LOW_SIDE, Kind.SENSOR_GROUND})

# When each host supply is live; DIN 72552 by the load cases' letters.
LIVE_IN = {
    Kind.SUPPLY_30: "KCIFA",
    Kind.SUPPLY_15: "KCIF",
    Kind.SUPPLY_75: "KIF",
    Kind.SUPPLY_50: "C",
    Kind.SUPPLY_87: "KCIFA",
}
_ON_BY_KIND = {**LIVE_IN, Kind.SUPPLY_30: "KCIFA", Kind.SUPPLY_87: "KCIF"}
_ON = "KCIF"  # a load of which nothing is known counts as on whenever the key is


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """A load. ``backs`` are its return pins; empty: through the platform's body. current_a is None while unknown;
    ``current_from`` says "pin", "dictionary" or "unknown"; need_v overrides the per cent of ``drop_pct``."""

    key: str
    name: str
    platform: str
    feed: PinKey | None
    backs: tuple[PinKey, ...]
    current_a: float | None
    current_from: str
    states: str
    drop_pct: float
    need_v: float | None = None
    need_from: str = ""

    def need(self, supply_v: float) -> tuple[float, str]:
        """The least voltage at the load [V], and why."""
        if self.need_v is not None:
            return self.need_v, f"the component's own least voltage ({self.need_from})"
        return supply_v * (1 - self.drop_pct / 100), f"at most {self.drop_pct:g} % of {supply_v:g} V lost on the way"


def entry_of(snapshot: Snapshot, dictionary: Dictionary, key: PinKey, pin: Pin) -> FunctionEntry | None:
    """The dictionary's entry for a pin, by its own function or else by its signal's."""
    found = dictionary.get(pin.function_code) if pin.function_code else None
    if found is None:
        signal = snapshot.signal_of.get(key)
        found = dictionary.get(signal.function_code) if signal is not None and signal.function_code else None
    return found


def states_of(snapshot: Snapshot, dictionary: Dictionary, key: PinKey, pin: Pin, *, known_only: bool = False) -> str:
    """Letters of the load cases in which a pin's function is on; by its kind where the dictionary does not say, or ""
    with ``known_only``."""
    entry = entry_of(snapshot, dictionary, key, pin)
    if entry is not None and entry.states:
        return entry.states
    return "" if known_only else _ON_BY_KIND.get(pin.kind, _ON)


def retained(snapshot: Snapshot) -> frozenset[PinKey]:
    """Pins that stay in service on their own side."""
    return frozenset(f.pin for f in snapshot.job.fates if f.fate is Fate.RETAINED)


def loads(snapshot: Snapshot, variant: Variant, dictionary: Dictionary) -> tuple[Load, ...]:
    """The loads of a variant that hang on the loom with at least one end, in platform order."""
    out: list[Load] = []
    pins = snapshot.active_pins(variant)
    joined = snapshot.signal_of
    by_platform: dict[str, list[tuple[PinKey, Pin]]] = {}
    for key, pin in pins.items():
        by_platform.setdefault(key.platform, []).append((key, pin))
    for platform, found in by_platform.items():
        grounds = tuple(
            k for k, p in found if p.kind is Kind.GROUND and p.direction is Direction.IN and not p.component
        )
        by_component: dict[str, list[tuple[PinKey, Pin]]] = {}
        for key, pin in found:
            if pin.component:
                by_component.setdefault(pin.component, []).append((key, pin))
            elif pin.kind in FEED_KINDS and pin.direction is Direction.IN and key in joined:
                out.append(_load(snapshot, dictionary, str(key), key, (), grounds))
        for component, ends in by_component.items():
            feeds = [k for k, p in ends if p.kind in FEED_KINDS and p.direction is Direction.IN]
            backs = tuple(k for k, p in ends if p.kind in BACK_KINDS and p.direction is Direction.IN)
            if not any(k in joined for k in (*feeds, *backs)):
                continue
            load_key = f"{platform}:{component}"
            if not feeds:
                if any(pins[b].kind is not Kind.SENSOR_GROUND and _draws(pins[b]) for b in backs):
                    out.append(_load(snapshot, dictionary, load_key, None, backs, ()))
                continue
            for feed in feeds:
                own = load_key if len(feeds) == 1 else f"{load_key} ({feed.connector}-{feed.cavity})"
                out.append(_load(snapshot, dictionary, own, feed, backs, () if backs else grounds))
    return tuple(out)


def _draws(pin: Pin) -> bool:
    return pin.kind in {Kind.LOW_SIDE, Kind.PWM_LOW_SIDE} or bool(pin.current_a)


def _load(
    snapshot: Snapshot, dictionary: Dictionary, key: str, feed: PinKey | None, backs: tuple[PinKey, ...],
    grounds: tuple[PinKey, ...],
) -> Load:  # fmt: skip
    ends = ([feed] if feed is not None else []) + list(backs)
    current_a, current_from = _current(snapshot, dictionary, ends)
    entries = [e for k in ends if (e := entry_of(snapshot, dictionary, k, snapshot.pin[k])) is not None]
    practice: Practice = snapshot.job.practice
    critical = any(e.critical for e in entries)
    least = next((e for e in entries if e.min_v is not None), None)
    lead = snapshot.pin[ends[0]]
    return Load(
        key=key,
        name=lead.function or key,
        platform=ends[0].platform,
        feed=feed,
        backs=backs or grounds,
        current_a=current_a,
        current_from=current_from,
        states=_common_states(snapshot, dictionary, ends),
        drop_pct=practice.drop_critical_pct if critical else practice.drop_other_pct,
        need_v=None if least is None else least.min_v,
        need_from="" if least is None else f"function {least.code}",
    )


def _common_states(snapshot: Snapshot, dictionary: Dictionary, ends: list[PinKey]) -> str:
    """A load is on when both its ends are: a solenoid on a general feed follows its driver."""
    known = [s for k in ends if (s := states_of(snapshot, dictionary, k, snapshot.pin[k], known_only=True))]
    if not known:
        return states_of(snapshot, dictionary, ends[0], snapshot.pin[ends[0]])
    return "".join(letter for letter in known[0] if all(letter in other for other in known)) or known[-1]


def _current(snapshot: Snapshot, dictionary: Dictionary, ends: Iterable[PinKey]) -> tuple[float | None, str]:
    """The feed's current, else the back's, else the dictionary's."""
    keys = list(ends)
    for key in keys:
        current = snapshot.pin[key].current_a
        if current is not None:
            return abs(current), "pin"
    for key in keys:
        entry = entry_of(snapshot, dictionary, key, snapshot.pin[key])
        if entry is not None and entry.current_a is not None:
            return entry.current_a, "dictionary"
    return None, "unknown"


def is_host(snapshot: Snapshot, key: PinKey) -> bool:
    return snapshot.platform[key.platform].role is Role.HOST

"""What draws current: which pins are a load's two ends, how much it takes, when it is on.

A component's ends are the pins of one platform that name it: the feed is its supply or high-side IN pin, the back its
ground, low-side or sensor-ground IN pin. Where no component is named, the load lies between the feed and the
platform's own ground pins; a platform without ground pins in, such as an engine, gives the current to its body.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from pinmap.core.electrics.load_models import Draw, Law, LoadModel, read_model, typed_states
from pinmap.core.electrics.typed import number_or_none, typed
from pinmap.core.errors import InputError
from pinmap.core.facts.circuit import REFERENCE_V
from pinmap.core.facts.functions import Dictionary, FunctionEntry
from pinmap.core.model.jobs import Practice, Snapshot, Variant
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import Direction, Fate, Kind, Role

SUPPLY_KINDS = frozenset({Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50, Kind.SUPPLY_87})
FEED_KINDS = SUPPLY_KINDS | {Kind.HIGH_SIDE, Kind.PWM_HIGH_SIDE}
BACK_KINDS = frozenset({Kind.GROUND, Kind.LOW_SIDE, Kind.PWM_LOW_SIDE, Kind.SENSOR_GROUND})

PAIRED_KINDS = frozenset({Kind.H_BRIDGE, Kind.INJECTOR_BOOSTED})  # both wires of a load end at drivers of one unit

# When each host supply is live; DIN 72552 by the load cases' letters.
LIVE_IN = {
    Kind.SUPPLY_30: "KCIFA",
    Kind.SUPPLY_15: "KCIF",
    Kind.SUPPLY_75: "KIF",
    Kind.SUPPLY_50: "C",
    Kind.SUPPLY_87: "KCIFA",
}
_ON_BY_KIND = {**LIVE_IN, Kind.SUPPLY_30: "KCIFA", Kind.SUPPLY_87: "KCIF"}
_NO_ENDS = BACK_KINDS | {Kind.SCREEN}
_ON = "KCIF"  # a load of which nothing is known counts as on whenever the key is


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """A load. ``backs`` are its return pins; empty: through the platform's body.

    current_a is what it draws at its rated voltage, None while unknown; ``current_from`` says "pin" or "typed" (the
    pinout gives it), "computed" (from what the pinout gives), "dictionary" or "unknown". need_v overrides the per cent
    of ``drop_pct``. ``problem`` says why what was typed could not be used. inrush_s is None where nobody gave it.
    """

    key: str
    name: str
    platform: str
    feed: PinKey | None
    backs: tuple[PinKey, ...]
    current_a: float | None
    current_from: str
    states: str
    drop_pct: float
    critical: bool = False
    need_v: float | None = None
    need_from: str = ""
    model: LoadModel | None = None
    inrush_a: float | None = None
    inrush_s: float | None = None
    inrush_from: str = ""
    on_reference: bool = False  # fed by a control unit's 5 V reference
    problem: str = ""

    def need(self, supply_v: float) -> tuple[float, str]:
        """The least voltage at the load [V], and why."""
        if self.need_v is not None:
            return (
                self.need_v,
                f"the component's own least voltage ({self.need_from})" if self.need_v else self.need_from,
            )
        fed_v = self.fed_with_v(supply_v)
        kind = "critical" if self.critical else "other"
        return (
            fed_v * (1 - self.drop_pct / 100),
            f"at most {self.drop_pct:g} % of {fed_v:g} V lost on the way ({kind} load; ISO 10133, ABYC E-11: 3 % for "
            "critical, 10 % for other ones)",
        )

    def fed_with_v(self, supply_v: float) -> float:
        """What its feed starts from [V]: the supply, or the control unit's reference."""
        return REFERENCE_V.value if self.on_reference else supply_v

    def draw(self, code: str) -> Draw | None:
        """What it draws in a load case of this letter; None when off or unknown."""
        if code not in self.states or self.current_a is None:
            return None
        if self.model is not None:
            return self.model.draws.get(code, self.model.draws.get(""))
        return Draw(Law.CURRENT, self.current_a, f"{self.current_a:g} A")

    @property
    def origin(self) -> str:
        """ "typed", "computed", "dictionary" or "unknown"."""
        return "typed" if self.current_from == "pin" else self.current_from


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


def loads(
    snapshot: Snapshot, variant: Variant, dictionary: Dictionary, pins: Mapping[PinKey, Pin] | None = None
) -> tuple[Load, ...]:
    """The loads of a variant that hang on the loom with at least one end, in platform order. ``pins`` are the
    variant's, where they are at hand already."""
    out: list[Load] = []
    pins = snapshot.active_pins(variant) if pins is None else pins
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
            elif key in joined and pin.direction is Direction.IN and _takes(pin):
                out.append(_load(snapshot, dictionary, str(key), key, (), grounds))
        for component, ends in by_component.items():
            if not any(k in joined for k, _ in ends):
                continue
            out.extend(_of_component(snapshot, dictionary, f"{platform}:{component}", dict(ends), grounds, pins))
    return tuple(out)


def _takes(pin: Pin) -> bool:
    """A pin that draws for itself: a supply in, or any pin that says which load model it follows."""
    return pin.kind in FEED_KINDS or (bool(pin.extra) and typed(pin).given("load_model"))


def _of_component(
    snapshot: Snapshot, dictionary: Dictionary, load_key: str, ends: dict[PinKey, Pin], grounds: tuple[PinKey, ...],
    pins: Mapping[PinKey, Pin],
) -> Iterator[Load]:  # fmt: skip
    joined = snapshot.signal_of
    backs = tuple(k for k, p in ends.items() if p.kind in BACK_KINDS and p.direction is Direction.IN)
    feeds = [k for k, p in ends.items() if p.kind in FEED_KINDS and p.direction is Direction.IN]
    feeds += [
        k for k, p in ends.items()
        if p.kind is Kind.REFERENCE_5V and p.direction is Direction.IN and k in joined
        and any(m.end != k and m.end in pins for m in joined[k].members)  # else this variant does not use the sensor
    ]  # fmt: skip
    if not feeds and any(p.extra and typed(p).given("load_model") for p in ends.values()):
        feeds = [k for k, p in ends.items() if k not in backs and p.kind not in _NO_ENDS][:1]
    if not any(k in joined for k in (*feeds, *backs)):
        return
    if not feeds:
        if any(ends[b].kind is not Kind.SENSOR_GROUND and _draws(ends[b]) for b in backs):
            yield _load(snapshot, dictionary, load_key, None, backs, ())
        return
    returns = tuple(b for b in backs if ends[b].kind is Kind.SENSOR_GROUND)
    for feed in feeds:
        own = load_key if len(feeds) == 1 else f"{load_key} ({feed.connector}-{feed.cavity})"
        ways = returns or backs if ends[feed].kind is Kind.REFERENCE_5V else backs
        yield _load(snapshot, dictionary, own, feed, ways, () if ways else grounds)


def _draws(pin: Pin) -> bool:
    return pin.kind in {Kind.LOW_SIDE, Kind.PWM_LOW_SIDE} or bool(pin.current_a)


def _load(
    snapshot: Snapshot, dictionary: Dictionary, key: str, feed: PinKey | None, backs: tuple[PinKey, ...],
    grounds: tuple[PinKey, ...],
) -> Load:  # fmt: skip
    ends = ([feed] if feed is not None else []) + list(backs)
    pins = [snapshot.pin[k] for k in ends]
    platform = ends[0].platform
    model, problem, states, least_v = None, "", "", None
    if any(p.extra for p in pins):
        said = typed(*pins)
        try:
            model = read_model(said, snapshot.platform[platform].nominal_v)
            states = typed_states(said)
            least_v = number_or_none(said, "load_least_v")
        except InputError as error:
            problem = str(error)
    if model is not None:
        current_a: float | None = max(d.current_a(model.at_v) for d in model.draws.values())
        current_from = "computed" if model.computed else "typed"
        states = model.states or states
    elif problem:
        current_a, current_from = None, "unknown"
    else:
        current_a, current_from = _current(snapshot, dictionary, ends)
    entries = [e for k in ends if (e := entry_of(snapshot, dictionary, k, snapshot.pin[k])) is not None]
    practice: Practice = snapshot.job.practice
    critical = any(e.critical for e in entries)
    least = next((e for e in entries if e.min_v is not None), None)
    feed_kind = None if feed is None else pins[0].kind
    on_reference = feed_kind is Kind.REFERENCE_5V
    need_v, need_from = (None, "") if least is None else (least.min_v, f"function {least.code}")
    if least_v is not None:
        need_v, need_from = least_v, "typed"
    if feed_kind is not None and feed_kind not in FEED_KINDS and not on_reference:
        need_v, need_from = 0.0, "a sensor's resistance has no least voltage"
    inrush_a, inrush_s, inrush_from = _inrush(model, pins, entries)
    return Load(
        key=key,
        name=pins[0].function or key,
        platform=platform,
        feed=feed,
        backs=backs or grounds,
        current_a=current_a,
        current_from=current_from,
        states=states or _common_states(snapshot, dictionary, ends),
        drop_pct=practice.drop_critical_pct if critical else practice.drop_other_pct,
        critical=critical,
        need_v=need_v,
        need_from=need_from,
        model=model,
        inrush_a=inrush_a,
        inrush_s=inrush_s,
        inrush_from=inrush_from,
        on_reference=on_reference,
        problem=problem,
    )


def _inrush(
    model: LoadModel | None, pins: list[Pin], entries: list[FunctionEntry]
) -> tuple[float | None, float | None, str]:
    """Short-time current [A], how long it lasts [s], and who says so."""
    if model is not None and model.inrush_a is not None:
        return model.inrush_a, model.inrush_s, model.inrush_from
    for pin in pins:
        if pin.peak_a is not None:
            return pin.peak_a, None, "typed"
    for entry in entries:
        if entry.peak_a is not None:
            return entry.peak_a, None, f"dictionary, {entry.code}"
    return None, None, ""


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

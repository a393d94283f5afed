"""One circuit at the bench: the wire and the fuse it needs, by the heat model and by the standards' own tables."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from pinmap.core.electrics.bundle_heat import like_bundle
from pinmap.core.electrics.circuit import Candidate, Circuit, FuseChoice, Method, Refusal, Step, WireSheet, Worksheet
from pinmap.core.electrics.heat import WireHeat, ampacity_a, bundle_factors, temperature_c, wire_heat
from pinmap.core.electrics.transient import pulse_share, time_constant_s
from pinmap.core.electrics.wire_tables import allowed_drop, by_table
from pinmap.core.errors import InputError
from pinmap.core.facts.catalogues import Conductor, catalogue, catalogues
from pinmap.core.facts.conductors import insulation
from pinmap.core.facts.constants import HEAT_MARGIN_K
from pinmap.core.facts.covering_heat import covering_heat
from pinmap.core.facts.metals import metals
from pinmap.core.facts.parts import CONTINUOUS_SHARE, fuse_derating, fuses
from pinmap.core.facts.sources import source
from pinmap.core.model.jobs import HEAT_RULES, Practice

STANDARDS = HEAT_RULES
STANDARD_NAMES = {
    "model": "Heat model",
    "iso10133": "ISO 10133",
    "abyc-e11": "ABYC E-11",
    "33cfr183": "33 CFR 183",
    "ac43-13": "AC 43.13-1B",
}
_FUSE_PLACE_C = 85.0  # common practice: no fuse box stands where it is hotter


def worksheet(circuit: Circuit) -> Worksheet:
    """One question answered by every method; a standard that does not cover it says why. Raises InputError for a
    question that makes no sense, TableGap for an unknown insulation, covering, metal or catalogue."""
    checked = _checked(circuit)
    answers: list[WireSheet | Refusal] = []
    for standard in STANDARDS:
        try:
            answers.append(_answer(checked, standard))
        except InputError as refused:
            answers.append(Refusal(standard, refused.field, refused.remedy))
    return Worksheet(checked, tuple(answers), fuse_for(checked))


def size_wire(
    current_a: float,
    loop_m: float,
    *,
    supply_v: float = 12.0,
    drop_pct: float | None = None,
    ambient_c: float = 30.0,
    insulation_key: str = "",
    bundle: int = 1,
    standard: str = "model",
    total: int = 1,
    covering: str = "",
    metal_key: str = "copper",
    sizes: str = "stock",
    on_s: float = 0.0,
    period_s: float = math.inf,
) -> WireSheet:
    """The smallest size that carries the current and keeps the drop; by the model also one that stands its fuse.

    Without drop_pct: 3 % (ISO 10133 and E-11, critical circuits; also the model), table 11-6 of AC 43.13-1B, no limit
    in 33 CFR 183. Without insulation: 105 °C for the tables, ``thin-wall-C`` for the model. Raises InputError, which
    also says when no size of the table is large enough; TableGap for an unknown insulation, covering, metal, catalogue.
    """
    if standard not in STANDARDS:
        raise InputError("standard", standard, f"choose one of {', '.join(STANDARDS)}")
    circuit = Circuit(
        current_a=current_a, loop_m=loop_m, supply_v=supply_v, drop_pct=drop_pct, ambient_c=ambient_c,
        insulation=insulation_key, bundle=bundle, total=total, covering=covering, metal=metal_key, sizes=sizes,
        on_s=on_s, period_s=period_s,
    )  # fmt: skip
    return _answer(_checked(circuit), standard)


def size_choices(metal_key: str = "copper") -> list[tuple[str, str]]:
    """Lists of sizes that the model can choose from, as (key, words)."""
    return [
        ("stock", "metric, the usual stock"),
        *((c.key, c.title) for c in catalogues().values() if c.metal == metal_key),
    ]


def _checked(circuit: Circuit) -> Circuit:
    for name, value, low, high in (
        ("current_a", circuit.current_a, 0.0, 2000.0),
        ("loop_m", circuit.loop_m, 0.0, 1000.0),
        ("supply_v", circuit.supply_v, 0.0, 1000.0),
    ):
        if not (low < value <= high):
            raise InputError(name, value, f"give a number above {low:g}, up to {high:g}")
    if circuit.drop_pct is not None and not 0 < circuit.drop_pct < 100:
        raise InputError("drop_pct", circuit.drop_pct, "give a per cent above 0 and below 100")
    if not -60 <= circuit.ambient_c <= 250:
        raise InputError("ambient_c", circuit.ambient_c, "give a temperature from -60 to 250 °C")
    if not 1 <= circuit.bundle <= 1000:
        raise InputError("bundle", circuit.bundle, "count this wire too: 1 or more, 1000 at most")
    if not 0 <= circuit.total <= 1000:
        raise InputError("total", circuit.total, "count all wires in the bundle: 1000 at most")
    if not (0 <= circuit.on_s < math.inf):
        raise InputError("on_s", circuit.on_s, "give the seconds for which the load is on, 0 for a steady load")
    if circuit.on_s and not circuit.period_s >= circuit.on_s:
        raise InputError("period_s", circuit.period_s, f"it comes back after the {circuit.on_s:g} s it is on, or later")
    if circuit.metal not in metals():
        raise InputError("metal", circuit.metal, f"choose one of {', '.join(metals())}")
    if circuit.sizes != "stock" and catalogue(circuit.sizes).metal != circuit.metal:
        raise InputError("sizes", circuit.sizes, f"choose a list of {circuit.metal} sizes")
    if circuit.covering:
        covering_heat(circuit.covering)
    temp_c = insulation(circuit.insulation).max_temp_c if circuit.insulation else 105.0
    return replace(circuit, temp_c=temp_c, total=max(circuit.total, circuit.bundle))


def _answer(circuit: Circuit, standard: str) -> WireSheet:
    fuse = fuse_for(circuit)
    found = _model(circuit, fuse) if standard == "model" else by_table(standard, circuit)
    sizes, allowed_v, need_a = found.candidates, found.allowed_v, circuit.current_a
    last = len(sizes)
    by_heat = next((i for i, c in enumerate(sizes) if c.ampacity_a >= need_a - 1e-9), last)
    by_drop = next((i for i, c in enumerate(sizes) if allowed_v is None or c.drop_v <= allowed_v + 1e-9), last)
    by_fuse = next((i for i, c in enumerate(sizes) if found.fuse_a <= (c.fuse_max_a or 0.0) + 1e-9), last)
    if not found.fuse_a:
        by_fuse = 0
    place = max(by_heat, by_drop, by_fuse)
    if place == last:
        which = "current" if by_heat == last else "drop" if by_drop == last else "fuse"
        raise InputError("current_a", need_a, f"no size of {standard} is large enough for the {which}; split the load")
    # A later, thicker row never carries less in these tables; the search relies on it no further than this size.
    chosen = sizes[place]
    limit = "least size" if place == 0 else {by_fuse: "fuse", by_drop: "drop", by_heat: "heat"}[place]
    steps = [*found.steps, Step("smallest size for the current", sizes[by_heat].size)]
    steps.append(Step("smallest size for the drop", "no limit" if allowed_v is None else sizes[by_drop].size))
    if found.fuse_a:
        steps.append(Step("smallest size for the fuse", sizes[by_fuse].size))
    ok = None if fuse is None or chosen.fuse_max_a is None else fuse.rating_a <= chosen.fuse_max_a + 1e-9
    return WireSheet(
        standard=standard, size=chosen.size, area_mm2=chosen.area_mm2, drop_v=chosen.drop_v, drop_allowed_v=allowed_v,
        ampacity_a=chosen.ampacity_a, limit=limit, source=found.source, steps=tuple(steps),
        near=tuple(sizes[max(place - 2, 0) : place + 3]), temp_c=chosen.temp_c, fuse=fuse,
        fuse_max_a=chosen.fuse_max_a, fuse_ok=ok,
    )  # fmt: skip


def fuse_for(circuit: Circuit) -> FuseChoice | None:
    """The smallest fuse of ISO 8820-3 types C and E, else of ISO 8820-5, that carries the current for ever where the
    wire runs, or at 85 °C where that is hotter; None where none is large enough."""
    place_c = min(max(circuit.ambient_c, 25.0), _FUSE_PLACE_C)
    share = CONTINUOUS_SHARE * fuse_derating(place_c)
    for key in ("C", "E", "SF30", "SF51"):
        kind = fuses()[key]
        rated = kind.smallest_for(circuit.current_a, place_c)
        if rated is not None:
            return FuseChoice(
                rating_a=rated, type=key, name=kind.name, colour=kind.colour(rated), ambient_c=place_c,
                text=f"{circuit.current_a:g} A / ({100 * CONTINUOUS_SHARE:g} % · {fuse_derating(place_c):.3g}"
                f" at {place_c:g} °C) = {circuit.current_a / share:.3g} A, next rating {rated:g} A",
                source=f"{kind.standard}; 75 % for steady load: fuse makers' application notes;"
                f" temperature: {source('fuse_derating')}",
            )  # fmt: skip
    return None


def _conductors(circuit: Circuit) -> tuple[tuple[Conductor, ...], str]:
    if circuit.sizes == "stock":
        listed = catalogue(f"iso6722-{circuit.metal}")
        stock = Practice().stock_mm2
        return tuple(c for c in listed.conductors if c.mm2 in stock), listed.source
    listed = catalogue(circuit.sizes)
    return tuple(c for c in listed.conductors if c.mm2 <= 150), listed.source


def _heat_of(circuit: Circuit, conductors: tuple[Conductor, ...], key: str) -> WireHeat:
    heat = wire_heat([(c.mm2, key) for c in conductors], [circuit.metal] * len(conductors))
    return replace(heat, r20_ohm_per_m=np.array([c.r20_ohm_per_m for c in conductors]))


def _model(circuit: Circuit, fuse: FuseChoice | None) -> Method:
    key = circuit.insulation or Practice().insulation
    wall = insulation(key)
    conductors, listed = _conductors(circuit)
    allowed_v, drop_step = allowed_drop(circuit, 3.0)
    heat = _heat_of(circuit, conductors, key)
    one = np.ones(len(conductors))
    air = circuit.ambient_c * one
    around = like_bundle(heat, circuit.bundle * one, circuit.total * one, air, circuit.covering)
    share = one
    tau = time_constant_s(heat, air, np.maximum(heat.max_temp_c, air + 1), around, circuit.on_s or math.inf)
    if circuit.on_s:
        share = pulse_share(circuit.on_s * one, circuit.period_s * one, tau)
    steady = ampacity_a(heat, air, one, HEAT_MARGIN_K.value, around)
    to_class = ampacity_a(heat, air, one, 0.0, around)
    temp = temperature_c(heat, circuit.current_a * np.sqrt(share), air, one, around)
    ohm = heat.resistance_ohm_per_m(temp)
    found = [
        Candidate(
            size=c.name, area_mm2=c.mm2, ampacity_a=float(steady[i] / math.sqrt(share[i])), temp_c=float(temp[i]),
            drop_v=float(circuit.current_a * circuit.loop_m * ohm[i]), fuse_max_a=float(to_class[i]),
        )
        for i, c in enumerate(conductors)
    ]  # fmt: skip
    free = ampacity_a(heat, air, one, HEAT_MARGIN_K.value)
    middle = min(range(len(found)), key=lambda i: abs(found[i].ampacity_a - circuit.current_a))
    factor = float(steady[middle] / free[middle]) if free[middle] else 0.0
    printed = {name: float(bundle_factors(np.array([circuit.bundle]), name)[0]) for name in ("abyc-e11", "iso10133")}
    name, diameter = conductors[middle].name, 1000 * around.outer_m[middle]
    steps = [
        drop_step,
        Step("insulation", f"{wall.name}: {wall.max_temp_c:g} °C less {HEAT_MARGIN_K.value:g} K", wall.source),
        Step("sizes", f"{circuit.metal}, {conductors[0].name} to {conductors[-1].name}, greatest resistance", listed),
        Step(
            "heat",
            "I²·R(T) = conduction through the wall = natural convection + radiation, R(T) = R20·(1 + α·(T - 20 °C))",
            "Churchill and Chu 1975; IEC 60028; emissivity 0.9 common practice",
        ),
        Step(
            "bundle",
            f"{circuit.bundle} loaded of {circuit.total} wires, {diameter:.3g} mm outside at {name}: factor"
            f" {factor:.2f} by the heat that leaves the bundle; printed for comparison:"
            f" {printed['abyc-e11']:g} (ABYC E-11), {printed['iso10133']:g} (ISO 10133)",
            "heat of all loaded wires through the bundle's surface, the hottest in the middle",
        ),
    ]
    if circuit.covering:
        c = covering_heat(circuit.covering)
        gap = "half of what its inner diameter leaves" if c.gap_mm is None else f"{c.gap_mm:g} mm"
        steps.append(
            Step("covering", f"{c.name}: wall {c.wall_mm:g} mm at {c.k_w_per_m_k:g} W/(m·K), air gap {gap}", c.source)
        )
    if circuit.on_s:
        every = "once" if math.isinf(circuit.period_s) else f"every {circuit.period_s:g} s"
        steps.append(
            Step(
                "intermittent load",
                f"on for {circuit.on_s:g} s {every}, time constant {tau[middle]:.3g} s at {name}: "
                f"{100 * share[middle]:.3g} % of the steady rise, (1 - e^(-on/τ)) / (1 - e^(-period/τ))",
                "one thermal body; IEC 60949's contact factor on the wall's heat",
            )
        )
    steps.append(Step("drop", "I · loop · R(T) at the conductor's temperature"))
    fuse_a = 0.0
    if fuse is not None and not circuit.on_s:
        fuse_a = fuse.rating_a
        text = f"the wire must stand the fuse's {fuse.rating_a:g} A for ever without passing {wall.max_temp_c:g} °C"
        steps.append(Step("fuse", text, fuse.source))
    return Method(found, allowed_v, f"heat balance; {listed}", steps, fuse_a)

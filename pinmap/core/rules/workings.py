"""How computed numbers of findings came about: formula, inputs, source, in one wording for all rules."""

from __future__ import annotations

from pinmap.core.electrics.protection_limits import Limit
from pinmap.core.electrics.results import LoadState, WireState
from pinmap.core.electrics.surroundings import FACTOR_WORDS
from pinmap.core.loom.results import Wire
from pinmap.core.rules.finding import Working

_NETWORK = "Kirchhoff's laws over the whole job; see Method in the guide"
_HEAT = "heat balance of insulated wires, Churchill and Chu 1975, IEC 60028; see Method in the guide"


def current(what: str, case: str) -> Working:
    """A current of the solved network."""
    formula = "solved network of the load case, wires at their temperature"
    return Working(what=what, formula=formula, inputs=(("load case", case),), source=_NETWORK)


def wire_temperature(what: str, wire: Wire, state: WireState, case: str) -> Working:
    """``case`` here and below is the load case's name."""
    return Working(
        what=what,
        formula="the temperature at which I²·R(T) of all loaded wires of a bundle leaves through its surface, at the "
        "wire's hottest place",
        inputs=(
            ("load case", case),
            ("heating current, ripple and pauses counted", f"{state.heating_a:.3g} A"),
            ("wire", f"{wire.mm2:g} mm², {wire.insulation}, {wire.cut_length_m:.2f} m"),
            ("resistance at its mean temperature", f"{1000 * state.resistance_ohm:.3g} mΩ"),
            ("air", f"{state.ambient_c:g} °C"),
            ("loaded wires in its fullest bundle", f"{state.loaded_in_bundle}"),
        ),
        source=_HEAT,
    )


def heating_current(what: str, state: WireState, case: str) -> Working:
    return Working(
        what=what,
        formula="the steady current that heats as much as the wire's, ripple (√ of the mean square) and pauses in it",
        inputs=(("load case", case), ("mean current", f"{abs(state.current_a):.3g} A")),
        source=_NETWORK,
    )


def wire_drop(what: str, wire: Wire, state: WireState, case: str) -> Working:
    return Working(
        what=what,
        formula="U = I · R(T)",
        inputs=(
            ("load case", case),
            ("current", f"{abs(state.current_a):.4g} A"),
            ("resistance", f"{1000 * state.resistance_ohm:.3g} mΩ at its mean temperature"),
            ("wire", f"{wire.mm2:g} mm², {wire.cut_length_m:.2f} m cut"),
        ),
        source=f"resistance of the conductor table; {_NETWORK}",
    )


def load_voltages(state: LoadState, case: str, need_from: str) -> tuple[Working, ...]:
    """The numbers of a load that gets too little: at the load, lost in feed, in return, in all."""
    offered_v = state.voltage_v + state.feed_drop_v + state.return_drop_v
    base: tuple[tuple[str, str], ...] = (
        ("load case", case),
        ("current of the load", f"{state.current_a:.4g} A ({state.origin or 'coil'})"),
    )
    if state.formula:
        base = (*base, ("the load", state.formula))
    lost = (("lost in the feed", f"{state.feed_drop_v:.3f} V"), ("lost in the return", f"{state.return_drop_v:.3f} V"))
    rungs = "the load's voltage ladder shows each piece"
    return (
        Working(what="at the load", formula="U = supply - lost in the feed - lost in the return",
                inputs=(*base, ("supply", f"{offered_v:.3f} V"), *lost, ("needs", state.need_why)), source=_NETWORK),
        Working(what="lost in the feed", formula="sum of I · R over the pieces from the source to the load",
                inputs=(*base, ("pieces", rungs)), source=_NETWORK),
        Working(what="lost in the return", formula="sum of I · R over the pieces from the load to battery minus",
                inputs=(*base, ("pieces", rungs)), source=_NETWORK),
        Working(what="lost in all", formula="lost in the feed + lost in the return", inputs=(*base, *lost),
                source=need_from),
    )  # fmt: skip


def at_fuse_current(what: str, wire: Wire, amps: float, times: float, air_c: float, share: float) -> Working:
    """Temperature of a wire at a multiple of its fuse's rating."""
    return Working(
        what=what,
        formula="heat balance of the wire alone at current / share, which heats it as in its bundle",
        inputs=(
            ("current", f"{times:g} · {amps:g} A"),
            ("wire", f"{wire.mm2:g} mm², {wire.insulation}"),
            ("air", f"{air_c:g} °C"),
            ("share", f"{share:.2g} ({FACTOR_WORDS})"),
        ),
        source=_HEAT,
    )


def of_limit(limit: Limit, what: str) -> Working:
    """How the value of a limit of protection came about, under the name that a finding gives it."""
    return Working(what=what, formula=limit.formula, inputs=limit.inputs, source=limit.source)

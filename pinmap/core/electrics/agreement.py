"""All published tables beside the model, for the guide and for the tests."""

from __future__ import annotations

from functools import cache

from pinmap.core.electrics import agreement_aircraft, agreement_boats, agreement_fault, agreement_wires
from pinmap.core.electrics.agreement_points import Agreement


@cache
def agreements() -> tuple[Agreement, ...]:
    """Every table, computed by the functions that compute jobs and worksheets."""
    return (
        agreement_wires.gauges(),
        agreement_wires.iec60228(),
        agreement_wires.iso6722(),
        agreement_wires.warm_resistance(),
        agreement_boats.nec(),
        agreement_boats.cfr183(),
        agreement_boats.abyc(),
        agreement_boats.iso10133(),
        agreement_boats.ambient_factors(),
        agreement_boats.bundle_steps(),
        agreement_aircraft.curves(),
        agreement_aircraft.table_11_9(),
        agreement_aircraft.example_2(),
        agreement_aircraft.drops(),
        agreement_wires.e11_drop(),
        agreement_fault.k_factors(),
        agreement_fault.short_circuits(),
        agreement_fault.slow_short_circuits(),
        agreement_fault.terminations(),
    )

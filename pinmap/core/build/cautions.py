"""Cautions that stand before any work; common practice of the trade, in neutral words."""

from __future__ import annotations

BUILD_CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Battery",
        "Disconnect battery negative first and connect it last. Some control units need time to fall asleep before "
        "they are disconnected. Save codes of locked equipment first.",
    ),
    (
        "Airbag and belts",
        "Isolate restraints by that vehicle's manual and wait as long as it says. Do not probe, splice, lengthen or "
        "re-route restraint wiring; damaged wiring is replaced.",
    ),
    (
        "Injector and coil drivers",
        "Boosted injector circuits carry 50 to 200 V, ignition coils several hundred volts and more. Key off; no test "
        "lamp, no jumper; insulated tools.",
    ),
    ("High voltage", "Orange cables, or more than 60 V DC or 30 V AC: stop. Trained persons only."),
    (
        "Fuel and fire",
        "Relieve pressure, no sparks, ventilate, extinguisher at hand. The pump's crash cut-off stays in work and is "
        "tested.",
    ),
    (
        "First power",
        "Ring out the loom before it meets a vehicle. Fuse at the source before first power; limit the current of the "
        "first power-up; do not leave it alone under power.",
    ),
    ("Moving parts", "Starter and fans may start without warning. Keep clear; chock the wheels; verify neutral."),
    ("Welding, polarity", "Disconnect battery and control units before welding. Check polarity before connecting."),
    (
        "Throttle, brake, steering",
        "Test off the road, at a standstill first. Signals of brakes and restraints are not to be imitated.",
    ),
    (
        "Law",
        "Road approval, emissions and immobiliser work depend on the place; the shop confirms them with the authority.",
    ),
)

PIN_TABLE_CAUTIONS: tuple[tuple[str, str], ...] = (
    *BUILD_CAUTIONS[:4],
    (
        "Before probing",
        "A pin that is not marked measured has not been proven on this vehicle. Probe from the wire side, without "
        "spreading contacts.",
    ),
)

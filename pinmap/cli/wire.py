"""``pinmap wire``: one circuit, its wire and its fuse."""

from __future__ import annotations

import json as json_lib
import math
from dataclasses import asdict
from typing import Annotated, Any

import typer

from pinmap.core.electrics.circuit import Circuit, Refusal, WireSheet
from pinmap.core.electrics.wire import STANDARD_NAMES, STANDARDS, size_wire, worksheet
from pinmap.core.facts.conductors import nearest_awg


def plain(sheet: WireSheet) -> dict[str, Any]:
    """A sheet as JSON: every field, and the nearest gauge."""
    return asdict(sheet) | {"nearest_awg": nearest_awg(sheet.area_mm2)}


def wire(
    current_a: Annotated[float, typer.Option(help="Current of the load, A.")],
    loop_m: Annotated[float, typer.Option(help="All wire there and back, m.")],
    supply_v: Annotated[float, typer.Option(help="Supply, V.")] = 12.0,
    drop_pct: Annotated[
        float | None, typer.Option(help="Allowed drop, per cent of the supply; without it the standard's own limit.")
    ] = None,
    standard: Annotated[str, typer.Option(help=f"One of {', '.join(STANDARDS)}, or all.")] = "model",
    ambient_c: Annotated[float, typer.Option(help="Hottest air around the wire, °C.")] = 30.0,
    insulation: Annotated[str, typer.Option(help="Key of the insulation table, such as thin-wall-C.")] = "",
    bundle: Annotated[int, typer.Option(help="Loaded wires that lie together, this one included.")] = 1,
    total: Annotated[int, typer.Option(help="All wires that lie together.")] = 1,
    covering: Annotated[str, typer.Option(help="Key of the covering table, such as conduit-10.")] = "",
    metal: Annotated[str, typer.Option(help="copper or aluminium.")] = "copper",
    sizes: Annotated[
        str, typer.Option(help="Sizes that the model may choose: stock, or a conductor catalogue.")
    ] = "stock",
    on_s: Annotated[float, typer.Option(help="Seconds for which the load is on; 0 for a steady load.")] = 0.0,
    every_s: Annotated[float, typer.Option(help="It comes on again after so many seconds; 0 for never.")] = 0.0,
    json: Annotated[bool, typer.Option("--json", help="Answer as JSON.")] = False,
) -> None:
    """Size one circuit: wire, drop, heat and fuse, by the model or by a standard's own table."""
    period_s = every_s or math.inf
    if standard == "all":
        sheets = worksheet(
            Circuit(
                current_a=current_a, loop_m=loop_m, supply_v=supply_v, drop_pct=drop_pct, ambient_c=ambient_c,
                insulation=insulation, bundle=bundle, total=total, covering=covering, metal=metal, sizes=sizes,
                on_s=on_s, period_s=period_s,
            )
        ).answers  # fmt: skip
        if json:
            print(
                json_lib.dumps(
                    [asdict(s) if isinstance(s, Refusal) else plain(s) for s in sheets], ensure_ascii=False, indent=1
                )
            )
        else:
            for sheet in sheets:
                _say(sheet)
        return
    one = size_wire(
        current_a, loop_m, supply_v=supply_v, drop_pct=drop_pct, ambient_c=ambient_c, insulation_key=insulation,
        bundle=bundle, standard=standard, total=total, covering=covering, metal_key=metal, sizes=sizes, on_s=on_s,
        period_s=period_s,
    )  # fmt: skip
    if json:
        print(json_lib.dumps(plain(one), ensure_ascii=False, indent=1))
        return
    _say(one)
    for step in one.steps:
        print(f"  {step.name}: {step.text}" + (f" [{step.source}]" if step.source else ""))
    print(f"  source: {one.source}")


def _say(sheet: WireSheet | Refusal) -> None:
    name = STANDARD_NAMES[sheet.standard]
    if isinstance(sheet, Refusal):
        print(f"{name}: no answer ({sheet.field}: {sheet.why})")
        return
    temp = f", {sheet.temp_c:.0f} °C" if sheet.temp_c is not None else ""
    fuse = ""
    if sheet.fuse is not None:
        fit = "" if sheet.fuse_ok is not False else f", too large for this wire, which stands {sheet.fuse_max_a:.3g} A"
        fuse = f"; fuse {sheet.fuse.rating_a:g} A, {sheet.fuse.name}{fit}"
    print(
        f"{name}: {sheet.size} ({sheet.limit} decides): carries {sheet.ampacity_a:.3g} A,"
        f" loses {sheet.drop_v:.3g} V{temp}{fuse}"
    )

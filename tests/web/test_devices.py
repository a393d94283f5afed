"""Fuses, relays and other devices."""

from __future__ import annotations

import pytest

from pinmap.core.model.looms import Device
from pinmap.services import jobs
from tests.factories_web import JOB, Visitor

PAGE = f"{JOB}/decide/devices"


def _devices(visitor: Visitor) -> dict[str, Device]:
    return dict(jobs.get(visitor.shop, "bench").snapshot.device)


def test_a_device_is_added_changed_and_removed(bench: Visitor) -> None:
    bench.open(PAGE).sent(PAGE, {"kind": "relay", "name": "pump", "coil_ohm": "85", "place": "box"})
    assert _devices(bench)["K1"].coil_ohm == 85.0
    bench.sent(f"{PAGE}/K1", {"rating_a": "12,5", "only_with": "rig"})
    assert (_devices(bench)["K1"].rating_a, _devices(bench)["K1"].only_with) == (12.5, "rig")
    bench.sent(f"{PAGE}/K1", press="deed=remove")
    assert bench.notice() == "Removed"
    assert "K1" not in _devices(bench)


@pytest.mark.parametrize(
    ("action", "typed", "remedy"),
    [
        (PAGE, {"rating_a": "much", "name": "kept"}, "type a plain number"),
        (PAGE, {"kind": "fuse", "rating_a": "-5", "name": "kept"}, "above 0"),
        (f"{PAGE}/F2", {"rating_a": "x", "name": "kept"}, "type a plain number"),
        (f"{PAGE}/F2", {"resistance_ohm": "nan", "name": "kept"}, "finite"),
    ],
)
def test_bad_numbers_are_refused_beside_their_field(
    bench: Visitor, action: str, typed: dict[str, str], remedy: str
) -> None:
    before = _devices(bench)
    bench.open(PAGE).send(action, typed).refused(remedy)
    again = bench.form(action)
    assert {k: again.values()[k] for k in typed} == {k: [v] for k, v in typed.items()}
    assert [t["name"] for t in again.controls if t.get("aria-invalid")] == [next(k for k in typed if k[-1] in "am")]
    assert _devices(bench) == before


def test_a_device_in_line_is_not_removed(bench: Visitor) -> None:
    bench.open(PAGE).send(f"{PAGE}/F1", press="deed=remove").refused("F1")
    assert "F1" in _devices(bench)


def test_a_page_says_what_each_device_stands_in(bench: Visitor) -> None:
    row = next(r for r in bench.open(PAGE).page.select("tbody tr") if r.th.get_text().strip() == "F1")
    assert "Lamp feed" in row.get_text()

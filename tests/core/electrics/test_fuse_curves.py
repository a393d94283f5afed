"""Bands of fuses at and between the gates."""

from __future__ import annotations

import math

import pytest

from pinmap.core.electrics.fuse_curves import by_rating, curve_of
from pinmap.core.model.looms import Device
from pinmap.core.model.words import DeviceKind


@pytest.mark.parametrize(
    ("multiple", "early", "late"), [(1.35, 0.75, 600), (2, 0.15, 5), (3.5, 0.04, 0.5), (6, 0.02, 0.1)]
)
def test_a_blade_fuse_at_its_gates(multiple: float, early: float, late: float) -> None:
    curve = by_rating(10.0)
    assert curve.earliest_s(10 * multiple) == pytest.approx(early)
    assert curve.latest_s(10 * multiple) == pytest.approx(late)


def test_110_percent_holds_for_100_hours_and_nothing_is_promised_below_135() -> None:
    curve = by_rating(10.0)
    assert curve.earliest_s(11.0) == pytest.approx(360_000)
    assert math.isinf(curve.latest_s(13.4))
    assert math.isinf(curve.earliest_s(10.9))


@pytest.mark.parametrize("seconds", [600.0, 100.0, 5.0, 0.3, 0.1, 0.004])
def test_the_current_that_opens_in_time_does_open_in_time(seconds: float) -> None:
    curve = by_rating(15.0)
    assert curve.latest_s(curve.opens_within_a(seconds)) == pytest.approx(seconds, rel=1e-6)


def test_past_the_last_gate_the_energy_stays() -> None:
    curve = by_rating(20.0)
    assert curve.latest_s(240) * 240**2 == pytest.approx(curve.latest_s(120) * 120**2)


@pytest.mark.parametrize(
    ("part", "rating", "key"),
    [
        ("blade fuse", 15.0, "C"),
        ("", 60.0, "E"),
        ("bolt-in strip fuse", 80.0, "SF30"),
        ("type F", 10.0, "F"),
        ("", 300.0, "SF51"),
    ],
)
def test_the_type_is_read_from_the_part_or_taken_by_rating(part: str, rating: float, key: str) -> None:
    curve = curve_of(Device(key="F1", kind=DeviceKind.FUSE, part=part, rating_a=rating))
    assert curve is not None
    assert curve.type.key == key
    assert curve.type_from


def test_a_fuse_without_rating_has_no_curve() -> None:
    assert curve_of(Device(key="F1", kind=DeviceKind.FUSE)) is None

"""The supply of each load case: as typed, or from a starting profile of ISO 16750-2 while cranking."""

from __future__ import annotations

from dataclasses import replace

from pinmap.core.errors import TableGap
from pinmap.core.facts.circuit import StartingProfile, starting_profile
from pinmap.core.model.jobs import LOWEST, LoadCase, Snapshot
from pinmap.core.model.words import Role


def nominal_v(snapshot: Snapshot) -> float:
    """The host's nominal voltage [V]."""
    return next((p.nominal_v for p in snapshot.platforms if p.role is Role.HOST), 12.0)


def load_cases(snapshot: Snapshot) -> tuple[LoadCase, ...]:
    """The job's load cases with the supply that each is computed with, and where that comes from."""
    volts = nominal_v(snapshot)
    return tuple(_supplied(case, volts) for case in snapshot.job.load_cases)


def _supplied(case: LoadCase, volts: float) -> LoadCase:
    if not case.profile:
        return case
    try:
        found = starting_profile(case.profile, volts)
    except TableGap:
        return replace(case, source=f"typed; ISO 16750-2 has no level {case.profile} at {volts:g} V")
    return replace(case, supply_v=profile_v(found, case.phase), source=profile_words(found, case.phase))


def profile_v(profile: StartingProfile, phase: str) -> float:
    """Supply in one phase of a starting profile [V]."""
    return profile.lowest_v if phase == LOWEST else profile.plateau_v


def profile_words(profile: StartingProfile, phase: str) -> str:
    """What a case computed with a profile states as its source."""
    part = "lowest voltage of the first dip" if phase == LOWEST else f"level after the dip, for {profile.plateau_s:g} s"
    return f"{profile.source}, level {profile.level}: {part}"

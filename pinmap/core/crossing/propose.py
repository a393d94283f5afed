"""Proposals: pairs of two sides (``cross``), and signals over all sides of a job (``propose_signals``)."""

from pinmap.core.crossing.pairs import Crossing, Proposal, cross
from pinmap.core.crossing.signals import SignalProposal, propose_signals

__all__ = ["Crossing", "Proposal", "SignalProposal", "cross", "propose_signals"]

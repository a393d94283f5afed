"""Pinmap: adapter looms between a donor engine and a host vehicle."""

__version__ = "0.1.0"

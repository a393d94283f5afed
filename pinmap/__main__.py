"""``python -m pinmap``."""

from pinmap.cli.start import run

run()

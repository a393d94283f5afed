"""``python -m pinmap``."""

from pinmap.cli.main import run

run()

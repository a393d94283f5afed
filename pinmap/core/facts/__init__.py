"""Reference tables and constants, each beside its source."""

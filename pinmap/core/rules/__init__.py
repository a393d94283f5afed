"""Design rules by subject and one registry of them all."""

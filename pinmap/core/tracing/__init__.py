"""Paths, stations and expected readings."""

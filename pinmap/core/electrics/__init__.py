"""Conductors, heat, network solution, voltage drop, protection, sizing."""

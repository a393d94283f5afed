"""Core results to SVG."""

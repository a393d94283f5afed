"""Build table, cut list, parts list, splice table, ring-out."""

"""The loom graph: nets, routes, splices, lengths, bundles."""

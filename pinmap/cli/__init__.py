"""The same services without a browser."""

"""Secrets that stand in addresses and cookies: random, long, and stored only as a fingerprint."""

from __future__ import annotations

import hashlib
import secrets

_BYTES = 32


def new_token() -> str:
    """256 random bits, as text that an address can hold."""
    return secrets.token_urlsafe(_BYTES)


def digest(token: str) -> str:
    """What is stored of a token. It is random and long, so a plain hash cannot be tried out."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()

"""Passwords: hashed by Argon2id, compared in the same time whether or not there is one, refused when easy to guess.

Argon2 and the estimator are imported where they are used, since a start needs neither.
"""

from __future__ import annotations

import threading
import unicodedata
from functools import cache
from typing import TYPE_CHECKING

from pinmap.core.errors import InputError

if TYPE_CHECKING:
    from argon2 import PasswordHasher

MIN_LENGTH = 10
MAX_LENGTH = 200
_LEAST_SCORE = 3  # of zxcvbn's 0 to 4: "safely unguessable" needs more than 10^8 guesses
_ESTIMATED = 32  # characters looked at for that: long ones of signs that stand for letters take seconds
# Each hash takes 64 MiB for its time; more at once would let strangers fill the memory.
_AT_ONCE = threading.BoundedSemaphore(4)


@cache
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher

    return PasswordHasher()  # RFC 9106, second recommended option: Argon2id, 64 MiB, 3 passes, 4 lanes


@cache
def _nobodys() -> str:
    """A hash to compare with where there is none."""
    return _hasher().hash("nobody's password")


def _normal(password: str) -> str:
    # The same letters typed on another system may come as other code points.
    return unicodedata.normalize("NFC", password)


def hashed(password: str) -> str:
    """The hash to store, with its salt and parameters; takes about 0.1 s."""
    with _AT_ONCE:
        return _hasher().hash(_normal(password).encode("utf-8", "surrogatepass"))


def fits(password: str, stored: str | None) -> bool:
    """Whether it is the password; takes as long where none is stored."""
    from argon2.exceptions import VerificationError

    nobodys = _nobodys()  # always, so that the first one asked about waits no longer than others
    against = stored if stored is not None and len(password) <= MAX_LENGTH else nobodys
    try:
        with _AT_ONCE:
            _hasher().verify(against, _normal(password[:MAX_LENGTH]).encode("utf-8", "surrogatepass"))
    except VerificationError:
        return False
    return against is not nobodys


def outdated(stored: str) -> bool:
    """Whether a hash was made with other parameters than new ones are."""
    return _hasher().check_needs_rehash(stored)


def check(password: str, again: str, *about: str, field: str = "password") -> None:
    """Raises InputError for a new password that is too short, typed differently the second time, or easy to guess;
    ``about`` are words that somebody would try first, such as the person's name."""
    if len(password) < MIN_LENGTH:
        raise InputError(field, "", f"give {MIN_LENGTH} characters or more; a few words in a row are easy to remember")
    if len(password) > MAX_LENGTH:
        raise InputError(field, "", f"give {MAX_LENGTH} characters at most")
    if password != again:
        raise InputError("password_again", "", "type the same password twice")
    from zxcvbn import zxcvbn

    known = [part for text in (*about, "pinmap") for part in (text, *text.split()) if part]
    found = zxcvbn(password[:_ESTIMATED], user_inputs=known)
    if found["score"] < _LEAST_SCORE:
        why = str(found["feedback"]["warning"]) or "It would be guessed soon."
        raise InputError(field, "", f"choose another one; {why[0].lower()}{why[1:].rstrip('.')}")

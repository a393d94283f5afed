"""Passwords: what is stored, what is refused, what takes how much work."""

from __future__ import annotations

import unicodedata

import pytest
from argon2 import PasswordHasher

from pinmap.core.errors import InputError
from pinmap.services import passwords


def test_what_is_stored_is_argon2id_with_a_salt() -> None:
    one, two = passwords.hashed("brindle truck loom"), passwords.hashed("brindle truck loom")
    assert one != two
    assert one.startswith("$argon2id$v=19$m=65536,t=3,p=4$")  # RFC 9106, section 4, second recommended option
    assert passwords.fits("brindle truck loom", one)
    assert not passwords.fits("brindle truck Loom", one)
    assert not passwords.outdated(one)


def test_the_same_letters_typed_on_another_system_fit() -> None:
    typed = "schlüssel über der tür"
    stored = passwords.hashed(unicodedata.normalize("NFD", typed))
    assert passwords.fits(unicodedata.normalize("NFC", typed), stored)


def test_without_a_stored_hash_nothing_fits_and_the_work_is_done_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    worked: list[str] = []
    real = PasswordHasher.verify
    monkeypatch.setattr(PasswordHasher, "verify", lambda self, h, p: worked.append(str(h)) or real(self, h, p))
    assert not passwords.fits("nobody's password", None)
    assert not passwords.fits("x" * (passwords.MAX_LENGTH + 1), passwords.hashed("x" * passwords.MAX_LENGTH))
    assert not passwords.fits("", None)
    assert not passwords.fits("\ud800", None)
    assert len(worked) == 4


def test_a_hash_with_weaker_parameters_is_outdated() -> None:
    weak = PasswordHasher(time_cost=1, memory_cost=1024, parallelism=1).hash("brindle truck loom")
    assert passwords.fits("brindle truck loom", weak)
    assert passwords.outdated(weak)


@pytest.mark.parametrize(
    "password",
    [
        "", "short", "123456789", "1234567890", "12345678901234", "0987654321", "password12", "Password123!",
        "passwordpassword", "p@ssw0rd123", "qwertyuiop", "qwertyuiop123", "asdfghjkl;'", "1qaz2wsx3edc", "iloveyou123",
        "letmein1234", "welcome2026", "administrator", "aaaaaaaaaaaa", "abcabcabcabc", "abcdefghijkl", "monkeymonkey",
        "football2026", "trustno1trustno1", "sunshine123", "annannannann", "ann.builder", "Ann Builder", "pinmappinmap",
        "2026-11-25",
    ],
)  # fmt: skip
def test_what_would_be_guessed_soon_is_refused(password: str) -> None:
    with pytest.raises(InputError) as refused:
        passwords.check(password, password, "Ann Builder", "ann.builder")
    assert refused.value.field == "password"
    assert password not in str(refused.value) or len(password) < 6


@pytest.mark.parametrize(
    "password",
    [
        "brindle truck loom", "correct horse battery", "vT7-kq2-Wm9x", "drei bunte lampen im hof",
        "a whole sentence of more than sixty-four characters is as good as any other password",
    ],
)  # fmt: skip
def test_what_would_not_be_is_taken(password: str) -> None:
    passwords.check(password, password, "Ann Builder", "ann.builder")


def test_typed_differently_and_too_long() -> None:
    with pytest.raises(InputError) as refused:
        passwords.check("brindle truck loom", "brindle truck lom")
    assert refused.value.field == "password_again"
    with pytest.raises(InputError, match="at most"):
        passwords.check("q7 " * 100, "q7 " * 100)

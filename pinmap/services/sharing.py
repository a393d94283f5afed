"""Share links: one revision and one variant, read-only, by an unguessable address that ends."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from pinmap.core.build.table import BuildRow
from pinmap.core.crossing.changes import Change
from pinmap.core.errors import InputError, NotFound
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.people import Right
from pinmap.services import audit, revisions
from pinmap.services.analysis import Analysis, analyse
from pinmap.services.audit import Subject
from pinmap.services.shop import Shop
from pinmap.services.tokens import digest, new_token
from pinmap.store import jobs as rows
from pinmap.store import releases
from pinmap.store.base import now
from pinmap.store.releases import LinkLine, RevisionLine

_GONE = "this link opens nothing; it may have expired or been revoked"
MAX_DAYS = 3660


@dataclass(frozen=True)
class HandOver:
    """What a link opens. ``newer`` is the letter of the newest revision where that is not this one."""

    revision: RevisionLine
    snapshot: Snapshot
    variant: Variant
    dictionary: Dictionary
    expires: datetime
    newer: str

    @property
    def job_name(self) -> str:
        return self.snapshot.job.name

    @property
    def letter(self) -> str:
        return self.revision.letter

    @property
    def created(self) -> datetime:
        return self.revision.created

    @property
    def content_hash(self) -> str:
        return self.revision.content_hash

    @property
    def variant_label(self) -> str:
        return self.snapshot.variant_label(self.variant)

    @property
    def analysis(self) -> Analysis:
        return analyse(self.snapshot, self.variant, self.dictionary)

    @property
    def rows(self) -> tuple[BuildRow, ...]:
        return self.analysis.build_rows


def create_link(
    shop: Shop, key: str, letter: str, variant: str = "", *, days: int, label: str = "", passphrase: str = ""
) -> str:
    """A link to a revision and a variant ("" for the first) that is good for some days; gives its token, which is
    kept nowhere. Raises InputError, NotFound."""
    if not 1 <= days <= MAX_DAYS:
        raise InputError("days", days, f"give a number of days from 1 to {MAX_DAYS}")
    if passphrase and len(passphrase) < 8:
        raise InputError("passphrase", "", "make it eight characters at least, or leave it empty")
    token = new_token()
    with shop.write() as session:
        stored = releases.get_revision(session, job=key, letter=letter)
        chosen = revisions.opened(stored).snapshot.variant(variant)
        made = Change(
            f"link to revision {letter}",
            "added",
            "",
            f"for {label.strip() or 'nobody named'}; {chosen.key or 'the only variant'}; {days} days"
            + ("; with passphrase" if passphrase else ""),
        )
        audit.record(shop, session, Subject.JOB, key, f"link to revision {letter} made", (made,))
        releases.add_link(
            session,
            {
                "token_sha256": digest(token),
                "revision_id": stored.line.id,
                "variant": chosen.key,
                "label": label.strip(),
                "passphrase": _guarded(passphrase) if passphrase else None,
                "expires": now() + timedelta(days=days),
            },
        )
    return token


def open_link(shop: Shop, token: str, passphrase: str = "") -> HandOver:
    """What a link opens. Raises NotFound in the same words for a wrong, an expired and a revoked link; and
    InputError with field ``passphrase`` when a good link asks for another one."""
    with shop.write(Right.OPEN) as session:
        link = releases.find_link(session, digest(token))
        if link is None or link.revoked is not None or link.expires <= now():
            raise NotFound(_GONE)
        if link.passphrase is not None and not _fits(passphrase, link.passphrase):
            raise InputError("passphrase", "", "give the passphrase that came with the link")
        stored = releases.get_revision(session, revision_id=link.revision_id)
        newest = releases.newest_letter(session, link.revision_id)
        releases.count_view(session, link.id)
    revision = revisions.opened(stored)
    return HandOver(
        revision=revision.line,
        snapshot=revision.snapshot,
        variant=revision.snapshot.variant(link.variant),
        dictionary=revision.dictionary,
        expires=link.expires,
        newer=newest if newest != revision.line.letter else "",
    )


def list_links(shop: Shop, key: str) -> tuple[LinkLine, ...]:
    """All links of a job, the newest first. Raises NotFound."""
    with shop.read() as session:
        return releases.list_links(session, rows.versions(session, key).job_id)


def revoke(shop: Shop, key: str, link_id: int) -> None:
    """Ends a link at once. Raises NotFound."""
    with shop.write() as session:
        link = releases.revoke_link(session, rows.versions(session, key).job_id, link_id)
        gone = Change(f"link to revision {link.letter}", "state", link.state, "revoked")
        audit.record(shop, session, Subject.JOB, key, f"link for {link.label or 'nobody named'} revoked", (gone,))


def _derived(passphrase: str, salt: bytes) -> bytes:
    return hashlib.scrypt(passphrase.encode("utf-8", "surrogatepass"), salt=salt, n=2**14, r=8, p=1)


def _guarded(passphrase: str) -> str:
    salt = secrets.token_bytes(16)
    return f"{salt.hex()}${_derived(passphrase, salt).hex()}"


def _fits(passphrase: str, guarded: str) -> bool:
    salt, _, key = guarded.partition("$")
    return hmac.compare_digest(_derived(passphrase, bytes.fromhex(salt)).hex(), key)

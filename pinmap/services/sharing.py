"""Share links: one revision and one variant, read-only, by an unguessable address that ends."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from functools import cached_property

from sqlmodel import Session

from pinmap.core.build.pin_table import PinTableRow, pin_table
from pinmap.core.crossing.changes import Change
from pinmap.core.errors import InputError, NotFound
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.people import Right
from pinmap.services import audit, bench, outputs, revisions, throttle
from pinmap.services.analysis import Analysis, analyse
from pinmap.services.audit import Subject
from pinmap.services.outputs import Output
from pinmap.services.shop import Shop
from pinmap.services.throttle import Limit
from pinmap.services.tokens import digest, new_token
from pinmap.store import bench as bench_rows
from pinmap.store import jobs as jobs_rows
from pinmap.store import releases
from pinmap.store import sharing as rows
from pinmap.store.base import now
from pinmap.store.releases import RevisionLine
from pinmap.store.sharing import Card, FoundLink, LinkLine, Question

_GONE = "this link opens nothing; it may have expired or been revoked"
MAX_DAYS = 3660
LEAST_PASSPHRASE = 8


class Part(StrEnum):
    """What of a revision a link may show."""

    TABLE = "table"
    FACES = "faces"
    DIAGRAM = "diagram"
    FILES = "files"
    PACKET = "packet"


PART_WORDS: dict[Part, str] = {
    Part.TABLE: "Pin table",
    Part.FACES: "Connector faces",
    Part.DIAGRAM: "Wiring maps",
    Part.FILES: "Downloads of what is ticked above",
    Part.PACKET: "The builder's PDF packet, with cut list and parts",
}
RECORD = "test-record.pdf"
USUAL = (Part.TABLE, Part.FACES, Part.DIAGRAM, Part.FILES)
_FILES: dict[Part, tuple[str, ...]] = {
    Part.TABLE: ("pin-table.csv", "pin-table.xlsx"),
    Part.FACES: ("connector-faces.zip",),
    Part.DIAGRAM: ("wiring-maps.zip",),
}


@dataclass(frozen=True)
class HandOver:
    """What a link opens. ``newer`` is the letter of the newest revision where that is not this one."""

    link_id: int
    revision: RevisionLine
    snapshot: Snapshot
    variant: Variant
    dictionary: Dictionary
    includes: frozenset[Part]
    record_serial: str | None  # of the loom whose test record goes along
    expires: datetime
    newer: str
    card: Card
    questions: tuple[Question, ...]

    @property
    def letter(self) -> str:
        return self.revision.letter

    @property
    def variant_label(self) -> str:
        return self.snapshot.variant_label(self.variant)

    @property
    def analysis(self) -> Analysis:
        return analyse(self.snapshot, self.variant, self.dictionary)

    @cached_property
    def rows(self) -> tuple[PinTableRow, ...]:
        """The pin table."""
        return pin_table(self.snapshot, self.variant, self.analysis.build_rows)

    @cached_property
    def pin_names(self) -> Collection[str]:
        """Names of the table's pins, on which a question can be left."""
        return {row.name for row in self.rows}

    @property
    def files(self) -> tuple[str, ...]:
        """Names of what can be downloaded."""
        chosen = [part for part in _FILES if part in self.includes] if Part.FILES in self.includes else []
        packet = ("build-table.pdf",) if Part.PACKET in self.includes else ()
        record = (RECORD,) if self.record_serial is not None else ()
        return (*(name for part in chosen for name in _FILES[part]), *packet, *record)


def create_link(
    shop: Shop,
    key: str,
    letter: str,
    variant: str = "",
    *,
    days: int,
    label: str = "",
    passphrase: str = "",
    includes: Collection[Part] = USUAL,
    record_serial: str | None = None,
) -> str:
    """A link to a revision and a variant ("" for the first) that is good for some days and shows what is included, and
    the test record of the loom with this serial number if any; gives its token, which is kept nowhere. Raises
    InputError, NotFound."""
    if not 1 <= days <= MAX_DAYS:
        raise InputError("days", days, f"give a number of days from 1 to {MAX_DAYS}")
    if passphrase and len(passphrase) < LEAST_PASSPHRASE:
        raise InputError("passphrase", "", "make it eight characters at least, or leave it empty")
    if not set(includes) - {Part.FILES} and record_serial is None:
        raise InputError("includes", "", "tick what the link is to show")
    token = new_token()
    with shop.write() as session:
        stored = releases.get_revision(session, job=key, letter=letter)
        frozen = revisions.opened(stored).snapshot
        chosen = frozen.variant(variant)
        if record_serial is not None and (chosen.key, record_serial) not in _begun(session, key):
            raise InputError("record", record_serial, "nothing was checked off of that loom in this variant")
        told = f"for {label.strip() or 'nobody named'}; {frozen.variant_label(chosen)}; {days} days; "
        told += ", ".join(part for part in Part if part in includes) + ("; with passphrase" if passphrase else "")
        if record_serial is not None:
            told += f"; test record of {record_serial or 'the loom without serial number'}"
        made = Change(f"link to revision {letter}", "added", "", told)
        audit.record(shop, session, Subject.JOB, key, f"link to revision {letter} made", (made,))
        rows.add_link(
            session,
            {
                "token_sha256": digest(token),
                "revision_id": stored.line.id,
                "variant": chosen.key,
                "label": label.strip(),
                "includes": tuple(part.value for part in Part if part in includes),
                "record_serial": record_serial,
                "passphrase": _guarded(passphrase) if passphrase else None,
                "expires": now() + timedelta(days=days),
            },
        )
    return token


def unlock(shop: Shop, token: str, passphrase: str, *, address: str) -> str:
    """Tries a passphrase and gives the grant by which the link then opens, "" for a link without one. Raises NotFound
    as ``open_link``, InputError for a wrong one, TooOften after several."""
    link = _standing(shop, token)
    if link.passphrase is None:
        return ""
    limits = (
        Limit(f"passphrase of link {link.id} from {address}", free=5, longest_wait_s=900),
        # Waits little, so that strangers who have the link cannot keep its reader out for long.
        Limit(f"passphrase of link {link.id}", free=60, longest_wait_s=30),
    )
    throttle.count(shop, limits)
    if not _fits(passphrase, link.passphrase):
        raise InputError("passphrase", "", "this is not the passphrase that came with the link")
    throttle.was_right(shop, limits)
    return _grant(token, link.passphrase)


def open_link(shop: Shop, token: str, grant: str = "", *, count: bool = True) -> HandOver:
    """What a link opens; counted as a view unless told otherwise. Raises NotFound in the same words for a wrong, an
    expired and a revoked link; and InputError with field ``passphrase`` when a good link asks for one and the grant
    is not its own."""
    link = _standing(shop, token)
    if link.passphrase is not None and not hmac.compare_digest(grant.encode(), _grant(token, link.passphrase).encode()):
        raise InputError("passphrase", "", "give the passphrase that came with the link")
    with shop.read(Right.OPEN) as session:
        stored = releases.get_revision(session, revision_id=link.revision_id)
        newest = releases.newest_letter(session, link.revision_id)
        asked = rows.questions(session, link_id=link.id)
        card = rows.card(session)
    if count:
        with shop.write(Right.OPEN) as session:
            rows.count_view(session, link.id)
    revision = revisions.opened(stored)
    return HandOver(
        link_id=link.id,
        revision=revision.line,
        snapshot=revision.snapshot,
        variant=revision.snapshot.variant(link.variant),
        dictionary=revision.dictionary,
        includes=frozenset(Part(name) for name in link.includes),
        record_serial=link.record_serial,
        expires=link.expires,
        newer=newest if newest != revision.line.letter else "",
        card=card,
        questions=asked,
    )


def _standing(shop: Shop, token: str) -> FoundLink:
    """The link of a token, if it stands. The same one question to the database whatever is wrong, and no turn at
    writing, so that guessing tells nothing and holds up nobody."""
    with shop.read(Right.OPEN) as session:
        link = rows.find_link(session, digest(token))
    if link is None:
        raise NotFound(_GONE)
    return link


def _begun(session: Session, key: str) -> tuple[tuple[str, str], ...]:
    return bench_rows.looms(session, jobs_rows.versions(session, key).job_id)


def file(shop: Shop, opened: HandOver, name: str) -> Output:
    """One of the files that a link offers. Raises NotFound."""
    if name not in opened.files:
        raise NotFound("this link offers no such file")
    if name == RECORD:
        sheet = bench.sheet(shop, opened.analysis, opened.record_serial or "", Right.OPEN)
        return bench.record(opened.analysis, sheet, "pdf", outputs.released(opened.revision))
    return outputs.make(
        opened.snapshot, opened.variant, name, opened.dictionary, release=outputs.released(opened.revision)
    )


def list_links(shop: Shop, key: str) -> tuple[LinkLine, ...]:
    """All links of a job, the newest first. Raises NotFound."""
    with shop.read() as session:
        return rows.list_links(session, jobs_rows.versions(session, key).job_id)


def revoke(shop: Shop, key: str, link_id: int) -> None:
    """Ends a link at once. Raises NotFound."""
    with shop.write() as session:
        link = rows.revoke_link(session, jobs_rows.versions(session, key).job_id, link_id)
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


def _grant(token: str, guarded: str) -> str:
    """What a browser shows instead of the passphrase. It takes the token and the stored key to make one, so neither a
    reader without the passphrase nor a stolen database can."""
    return hmac.new(guarded.encode(), b"grant " + token.encode("utf-8", "surrogatepass"), hashlib.sha256).hexdigest()

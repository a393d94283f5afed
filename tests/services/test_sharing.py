"""What a link shows, to whom and for how long; questions of its readers; the shop's card."""

from __future__ import annotations

import io
from datetime import timedelta

import pypdf
import pytest
import sqlalchemy as sa
from PIL import Image

from pinmap.core.errors import Conflict, InputError, NotAllowed, NotFound, TooOften
from pinmap.core.model.bench import Stage, Verdict
from pinmap.core.model.people import RIGHTS, VISITOR, Actor, PersonRole
from pinmap.demo import finished_snapshot
from pinmap.services import audit, bench, card, demo, jobs, questions, revisions, sharing
from pinmap.services.analysis import analyse
from pinmap.services.sharing import Part
from pinmap.services.shop import Shop
from pinmap.store.audit import Query
from pinmap.store.base import now, table

KEY = finished_snapshot().job.key


@pytest.fixture
def demo_shop(shop: Shop) -> Shop:
    demo.load(shop)
    revisions.release(shop, KEY, jobs.get(shop, KEY).version, "A. Fitter")
    return shop


@pytest.fixture
def visitor(demo_shop: Shop) -> Shop:
    return demo_shop.acting_as(VISITOR)


def picture(kind: str = "PNG", size: tuple[int, int] = (900, 300), mode: str = "RGBA") -> bytes:
    out = io.BytesIO()
    Image.new(mode, size, "red").save(out, kind)
    return out.getvalue()


def test_the_test_record_of_one_loom_goes_along(demo_shop: Shop, visitor: Shop) -> None:
    frozen = revisions.get(demo_shop, KEY, "A")
    done = analyse(frozen.snapshot, frozen.snapshot.variants[0], frozen.dictionary)
    for serial, note in (("0042", "theirs"), ("0043", "somebody else's")):
        line = bench.sheet(demo_shop, done, serial).of(Stage.CUT)[0]
        bench.check_off(
            demo_shop, done, line.ref, as_shown=bench.shown(line), verdict=Verdict.DONE, note=note, serial=serial
        )
    token = sharing.create_link(demo_shop, KEY, "A", days=1, includes=[], record_serial="0042")
    opened = sharing.open_link(visitor, token)
    assert opened.files == ("test-record.pdf",)
    made = sharing.file(visitor, opened, "test-record.pdf")
    assert made.filename.endswith("_0042_test-record.pdf")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(made.data)).pages)
    assert "theirs" in text
    assert "somebody" not in text
    assert "Airbag" in text
    assert "Revision A" in text
    assert sharing.list_links(demo_shop, KEY)[0].record_serial == "0042"
    assert "test record of 0042" in audit.entries(demo_shop, Query(subject=KEY)).entries[0].changes[0].new
    for serial, variant in (("", ""), ("0044", ""), ("0042", frozen.snapshot.variants[1].key)):
        with pytest.raises(InputError, match="nothing was checked off"):
            sharing.create_link(demo_shop, KEY, "A", variant, days=1, record_serial=serial)
    without = sharing.open_link(visitor, sharing.create_link(demo_shop, KEY, "A", days=1))
    assert "test-record.pdf" not in without.files
    with pytest.raises(NotFound):
        sharing.file(visitor, without, "test-record.pdf")


def test_a_link_shows_only_what_was_chosen(demo_shop: Shop, visitor: Shop) -> None:
    token = sharing.create_link(demo_shop, KEY, "A", days=1, includes=[Part.TABLE, Part.FILES])
    opened = sharing.open_link(visitor, token)
    assert opened.files == ("pin-table.csv", "pin-table.xlsx")
    assert sharing.file(visitor, opened, "pin-table.csv").data.startswith(b"\xef\xbb\xbf")
    for name in ("connector-faces.zip", "build-table.pdf", "job.json", "../x"):
        with pytest.raises(NotFound):
            sharing.file(visitor, opened, name)
    without = sharing.create_link(demo_shop, KEY, "A", days=1, includes=[Part.TABLE])
    assert sharing.open_link(visitor, without).files == ()
    packet = sharing.create_link(demo_shop, KEY, "A", days=1, includes=[Part.PACKET])
    assert sharing.open_link(visitor, packet).files == ("build-table.pdf",)
    for nothing in ([], [Part.FILES]):
        with pytest.raises(InputError, match="tick"):
            sharing.create_link(demo_shop, KEY, "A", days=1, includes=nothing)
    with pytest.raises(NotAllowed):
        sharing.create_link(visitor, KEY, "A", days=1)


def test_a_passphrase_gives_a_grant_for_this_link_only(demo_shop: Shop, visitor: Shop) -> None:
    token = sharing.create_link(demo_shop, KEY, "A", days=1, passphrase="correct horse")
    other = sharing.create_link(demo_shop, KEY, "A", days=1, passphrase="correct horse")
    for grant in ("", "correct horse", "0" * 64, "ÿ"):
        with pytest.raises(InputError, match="passphrase"):
            sharing.open_link(visitor, token, grant)
    grant = sharing.unlock(visitor, token, "correct horse", address="one")
    assert sharing.open_link(visitor, token, grant).letter == "A"
    with pytest.raises(InputError, match="passphrase"):
        sharing.open_link(visitor, other, grant)
    sharing.revoke(demo_shop, KEY, next(x for x in sharing.list_links(demo_shop, KEY) if x.views == 1).id)
    with pytest.raises(NotFound):
        sharing.open_link(visitor, token, grant)
    with pytest.raises(NotFound):
        sharing.unlock(visitor, token, "correct horse", address="one")


def test_passphrases_cannot_be_tried_out(demo_shop: Shop, visitor: Shop) -> None:
    token = sharing.create_link(demo_shop, KEY, "A", days=1, passphrase="correct horse")
    for _ in range(5):
        with pytest.raises(InputError, match="not the passphrase"):
            sharing.unlock(visitor, token, "wrong horse", address="one")
    with pytest.raises(TooOften):
        sharing.unlock(visitor, token, "correct horse", address="one")
    assert sharing.unlock(visitor, token, "correct horse", address="two"), "another reader is not kept out"


def test_only_opening_the_page_is_a_view(demo_shop: Shop, visitor: Shop) -> None:
    token = sharing.create_link(demo_shop, KEY, "A", days=1, passphrase="correct horse")
    grant = sharing.unlock(visitor, token, "correct horse", address="one")
    sharing.open_link(visitor, token, grant, count=False)
    with pytest.raises(InputError):
        sharing.open_link(visitor, token, "wrong")
    assert sharing.list_links(demo_shop, KEY)[0].views == 0
    sharing.open_link(visitor, token, grant)
    assert sharing.list_links(demo_shop, KEY)[0].views == 1


def _ask(shop: Shop, token: str, **values: str) -> None:
    questions.ask(shop, token, "", **{"pin": "", "name": "", "text": "Why?", "address": "one", **values})


def test_a_question_reaches_the_shop_and_its_answer_the_reader(demo_shop: Shop, visitor: Shop) -> None:
    token = sharing.create_link(demo_shop, KEY, "A", days=1, label="Customer")
    other = sharing.create_link(demo_shop, KEY, "A", days=1)
    pin = sharing.open_link(visitor, token).rows[0].name
    _ask(visitor, token, pin=pin, name=" D.  Driver ", text="Which fuse?\n<b>now</b>")
    (asked,) = questions.of_job(demo_shop, KEY)
    assert (asked.pin, asked.name, asked.text, asked.label) == (pin, "D. Driver", "Which fuse?\n<b>now</b>", "Customer")
    assert asked.settled is None
    ann = demo_shop.acting_as(Actor("Ann", RIGHTS[PersonRole.BUILDER]))
    with pytest.raises(NotAllowed):
        questions.answer(visitor, KEY, asked.id, 1, "x")
    questions.answer(ann, KEY, asked.id, 1, " F3 ")
    (shown,) = sharing.open_link(visitor, token).questions
    assert (shown.answer, shown.answered_by) == ("F3", "Ann")
    assert shown.settled is not None
    assert sharing.open_link(visitor, other).questions == (), "another link's reader does not see it"
    with pytest.raises(Conflict) as late:
        questions.answer(ann, KEY, asked.id, 1, "F4")
    assert [(d.before, d.after) for d in late.value.changes] == [("F3", "F4")]
    questions.answer(ann, KEY, asked.id, 2, "")
    assert questions.of_job(demo_shop, KEY)[0].answer == ""
    told = audit.entries(demo_shop, Query(kind="job", subject=KEY), limit=2).entries
    assert [e.what for e in told] == ["question set aside", "question answered"]
    with pytest.raises(NotFound):
        questions.answer(ann, KEY, 999, 1, "x")


def test_bad_questions_are_refused_and_many_are_slowed_down(demo_shop: Shop, visitor: Shop) -> None:
    token = sharing.create_link(demo_shop, KEY, "A", days=1)
    for values, field in (
        ({"text": "  "}, "text"),
        ({"text": "x" * 1001}, "text"),
        ({"name": "x" * 81}, "name"),
        ({"pin": "no-such"}, "pin"),
        ({"text": "nul\x00"}, "text"),
    ):
        with pytest.raises(InputError) as caught:
            _ask(visitor, token, **values)
        assert caught.value.field == field
    assert questions.of_job(demo_shop, KEY) == ()
    with pytest.raises(NotFound):
        _ask(visitor, "wrong")
    taken = 0
    for _ in range(8):
        try:
            _ask(visitor, token)
            taken += 1
        except TooOften:
            break
    assert 3 <= taken <= 6
    assert len(questions.of_job(demo_shop, KEY)) == taken


def test_a_link_takes_only_so_many_questions(demo_shop: Shop, visitor: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(questions, "MOST", 2)
    token = sharing.create_link(demo_shop, KEY, "A", days=1)
    _ask(visitor, token)
    _ask(visitor, token)
    with pytest.raises(InputError, match="no room"):
        _ask(visitor, token)


def test_the_card_is_the_owners_and_stands_on_every_link(demo_shop: Shop, visitor: Shop) -> None:
    token = sharing.create_link(demo_shop, KEY, "A", days=1)
    assert card.get(visitor).name == ""
    card.change(demo_shop, 1, name=" Harbour Looms ", line="since 1998", contact="Quay 3\ncall 12")
    with pytest.raises(Conflict):
        card.change(demo_shop, 1, name="Other", line="", contact="")
    with pytest.raises(InputError, match="shorten"):
        card.change(demo_shop, 2, name="x" * 81, line="", contact="")
    builder = demo_shop.acting_as(Actor("Ben", RIGHTS[PersonRole.BUILDER]))
    with pytest.raises(NotAllowed):
        card.change(builder, 2, name="Other", line="", contact="")
    card.change_mark(demo_shop, picture())
    shown = sharing.open_link(visitor, token).card
    assert (shown.name, shown.line, shown.contact) == ("Harbour Looms", "since 1998", "Quay 3\ncall 12")
    assert card.mark_address(shown).startswith("data:image/png;base64,")
    card.change_mark(demo_shop, None)
    assert card.mark_address(card.get(visitor)) == ""
    told = [e.what for e in audit.entries(demo_shop, Query(kind="shop")).entries]
    assert told == ["mark taken off", "mark changed", "card changed"]


def test_wrong_expired_and_revoked_are_told_alike(demo_shop: Shop, visitor: Shop) -> None:
    gone, late = (sharing.create_link(demo_shop, KEY, "A", days=1, passphrase="correct horse") for _ in range(2))
    newest, _ = sharing.list_links(demo_shop, KEY)
    with demo_shop.write() as session:
        session.execute(
            sa.update(table("share_link"))
            .where(table("share_link").c.id == newest.id)
            .values(expires=now() - timedelta(1))
        )
    sharing.revoke(demo_shop, KEY, newest.id - 1)
    said = set()
    for token in (gone, late, "wrong", "", "nul\x00", "\ud800"):
        with pytest.raises(NotFound) as caught:
            sharing.open_link(visitor, token)
        said.add(str(caught.value))
        with pytest.raises(NotFound) as caught:
            sharing.unlock(visitor, token, "correct horse", address="one")
        said.add(str(caught.value))
    assert len(said) == 1


def test_a_link_from_before_there_was_a_choice_shows_what_it_showed(demo_shop: Shop, visitor: Shop) -> None:
    token = sharing.create_link(demo_shop, KEY, "A", days=1)
    with demo_shop.write() as session:
        session.execute(sa.text("UPDATE share_link SET includes = NULL"))
    assert sharing.open_link(visitor, token).includes == {Part.TABLE, Part.FACES, Part.DIAGRAM}
    assert sharing.list_links(demo_shop, KEY)[0].includes == ("table", "faces", "diagram")

"""``pinmap wire``: exact answers as JSON and in words."""

import json
import math

import pytest
from typer.testing import CliRunner

from pinmap.cli.main import app
from pinmap.core.errors import InputError, TableGap

QUESTION = ["wire", "--current-a", "10", "--loop-m", "6.4", "--supply-v", "12", "--drop-pct", "3"]


def ask(*more: str) -> str:
    found = CliRunner().invoke(app, [*QUESTION, *more])
    if found.exception is not None:
        raise found.exception
    return found.output


def test_e11() -> None:
    """10 A over 21 ft at 12 V and 3 %: 10 AWG."""
    answer = json.loads(ask("--standard", "abyc-e11", "--json"))
    assert (answer["size"], answer["limit"], answer["ampacity_a"]) == ("10 AWG", "drop", 60)
    assert answer["area_mm2"] == pytest.approx(9343 * math.pi / 4 * 0.0254**2)
    assert answer["drop_v"] == pytest.approx(10.75 * 10 * 6.4 / 0.3048 / 9343)


@pytest.mark.parametrize(
    ("standard", "size"),
    [("model", "4 mm²"), ("iso10133", "4 mm²"), ("33cfr183", "12 AWG"), ("ac43-13", "10 AWG")],
)
def test_every_standard(standard: str, size: str) -> None:
    answer = json.loads(ask("--standard", standard, "--json"))
    assert answer["size"] == size
    assert {"size", "area_mm2", "drop_v", "ampacity_a", "limit"} <= set(answer)
    assert answer["drop_v"] <= 0.36
    assert answer["fuse"]["rating_a"] == 15
    json.dumps(answer, allow_nan=False)


def test_all_side_by_side() -> None:
    answers = json.loads(ask("--standard", "all", "--ambient-c", "85", "--json"))
    assert [a["standard"] for a in answers] == ["model", "iso10133", "abyc-e11", "33cfr183", "ac43-13"]
    assert "why" in answers[1]
    assert "no answer" in ask("--standard", "all", "--ambient-c", "85")


def test_in_words() -> None:
    words = ask("--bundle", "7", "--covering", "conduit-17", "--metal", "aluminium", "--on-s", "5", "--every-s", "60")
    assert "corrugated conduit" in words
    assert "time constant" in words
    assert "aluminium" in words


def test_refusals() -> None:
    with pytest.raises(InputError, match="choose one of"):
        ask("--standard", "none")
    with pytest.raises(TableGap, match="wool"):
        ask("--covering", "wool")

"""Questions: asked at a terminal only, with what is needed to answer them."""

from pathlib import Path

import click
import pytest

import cli.questions
from cli.questions import ask_unit, questions
from nesting.errors import UnitsUnknownError

UNKNOWN = UnitsUnknownError(
    "a.dxf: the drawing does not say its unit",
    path=Path("a.dxf"),
    sizes={"mm": (10.0, 20.0), "inch": (254.0, 508.0)},
    hint="$MEASUREMENT 1 proposes mm",
)


def at_a_terminal(monkeypatch: pytest.MonkeyPatch, answer: object) -> list[str]:
    asked: list[str] = []

    def reply(text: str, **_: object) -> object:
        asked.append(text)
        return answer

    monkeypatch.setattr(cli.questions, "can_ask", lambda as_json: not as_json)
    monkeypatch.setattr(click, "prompt", reply)
    monkeypatch.setattr(click, "confirm", reply)
    return asked


@pytest.mark.parametrize(("answer", "unit"), [("inch", "inch"), ("mm", "mm"), ("neither", None)])
def test_a_unit_is_asked_with_the_size_in_both(
    answer: str, unit: str | None, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    at_a_terminal(monkeypatch, answer)
    assert ask_unit(UNKNOWN) == unit
    out, err = capsys.readouterr()
    assert out == ""
    assert "read as mm: 10.0 x 20.0 mm" in err
    assert "read as inch: 254.0 x 508.0 mm" in err
    assert "$MEASUREMENT 1 proposes mm" in err


def test_an_unknown_grade_is_asked_unless_accepted_beforehand(monkeypatch: pytest.MonkeyPatch):
    asked = at_a_terminal(monkeypatch, True)
    assert questions(as_json=False, accept_unknown_grade=False).accept_unknown_grade("foot", "S355")
    assert len(asked) == 1
    assert "foot asks for grade S355" in asked[0]
    assert questions(as_json=False, accept_unknown_grade=True).accept_unknown_grade("foot", "S355")
    assert len(asked) == 1


def test_with_json_nobody_is_asked(monkeypatch: pytest.MonkeyPatch):
    asked = at_a_terminal(monkeypatch, True)
    who = questions(as_json=True, accept_unknown_grade=False)
    assert who.unit(UNKNOWN) is None
    assert not who.accept_unknown_grade("foot", "S355")
    assert asked == []

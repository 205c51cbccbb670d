"""`oddplate rack show --picture`: the corners are lettered, or nobody could say which three distances to tape."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from cli.main import main
from nesting.geometry.pose import Point
from nesting.report import plate_picture


def test_the_picture_of_a_piece_has_the_letters_chalked_on_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    lettered: list[Sequence[tuple[str, Point]]] = []
    draw = plate_picture.draw_plate

    def seen(*given: Any, corners: Sequence[tuple[str, Point]] = (), **options: Any) -> None:
        lettered.append(corners)
        draw(*given, corners=corners, **options)

    rack, plate = ["--rack", str(tmp_path / "rack.db")], str(tmp_path / "p.toml")
    typed = "Q,R,1200; R,S,800; S,P,1200; P,Q,800; Q,S,1442.2; R,P,1442.2"
    assert main(["plate", "tapes", "--typed", typed, "--order", "Q,R,S,P", "--thickness", "6", "--out", plate]) == 0
    assert main(["rack", "add", plate, *rack]) == 0
    assert main(["rack", "add", "900x500", "--thickness", "6", *rack]) == 0
    capsys.readouterr()
    assert main(["rack", "list", "--json", *rack]) == 0
    pieces = json.loads(capsys.readouterr().out)["pieces"]
    monkeypatch.setattr(plate_picture, "draw_plate", seen)
    for piece in pieces:
        picture = tmp_path / f"{piece['id']}.png"
        assert main(["rack", "show", piece["id"], "--picture", str(picture), *rack]) == 0
        assert picture.read_bytes().startswith(b"\x89PNG")
    assert ["".join(name for name, _ in corners) for corners in lettered] == ["QRSP", "ABCD"]

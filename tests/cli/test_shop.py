"""`oddplate shop`: a first shop file, never over an old one."""

import json
from pathlib import Path

import pytest

from cli.main import main
from nesting.files.shop_file import read_shop


def test_the_file_written_can_be_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "my shop.toml"
    assert main(["shop", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"schema": "oddplate-shop/1", "file": str(path)}
    assert read_shop(path).name == "My shop"


def test_a_file_that_is_there_stays(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "shop.toml"
    path.write_text("mine", encoding="utf-8")
    assert main(["shop", str(path)]) == 2
    assert "exists already; use --force" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == "mine"
    assert main(["shop", str(path), "--force"]) == 0
    assert read_shop(path).lift_limit_kg == 23.0


def test_a_folder_that_is_not_there_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["shop", str(tmp_path / "none" / "shop.toml")]) == 1
    assert "No such file or directory" in capsys.readouterr().err

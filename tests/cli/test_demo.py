"""`oddplate demo`: copied and run, and never over files of the user."""

import json
from pathlib import Path

import pytest

from cli.main import main
from nesting.files.release import FILES


def test_the_demo_runs_to_a_checked_result(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    folder = tmp_path / "my demo"
    code = main(["demo", str(folder), "--seconds", "2", "--json"])
    document = json.loads(capsys.readouterr().out)
    # In two seconds some parts may find no place; everything else is as in a long run.
    assert code in (0, 3)
    assert document["report"]["check"]["passed"]
    assert sorted(p.name for p in (folder / "demo-layout").iterdir()) == sorted(FILES), "nothing to ask a designer"


def test_files_of_the_user_are_not_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    (tmp_path / "job.toml").write_text("mine", encoding="utf-8")
    assert main(["demo", str(tmp_path)]) == 2
    assert "job.toml: exists already" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["job.toml"]


def test_copy_only_leaves_a_job_to_change(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["demo", str(tmp_path / "d"), "--copy-only", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["schema"] == "oddplate-demo/1"
    assert {"job.toml", "shop.toml", "plate.dxf"} <= {p.name for p in (tmp_path / "d").iterdir()}
    assert not (tmp_path / "d" / "demo-layout").exists()

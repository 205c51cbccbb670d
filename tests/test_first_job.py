"""What docs/first-job.md says is true: its commands, as written, lead from tapes to a sheet."""

import re
import shlex
import shutil
from pathlib import Path

import ezdxf
import ezdxf.bbox
import pytest

from cli.main import main
from nesting.check import check_drawing
from nesting.files.layout_file import load_layout

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "docs" / "first-job.md").read_text(encoding="utf-8")


def test_from_tapes_to_a_sheet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    monkeypatch.chdir(tmp_path)
    for name in ("bracket.dxf", "gusset.dxf"):
        shutil.copy(ROOT / "data" / "demo" / name, tmp_path)
    (readings,) = re.findall(r"```\n(A,B,.*?)```", TEXT, re.DOTALL)
    Path("readings.csv").write_text(readings, encoding="utf-8")
    steps = re.findall(r"^\$ oddplate (.*)$", TEXT.split("## Afterwards")[0], re.MULTILINE)
    assert len(steps) <= 6, "more commands than promised"

    printed = []
    for step in steps:
        args = shlex.split(step.replace("--seconds 20", "--seconds 3"))
        assert main(args) == 0, capsys.readouterr().err
        printed.append(capsys.readouterr().out)

    tapes, _, _, settled, _ = printed
    for block in re.findall(r"```\n((?:uncertain|\$ oddplate settle).*?)```", TEXT, re.DOTALL):
        for line in block.splitlines():
            told = tapes if block.startswith("uncertain") else settled
            assert line.startswith("$") or line in told.splitlines()
    layout = load_layout(Path("on-table/layout.json"))
    assert len(layout.placements) == 8
    assert check_drawing(Path("on-table/layout.dxf"), layout=layout).passed
    # The table's coordinates: everything lies where the plate was read out.
    box = ezdxf.bbox.extents(ezdxf.readfile("on-table/layout.dxf").modelspace().query('*[layer=="PLATE_EDGE"]'))
    assert box.extmin.x == pytest.approx(85.1, abs=1.0)
    assert box.extmin.y == pytest.approx(59.8, abs=1.0)
    assert Path("on-table/cut-sheet.pdf").read_bytes().startswith(b"%PDF")

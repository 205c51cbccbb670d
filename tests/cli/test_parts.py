"""`oddplate parts`: every drawing listed, every trouble told."""

import json
import math
from pathlib import Path

import ezdxf
import pytest

from cli.main import main


@pytest.fixture
def drawings(tmp_path: Path) -> Path:
    """A ring of 100 mm with a hole of 50 mm, and the same in inches without saying so."""
    for name, insunits in (("ring.dxf", 4), ("nameless.dxf", 0)):
        doc = ezdxf.new("R2000")
        doc.header["$INSUNITS"] = insunits
        doc.modelspace().add_circle((0, 0), 50)
        doc.modelspace().add_circle((0, 0), 25)
        doc.saveas(tmp_path / name)
    return tmp_path


def listed(capsys: pytest.CaptureFixture[str], *args: object) -> tuple[int, list[dict[str, object]], str]:
    code = main(["parts", *map(str, args), "--json"])
    out, err = capsys.readouterr()
    return code, json.loads(out)["drawings"], err


def test_a_ring_has_its_size_area_holes_and_mass(drawings: Path, capsys: pytest.CaptureFixture[str]):
    """Mass by 7850 kg/m3 (civiltutorials.com); the rest is plain geometry."""
    code, (ring,), _ = listed(capsys, drawings / "ring.dxf", "--thickness", "10")
    (part,) = ring["parts"]  # type: ignore[misc]
    area = math.pi * (50**2 - 25**2)
    assert code == 0
    assert (part["name"], part["width_mm"], part["height_mm"]) == ("ring", 100.0, 100.0)
    assert (part["holes"], part["contours"]) == (1, 2)
    assert part["area_mm2"] == pytest.approx(area, abs=1e-3)
    assert part["cut_length_mm"] == pytest.approx(math.pi * 150, abs=1e-3)
    assert part["mass_kg"] == pytest.approx(area * 10 * 7850e-9, abs=1e-4)


def test_a_refused_drawing_leaves_the_others_listed(drawings: Path, capsys: pytest.CaptureFixture[str]):
    code, found, err = listed(capsys, drawings)
    assert code == 2
    assert [Path(str(d["file"])).name for d in found] == ["nameless.dxf", "ring.dxf"]
    assert "does not say its unit" in str(found[0]["refused"])
    assert found[1]["refused"] is None
    assert err.startswith("oddplate: nameless.dxf: the drawing does not say its unit")


def test_a_unit_said_for_the_folder_settles_it(drawings: Path, capsys: pytest.CaptureFixture[str]):
    code, found, _ = listed(capsys, drawings, "--units", f"{drawings}=inch")
    assert code == 0
    assert [d["parts"][0]["width_mm"] for d in found] == [2540.0, 2540.0]  # type: ignore[index]


def test_people_get_a_table(drawings: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["parts", str(drawings / "ring.dxf"), "--thickness", "1/4 in", "--grade", "304"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert out[0].split("  ")[0] == "drawing"
    assert "100.0 x 100.0" in out[1]
    assert any(line.startswith("ring.dxf: read as mm") for line in out)


def test_an_empty_folder_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["parts", str(tmp_path)]) == 2
    assert "no DXF or SVG file in this folder" in capsys.readouterr().err


def test_an_inch_shop_lists_inches_and_pounds(drawings: Path, capsys: pytest.CaptureFixture[str]):
    """By hand: 100 mm are 3.937 in; the ring's 5890.5 mm2 are 9.13 in2 and, 1/4 in thick, 0.2936 kg, 0.647 lb."""
    shop = drawings / "shop.toml"
    shop.write_text('units = "inch"\n', encoding="utf-8")

    assert main(["parts", str(drawings / "ring.dxf"), "--thickness", "1/4 in", "--shop", str(shop)]) == 0

    header, row = capsys.readouterr().out.splitlines()[:2]
    assert "size in" in header and "net area in²" in header and "mass lb" in header
    assert "3.937 x 3.937" in row and " 9.13 " in row and " 0.647" in row

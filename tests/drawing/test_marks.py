"""What is cut and what only marks: layers, line types, rules of the user."""

from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, found, only, square

from nesting.drawing.marks import LayerRule, role_of
from nesting.drawing.reader import read_drawing


def test_marks_by_layer_line_type_and_rule(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.doc.linetypes.add("CENTER2", pattern=[1.0, 0.7, -0.1, 0.1, -0.1])
        space.add_line((10, 0), (10, 100), dxfattribs={"layer": "bend_up"})
        space.add_line((20, 10), (20, 90), dxfattribs={"linetype": "CENTER2"})
        space.add_circle((60, 60), 5, dxfattribs={"layer": "FEATURE_PROFILES"})
        space.add_circle((40, 60), 5, dxfattribs={"layer": "INTERIOR_PROFILES"})
        space.add_line((70, 10), (70, 30), dxfattribs={"layer": "WHATEVER"})
        space.add_line((170, 10), (170, 30), dxfattribs={"layer": "ETCH"})
        space.add_text("A7", dxfattribs={"insert": (30, 30), "height": 5})
        space.add_mtext("two\\Plines", dxfattribs={"insert": (50, 30), "char_height": 4})

    rules = [LayerRule(pattern="what*", role="bend")]
    read = read_drawing(drawing(tmp_path / "m.dxf", draw), layer_rules=rules)
    part = only(read)

    assert Counter(m.kind for m in part.marks) == {"bend": 2, "centre": 1, "etch": 1}
    assert len(part.holes) == 1
    assert [t.text for t in part.texts] == ["A7", "two", "lines"]
    assert len(found(read, "mark outside")) == 1


def test_only_chosen_layers_are_cut(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space, layer="CUT_OUT")
        space.add_circle((50, 50), 5, dxfattribs={"layer": "JUNK"})

    read = read_drawing(drawing(tmp_path / "c.dxf", draw), layers=["cut*"])

    assert only(read).holes == ()
    assert found(read, "layers left out") == ["layers left out: JUNK"]


@pytest.mark.parametrize(
    ("layer", "role"),
    [
        *[(name, "cut") for name in ("0", "CUT", "OUTER_PROFILE", "Interior profiles", "Kontur", "Sketch Geometry")],
        *[(name, "bend") for name in ("BEND_DOWN", "Biegelinien", "Ligne de pli", "Linea di piega", "plegado-1")],
        *[(name, "etch") for name in ("Engraving", "score", "GRAVUR", "Gravação", "FEATURE_PROFILES_DOWN")],
        *[(name, "centre") for name in ("ARC_CENTERS", "TOOL_CENTER_UP", "Mittellinie", "Axe")],
        *[(name, "ignore") for name in ("Bemaßung", "DIM", "Cotes", "KOTY", "TITLE-BLOCK", "Rahmen", "cartouche")],
        *[(name, "ignore") for name in ("UNCONSUMED_SKETCHES", "AM_BORDER")],
        *[(name, "other") for name in ("10MM_POCKET", "Markierung")],
    ],
)
def test_layer_names_in_several_languages(layer: str, role: str) -> None:
    """Words of drawing offices; common practice, no source."""
    assert role_of(layer, "CONTINUOUS", "7", (), ()) == role


@pytest.mark.parametrize(
    ("linetype", "role"),
    [
        *[(name, "centre") for name in ("CENTER", "CENTER2", "DASHDOT", "ACAD_ISO04W100", "ACAD_ISO10W100", "MITTE")],
        *[(name, "other") for name in ("PHANTOM", "HIDDEN2", "ACAD_ISO02W100", "ACAD_ISO12W100")],
        *[(name, "cut") for name in ("CONTINUOUS", "", "BYLAYER", "DASHED", "ACAD_ISO07W100")],
    ],
)
def test_line_types(linetype: str, role: str) -> None:
    """Numbers after ISO as in ISO 128-20; values from memory."""
    assert role_of("0", linetype, "7", (), ()) == role


def test_rules_look_at_layer_line_type_and_colour_together() -> None:
    rules = [
        LayerRule(pattern="a*", colour="1", role="cut"),
        LayerRule(linetype="dash*", role="bend"),
        LayerRule(colour="#ff*", role="ignore"),
    ]

    assert role_of("A1", "DASHED", "1", (), rules) == "cut"
    assert role_of("A1", "DASHED", "2", (), rules) == "bend"
    assert role_of("B", "", "#ff0000", (), rules) == "ignore"
    assert role_of("BEND", "", "7", (), rules) == "bend"


def test_colours_of_entities_layers_and_blocks(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.doc.layers.add("GREEN", color=3)
        space.add_circle((20, 20), 5, dxfattribs={"layer": "GREEN"})
        space.add_circle((40, 20), 5, dxfattribs={"color": 3})
        space.add_circle((60, 20), 5, dxfattribs={"true_color": 0x00FF00})
        space.doc.blocks.new("B").add_circle((0, 0), 5, dxfattribs={"color": 0})
        space.add_blockref("B", (80, 20), dxfattribs={"color": 3})

    path = drawing(tmp_path / "c.dxf", draw, version="R2010")

    def holes(*rules: LayerRule) -> int:
        return len(only(read_drawing(path, layer_rules=rules)).holes)

    assert holes() == 4
    assert holes(LayerRule(colour="3", role="ignore")) == 1
    assert holes(LayerRule(colour="#00ff00", role="other")) == 3


def test_texts_are_left_out_where_a_rule_or_the_layers_name_says_so(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        for k, layer in enumerate(("ETCH", "NOTES", "0")):
            space.add_text(layer, height=3, dxfattribs={"layer": layer}).set_placement((10, 10 + 10 * k))

    path = drawing(tmp_path / "t.dxf", draw)

    assert [t.text for t in only(read_drawing(path)).texts] == ["ETCH", "0"]
    ruled = read_drawing(path, layer_rules=[LayerRule(pattern="ETCH", role="ignore")])
    assert [t.text for t in only(ruled).texts] == ["0"]
    assert found(ruled, "text left out")

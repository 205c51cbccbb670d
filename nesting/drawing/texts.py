"""Text entities to lines of text that ride along with a part."""

import math
from typing import Any

from ezdxf.lldxf.encoding import decode_dxf_unicode

from nesting.drawing.affine import Affine
from nesting.part import TextMark

_LINE_SPACING = 5.0 / 3.0


def texts_of(entity: Any, affine: Affine) -> list[TextMark]:
    """Return the lines of a TEXT, ATTRIB or MTEXT; those without letters or height are left out."""
    lines = _mtext(entity) if entity.dxftype() == "MTEXT" else _text(entity)
    found = []
    for text, x, y, height, turn_deg in lines:
        direction = affine.vector((math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))))
        size = height * math.sqrt(abs(affine.determinant))
        text = decode_dxf_unicode(text)  # letters that the file's own alphabet lacks are written \\U+2116
        if text.strip() and 0.0 < size < 1e6 and all(map(math.isfinite, (x, y, *direction))):
            turn = math.degrees(math.atan2(direction[1], direction[0]))
            found.append(TextMark(text=text.strip(), at=affine.point((x, y)), height_mm=size, turn_deg=turn))
    return found


def _text(entity: Any) -> list[tuple[str, float, float, float, float]]:
    dxf = entity.dxf
    place = entity.ocs().to_wcs(dxf.get("insert", (0.0, 0.0, 0.0)))
    # Only the alignment point is certain for text that is not set from its left end.
    if dxf.get("halign", 0) and dxf.hasattr("align_point") and abs(place[0]) + abs(place[1]) == 0.0:
        place = entity.ocs().to_wcs(dxf.align_point)
    turn = float(dxf.get("rotation", 0.0))
    return [(entity.plain_text(), float(place[0]), float(place[1]), float(dxf.get("height", 0.0)), turn)]


def _mtext(entity: Any) -> list[tuple[str, float, float, float, float]]:
    dxf = entity.dxf
    height, turn = float(dxf.char_height), float(entity.get_rotation())
    down = (math.sin(math.radians(turn)), -math.cos(math.radians(turn)))
    found = []
    for index, line in enumerate(entity.plain_text(split=True)):
        drop = height * (1.0 + index * _LINE_SPACING)
        found.append((line, dxf.insert.x + drop * down[0], dxf.insert.y + drop * down[1], height, turn))
    return found

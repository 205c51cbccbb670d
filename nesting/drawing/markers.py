"""Put back the subclass markers (group 100) that some programs leave out of newer entities."""

import re
from typing import Final

_MARKER: Final[dict[bytes, bytes]] = {
    b"LWPOLYLINE": b"AcDbPolyline",
    b"SPLINE": b"AcDbSpline",
    b"ELLIPSE": b"AcDbEllipse",
}
_VERSION: Final = re.compile(rb"(\$ACADVER\s+1\s+)AC10\d\d")
_HEADER: Final = b"0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1015\n0\nENDSEC\n"
_COMMON: Final = frozenset({5, 6, 8, 39, 48, 60, 62, 67, 102, 330, 360, 370, 420, 440})


def with_subclass_markers(data: bytes) -> bytes:
    """Return the bytes of a text DXF file with a marker before the own data of each entity that has none.

    The version becomes R2000, the first one the library reads these entities in.  Raise `ValueError` if the file is not made of pairs of group code and value.
    """
    lines = data.splitlines()
    out: list[bytes] = []
    entity, common, tags = b"", list[bytes](), list[bytes]()
    for code_line, value in zip(lines[0::2], lines[1::2], strict=False):
        code = int(code_line)
        if code == 0:
            out += _entity(entity, common, tags)
            entity, common, tags = value.strip(), [code_line, value], []
        elif entity in _MARKER and code in _COMMON and not tags:
            common += [code_line, value]
        else:
            tags += [code_line, value]
    out += _entity(entity, common, tags)
    text = b"\n".join(out) + b"\n"
    return _VERSION.sub(rb"\g<1>AC1015", text) if b"$ACADVER" in text else _HEADER + text


def _entity(entity: bytes, common: list[bytes], tags: list[bytes]) -> list[bytes]:
    marker = _MARKER.get(entity)
    if marker is None or any(code.strip() == b"100" for code in tags[0::2]):
        return common + tags
    if entity == b"SPLINE":
        tags = _with_degree(tags)
    return [*common, b"100", b"AcDbEntity", b"100", marker, *tags]


def _with_degree(tags: list[bytes]) -> list[bytes]:
    """Add degree and flags where they are missing: knots = control points + degree + 1 tells the degree."""
    codes = [int(code) for code in tags[0::2]]
    missing: list[bytes] = []
    if 71 not in codes:
        degree = codes.count(40) - codes.count(10) - 1
        if not 1 <= degree <= 5:
            raise ValueError(
                f"a spline of {codes.count(10)} control points cannot have {codes.count(40)} knots"
            )
        missing += [b"71", str(degree).encode()]
    if 70 not in codes:
        missing += [b"70", b"8"]
    return missing + tags

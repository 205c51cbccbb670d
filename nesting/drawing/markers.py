"""Put back the subclass markers (group 100) that some programs leave out of newer entities."""

import re
from typing import Final

_Tag = tuple[int, bytes]

_MARKER: Final[dict[bytes, bytes]] = {
    b"LWPOLYLINE": b"AcDbPolyline",
    b"SPLINE": b"AcDbSpline",
    b"ELLIPSE": b"AcDbEllipse",
}
_VERSION: Final = re.compile(rb"(\$ACADVER\s+1\s+)AC10\d\d")
_ANY_VERSION: Final = re.compile(rb"(\$ACADVER\s+1\s+)(AC\d\d\d\d)")
_NEWER: Final = re.compile(rb"^[ \t]*0[ \t]*\r?\n(?:SPLINE|ELLIPSE|LWPOLYLINE)\s", re.MULTILINE)
_HEADER_START: Final = re.compile(rb"^[ \t]*2[ \t]*\r?\n[ \t]*HEADER[ \t]*\r?\n", re.MULTILINE)
_HEADER: Final = b"0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1015\n0\nENDSEC\n"
_COMMON: Final = frozenset({5, 6, 8, 39, 48, 60, 62, 67, 102, 330, 360, 370, 420, 440})


def with_version(data: bytes) -> bytes:
    """Return the bytes of a text DXF file, its version R2000 where it says none or an older one than its entities are.

    Splines, ellipses and light polylines came after R12; in a file that counts as older the library passes their values
    over.  A file without class markers is left as it is.
    """
    found = _ANY_VERSION.search(data)
    if (found and found[2] > b"AC1009") or b"AcDbEntity" not in data or not _NEWER.search(data):
        return data
    if found:
        return data[: found.start(2)] + b"AC1015" + data[found.end(2) :]
    header = _HEADER_START.search(data)
    if header is None:
        return _HEADER + data
    return data[: header.end()] + b"9\n$ACADVER\n1\nAC1015\n" + data[header.end() :]


def with_subclass_markers(data: bytes) -> bytes:
    """Return the bytes of a text DXF file with a marker before the own data of each entity that has none.

    The version becomes R2000, the first one the library reads these entities in.  Raise `ValueError` if the
    file is not made of pairs of group code and value.
    """
    lines = data.splitlines()
    out: list[bytes] = []
    entity: list[_Tag] = []
    for code_line, value in zip(lines[0::2], lines[1::2], strict=False):
        code = int(code_line)
        if code == 0:
            out += _entity(entity)
            entity = []
        entity.append((code, value))
    out += _entity(entity)
    text = b"\n".join(out) + b"\n"
    return _VERSION.sub(rb"\g<1>AC1015", text) if b"$ACADVER" in text else _HEADER + text


def _entity(tags: list[_Tag]) -> list[bytes]:
    marker = _MARKER.get(tags[0][1].strip()) if tags else None
    if marker is not None and (100, marker) not in [(code, value.strip()) for code, value in tags]:
        rest = [tag for tag in tags[1:] if tag[0] != 100]
        own = next((k for k, tag in enumerate(rest) if tag[0] not in _COMMON), len(rest))
        body = _with_degree(rest[own:]) if marker == b"AcDbSpline" else rest[own:]
        tags = [tags[0], *rest[:own], (100, b"AcDbEntity"), (100, marker), *body]
    return [line for code, value in tags for line in (str(code).encode(), value)]


def _with_degree(tags: list[_Tag]) -> list[_Tag]:
    """Add degree and flags where they are missing: knots = control points + degree + 1 tells the degree."""
    codes = [code for code, _ in tags]
    missing: list[_Tag] = []
    if 71 not in codes:
        degree = codes.count(40) - codes.count(10) - 1
        if not 1 <= degree <= 5:
            raise ValueError(f"a spline of {codes.count(10)} control points cannot have {codes.count(40)} knots")
        missing.append((71, str(degree).encode()))
    if 70 not in codes:
        missing.append((70, b"8"))
    return missing + tags

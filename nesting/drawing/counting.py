"""Count what a DXF file holds before it is read, so that one of millions of lines is refused in a moment."""

import re
from pathlib import Path
from typing import Final

from nesting.drawing.declared_units import BINARY_SENTINEL
from nesting.errors import DrawingError

MOST_ENTITIES: Final = 200_000
_TEXT_RECORD: Final = re.compile(rb"^[ \t]*0[ \t]*\r?\n[ \t]*[A-Z]", re.MULTILINE)
_BINARY_RECORD: Final = re.compile(rb"\x00\x00[A-Z][A-Z0-9_]+\x00")
_LEAST_BYTES: Final = 8


def count_first(path: Path, data: bytes, most: int) -> None:
    """Raise `DrawingError` if a file holds more than `most` records.

    Vertices of old polylines are records, and so are the entries of tables, a few hundred in a real drawing.
    """
    if len(data) < most * _LEAST_BYTES:
        return
    record = _BINARY_RECORD if data.startswith(BINARY_SENTINEL) else _TEXT_RECORD
    count = sum(1 for _ in record.finditer(data))
    if count > most:
        raise too_many(path.name, f"{count:,} entities", most)


def too_many(name: str, found: str, most: int) -> DrawingError:
    """Build the refusal of a drawing with too many entities."""
    return DrawingError(
        f"{name}: it holds {found}, over the limit of {most:,}; split the drawing, simplify curves drawn as many "
        "short lines, or raise the limit with --most-entities"
    )

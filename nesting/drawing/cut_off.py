"""Text DXF files that end too early, as a broken download or a full disk leaves them."""

import re
from dataclasses import dataclass
from typing import Final

from nesting.drawing.declared_units import BINARY_SENTINEL
from nesting.drawing.findings import Finding

_RECORD: Final = re.compile(rb"^[ \t]*0[ \t]*\r?\n[ \t]*[A-Z]", re.MULTILINE)
_ENTITIES: Final = re.compile(rb"^[ \t]*2[ \t]*\r?\n[ \t]*ENTITIES[ \t]*\r?$", re.MULTILINE)
_PADDING: Final = b"\x1a\x00 \t\r\n"


@dataclass(frozen=True, slots=True)
class Ended:
    """The bytes of a file, brought to a proper end, and what is to be said of it."""

    data: bytes
    findings: tuple[Finding, ...] = ()


def ended(data: bytes) -> Ended:
    """Return a file that ends as DXF should: one that is cut off loses its last, unfinished record.

    Where the cut falls before the end of the entities something drawn is missing, which is an error; else a warning.
    """
    body = data.rstrip(_PADDING)
    if data.startswith(BINARY_SENTINEL) or body.endswith(b"EOF"):
        return Ended(data)
    if body.endswith(b"ENDSEC"):
        text = "the file lacks its end mark (EOF); all its sections are whole"
        return Ended(body + b"\n0\nEOF\n", (Finding(kind="repaired", severity="warning", message=text),))
    starts = [match.start() for match in _RECORD.finditer(body)]
    if not starts or b"SECTION" not in body[: starts[-1]]:
        return Ended(data)
    whole = body[: starts[-1]] + b"0\nENDSEC\n0\nEOF\n"
    start = _ENTITIES.search(body)
    if start and b"ENDSEC" in body[start.end() :]:
        text = "the file is cut off after its entities; all that is drawn is there"
        return Ended(whole, (Finding(kind="repaired", severity="warning", message=text),))
    text = "the file is cut off in the middle: what is missing may be a hole; get the whole file, or export it again"
    return Ended(whole, (Finding(kind="cut off", severity="error", message=text),))

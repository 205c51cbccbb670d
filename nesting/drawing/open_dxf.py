"""Open a DXF file, sound or damaged, or say in plain words why not."""

import hashlib
import io
from dataclasses import dataclass
from pathlib import Path

from ezdxf import recover
from ezdxf.document import Drawing as DxfDocument
from ezdxf.filemanagement import readfile

from nesting.drawing.cut_off import ended
from nesting.drawing.declared_units import BINARY_SENTINEL, DeclaredUnits, declared_units
from nesting.drawing.findings import Finding
from nesting.drawing.markers import with_subclass_markers, with_version
from nesting.errors import DrawingError


@dataclass(frozen=True, kw_only=True)
class OpenedDxf:
    """A document, the units its header declares, its content hash, and what had to be repaired."""

    document: DxfDocument
    declared: DeclaredUnits
    sha256: str
    findings: tuple[Finding, ...]


def open_dxf(path: Path, data: bytes) -> OpenedDxf:
    """Open a file whose bytes are `data`; raise `DrawingError` if it is no DXF, or damaged beyond repair."""
    _require_dxf(path, data)
    end = ended(data)
    cause = "the file is cut off" if end.data is not data else ""
    prepared = end.data if data.startswith(BINARY_SENTINEL) else with_version(end.data)
    if prepared is not end.data:
        cause = "it counts as R12 or older, and its entities are newer"
    document, findings = _document(path, prepared, cause)
    return OpenedDxf(
        document=document,
        declared=declared_units(data),
        sha256=hashlib.sha256(data).hexdigest(),
        findings=(*end.findings, *findings),
    )


def read_bytes(path: Path) -> bytes:
    """Return what is in a file; raise `DrawingError` if it cannot be read or is empty."""
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise DrawingError(f"{path.name}: no such file; check the name and the folder") from error
    except OSError as error:
        if path.is_dir():
            raise DrawingError(f"{path.name}: is a folder; give a drawing in it") from error
        reason = error.strerror or type(error).__name__
        raise DrawingError(f"{path.name}: cannot be read ({reason}); check the name and the rights") from error
    if not data.strip():
        raise DrawingError(f"{path.name}: the file is empty; save the drawing again")
    return data


def _require_dxf(path: Path, data: bytes) -> None:
    start = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith((b"<!doctype", b"<html", b"<head", b"<?xml", b"<svg")):
        if b"<svg" in start or start.startswith(b"<?xml"):
            raise DrawingError(f"{path.name}: this is an SVG or XML file; if it is SVG let its name end in .svg")
        raise DrawingError(f"{path.name}: this is a web page, not a drawing; download or export the drawing itself")
    if start[:2] == b"ac" and start[2:6].isdigit():
        raise DrawingError(f"{path.name}: this is a DWG file, not DXF; save it as DXF")
    if start.startswith((b"%pdf", b"pk\x03\x04", b"\x89png")):
        raise DrawingError(f"{path.name}: this is not a DXF drawing (PDF, archive or picture); export it as DXF")
    if not data.startswith(BINARY_SENTINEL) and b"SECTION" not in data:
        raise DrawingError(f"{path.name}: no DXF section found in it; is it a DXF drawing? export it again")


def _document(path: Path, data: bytes, changed: str) -> tuple[DxfDocument, tuple[Finding, ...]]:
    """Try a plain reading, then recovery, then recovery after putting back missing subclass markers.

    Where `changed` says why the bytes are not the file's own any more, recovery comes first: a plain reading reads the
    file itself.
    Damaged files make the library raise nearly anything (`AttributeError` was seen), hence the wide nets.
    """
    first: Exception = ValueError(changed)
    try:
        if not changed:
            return readfile(path), ()
    except Exception as error:
        first = error
    try:
        return _recovered(data, first)
    except Exception as error:
        second = error
    try:
        document, findings = _recovered(with_subclass_markers(data), second)
    except Exception as error:
        raise DrawingError(
            f"{path.name}: damaged beyond repair ({_plain(second)}); open it in the program that drew it and "
            "save it again as DXF R2000 or R12"
        ) from error
    marker = Finding(kind="repaired", severity="warning", message="entities without subclass markers were given them")
    return document, (marker, *findings)


def _recovered(data: bytes, cause: Exception) -> tuple[DxfDocument, tuple[Finding, ...]]:
    document, auditor = recover.read(io.BytesIO(data))
    found = [Finding(kind="repaired", severity="warning", message=f"read by recovery, since: {_plain(cause)}")]
    troubles = [*auditor.errors, *auditor.fixes]
    if troubles:
        few = "; ".join(str(t.message).strip() for t in troubles[:3])
        found.append(
            Finding(kind="repaired", severity="warning", message=f"recovery mended {len(troubles)} faults: {few}")
        )
    return document, tuple(found)


def _plain(error: Exception) -> str:
    text = " ".join(str(error).split()) or type(error).__name__
    return text[:160]

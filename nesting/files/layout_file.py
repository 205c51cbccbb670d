"""Layouts on disk: one JSON document with a schema version, written whole or not at all."""

import dataclasses
import hashlib
import json
import math
import os
from functools import cache
from pathlib import Path
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from nesting.errors import InputError, JobError
from nesting.files.documents import expected
from nesting.geometry.curves import Arc, EllipseArc, Line, Polyline, Spline
from nesting.layout import Layout

SCHEMA: Final = "oddplate-layout/1"
_ID_LENGTH: Final = 12
_CURVE_TYPES: Final = {c.__name__: c.type for c in (Line, Arc, EllipseArc, Spline, Polyline)}

Keys = tuple[str | int, ...]


def layout_id(layout: Layout) -> str:
    """Return a short hash of what is laid where; the same layout found in another time has the same one."""
    text = json.dumps(_plain(dataclasses.replace(layout, id="", search=None)), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:_ID_LENGTH]


def identified(layout: Layout) -> Layout:
    """Return the layout with its id filled in, if it has none."""
    return layout if layout.id else dataclasses.replace(layout, id=layout_id(layout))


def save_layout(layout: Layout, path: Path) -> Layout:
    """Write a layout, replacing the file whole, and return it as written (with its id).

    The document is written beside its target and renamed, so that an interruption leaves the former file.
    """
    layout = identified(layout)
    text = json.dumps({"schema": SCHEMA, **_plain(layout)}, indent=1, ensure_ascii=False, allow_nan=False)
    # Opened like any other file and not by tempfile, which would leave it readable to its owner alone.
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with beside.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text + "\n")
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return layout


def load_layout(path: Path) -> Layout:
    """Read a layout written by `save_layout`, or edited by hand since; of a result folder the one in it.

    Raises
    ------
    InputError
        The file cannot be read, is not JSON, has another schema, or a value in it is wrong; names the key.
    """
    if path.is_dir():
        path = path / "layout.json"
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: is not UTF-8 text (byte {error.start}); expected JSON") from None
    return layout_of(text, path)


def layout_of(text: str, path: Path | str) -> Layout:
    """Return the layout of a document; `path` names it in messages, and errors are those of `load_layout`."""
    data = _parsed(text, path)
    found = data.pop("schema", None)
    if found != SCHEMA:
        raise InputError(f"{path}: schema is {found!r}, expected {SCHEMA!r}: not a layout of this version")
    _require_finite(data, path, ())
    try:
        # Strict: a number written as text is a mistake to point out, not to mend.
        layout = _adapter().validate_json(json.dumps(data), strict=True)
    except ValidationError as error:
        raise InputError(f"{path}: {_faults(error, data)}") from None
    except JobError as error:
        raise InputError(f"{path}: clearances: {error}") from None
    _require_known_keys(data, _plain(layout), path, ())
    _require_known_parts(layout, path)
    return layout


@cache
def _adapter() -> TypeAdapter[Layout]:
    return TypeAdapter(Layout)


def _plain(layout: Layout) -> dict[str, Any]:
    plain: dict[str, Any] = _adapter().dump_python(layout, mode="json")
    return plain


def _parsed(text: str, path: Path | str) -> dict[str, Any]:
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        raise InputError(f"{path}, line {error.lineno} column {error.colno}: not JSON: {error.msg}") from None
    except RecursionError:
        raise InputError(f"{path}: is nested too deeply to be a layout") from None
    if not isinstance(data, dict):
        raise InputError(f"{path}: holds a {type(data).__name__}, expected an object with schema {SCHEMA!r}")
    return data


def _require_finite(value: object, path: Path | str, at: Keys) -> None:
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError(f"{path}: {_key(at)} is {value}, expected a finite number")
    for key, item in _items(value):
        _require_finite(item, path, (*at, key))


def _require_known_keys(found: object, known: object, path: Path | str, at: Keys) -> None:
    """Refuse keys nobody reads: a misspelt `turn_deg` would otherwise silently lay the part unturned."""
    taken = dict(_items(known))
    for key, item in _items(found):
        if key not in taken:
            names = ", ".join(map(str, taken))
            raise InputError(f"{path}: {_key((*at, key))} is not a known key; expected one of {names}")
        _require_known_keys(item, taken[key], path, (*at, key))


def _require_known_parts(layout: Layout, path: Path | str) -> None:
    parts = layout.parts
    named = [(f"placements[{i}]", p.part_id) for i, p in enumerate(layout.placements)]
    named += [(f"left_over[{i}]", p.part_id) for i, p in enumerate(layout.left_over)]
    for at, part_id in named:
        if part_id not in parts:
            known = ", ".join(sorted(parts)) or "none"
            raise InputError(f"{path}: {at}.part_id is {part_id!r}, not a demand; known parts: {known}")


def _items(value: object) -> list[tuple[str | int, object]]:
    if isinstance(value, dict):
        return list(value.items())
    return list(enumerate(value)) if isinstance(value, list) else []


def _faults(error: ValidationError, data: object) -> str:
    """Tell every fault with its key; of a curve, only those of the kind it says it is."""
    told = []
    for fault in error.errors(include_url=False):
        at, meant = _locate(fault["loc"], data)
        if meant:
            told.append(f"{_key(at)}: {_explain(fault)}")
        elif at[-1:] == ("type",):
            told.append(f"{_key(at)}: expected one of {', '.join(sorted(_CURVE_TYPES.values()))}")
    return "; ".join(dict.fromkeys(told))


def _explain(fault: ErrorDetails) -> str:
    if fault["type"] == "missing":
        return "is missing"
    if fault["type"] == "value_error":  # says what was found itself
        return fault["msg"].removeprefix("Value error, ")
    return f"{expected(fault)}, found {_short(fault['input'])}"


def _locate(loc: Keys, data: object) -> tuple[Keys, bool]:
    """Return the key path in the document, and whether the fault is of the kind of curve written there."""
    at: list[str | int] = []
    value: Any = data
    for step in loc:
        if isinstance(value, dict) and step in _CURVE_TYPES and step not in value:
            kind = value.get("type")
            if kind not in _CURVE_TYPES.values():
                return (*at, "type"), False
            if kind != _CURVE_TYPES[str(step)]:
                return tuple(at), False
            continue
        at.append(step)
        value = dict(_items(value)).get(step)
    return tuple(at), True


def _key(at: Keys) -> str:
    text = "".join(f"[{k}]" if isinstance(k, int) else f".{k}" for k in at)
    return text.lstrip(".") or "the document"


def _short(value: object) -> str:
    text = json.dumps(value, default=str)
    return text if len(text) <= 60 else text[:57] + "..."

"""TOML documents read strictly: every fault at once, each with its line, its key and what was expected."""

import difflib
import re
import tomllib
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from nesting.errors import InputError, JobError
from nesting.lengths import kind_of
from nesting.units import Unit, parse_unit

KeyPath = tuple[str | int, ...]


class Entry(BaseModel):
    """Base of all document models: no unknown keys, no silent conversion, no change afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, arbitrary_types_allowed=True)


M = TypeVar("M", bound=Entry)
T = TypeVar("T")


def not_empty(values: T) -> T:
    """Refuse an empty list; one that is empty because its items are wrong never comes this far."""
    if not values:
        raise ValueError("expected at least one")
    return values


def read_document(
    path: Path,
    model: type[M],
    *,
    what: str,
    overrides: Mapping[str, Any] | None = None,
    replaced: Collection[str] = (),
) -> M:
    """Read a TOML file into `model`, with `overrides` from the command line laid over it.

    Tables named in `replaced` are taken from the overrides alone.  Raises `JobError` with all faults of the
    file in one message, a line each.
    """
    text = _read_text(path, what)
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits is a plain ValueError
        raise JobError(f"{path}: not valid TOML: {error}") from None
    kept = {key: value for key, value in data.items() if key not in replaced}
    laid = _overlay(kept, overrides or {})
    return _validate(laid, model, str(path), key_lines(text), frozenset(_paths(overrides or {})))


def make_document(data: Mapping[str, Any], model: type[M]) -> M:
    """Make `model` from values given on the command line; faults as in `read_document`."""
    return _validate(dict(data), model, "command line", {}, frozenset(_paths(data)))


def entry_of_json(text: str, model: type[M], stem: str) -> M:
    """Read a JSON text into `model`; raise `JobError` with all faults, each with its key below `stem`."""
    try:
        return model.model_validate_json(text, strict=True)
    except ValidationError as error:
        faults = [_told_fault(detail, model, (stem, *detail["loc"])) for detail in error.errors(include_url=False)]
        raise JobError("; ".join(faults)) from None


def _read_text(path: Path, what: str) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except FileNotFoundError:
        raise JobError(f"{path}: no such {what}; check the name and the folder") from None
    except UnicodeDecodeError as error:
        raise JobError(f"{path}: not UTF-8 text at byte {error.start}; save it as UTF-8") from None
    except OSError as error:
        raise JobError(f"{path}: cannot be read: {error.strerror or error}") from None


def _overlay(data: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """Lay tables over tables key by key; anything else is replaced whole."""
    result = dict(data)
    for key, value in over.items():
        old = result.get(key)
        result[key] = _overlay(old, value) if isinstance(old, dict) and isinstance(value, dict) else value
    return result


def _paths(data: Any, stem: KeyPath = ()) -> Iterator[KeyPath]:
    items = data.items() if isinstance(data, Mapping) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        yield (*stem, key)
        yield from _paths(value, (*stem, key))


def _validate(
    data: dict[str, Any], model: type[M], name: str, lines: dict[KeyPath, int], given: frozenset[KeyPath]
) -> M:
    unit: Unit | None = None
    if isinstance(data.get("units"), str):
        try:
            unit = parse_unit(data["units"])
        except InputError:
            unit = "mm"  # the fault itself is listed by the model; this only spares the reader a flood of others
    try:
        return model.model_validate(data, context={"unit": unit})
    except ValidationError as error:
        faults = sorted({_fault(detail, model, name, lines, given) for detail in error.errors(include_url=False)})
        raise JobError("\n".join(text for _, text in faults)) from None


def _fault(
    detail: ErrorDetails, model: type[Entry], name: str, lines: dict[KeyPath, int], given: frozenset[KeyPath]
) -> tuple[int, str]:
    """Return the line (0 where there is none) and the text of one fault."""
    path = detail["loc"]
    line = next((lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in lines), 0)
    where = f"{name}, line {line}" if line else name
    if path in given and lines:
        line, where = 0, "command line"
    return line, f"{where}: {_told_fault(detail, model, path)}"


def _told_fault(detail: ErrorDetails, model: type[Entry], path: KeyPath) -> str:
    """Return key and explanation of a fault; `path` is where people find it."""
    key = ".".join(str(p + 1) if isinstance(p, int) else p for p in path)
    return f"{f'{key}: ' if key else ''}{_explain(detail, model)}"


def _explain(detail: ErrorDetails, model: type[Entry]) -> str:
    kind, value, path = detail["type"], detail["input"], detail["loc"]
    if kind == "extra_forbidden":
        known = _known_keys(model, path[:-1])
        near = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.5)
        hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}"
        return f"unknown key; {hint}"
    if kind == "missing":
        return "is missing"
    if kind == "value_error":
        return str(detail["ctx"]["error"])
    return f"{expected(detail)}, got {kind_of(value) if kind in _KINDS else repr(value)}"


_KINDS: Final = {
    "string_type": "a text in quotes",
    "int_type": "a whole number",
    "float_type": "a number",
    "bool_type": "true or false",
    "date_type": "a date such as 2026-05-31",
    "tuple_type": "a list",
    "list_type": "a list",
    "model_type": "a table of keys",
    "dataclass_type": "a table of keys",
    "dict_type": "a table of keys",
}
_BOUNDS: Final = {
    "greater_than": "more than {gt:g}",
    "greater_than_equal": "{ge:g} or more",
    "less_than": "less than {lt:g}",
    "less_than_equal": "{le:g} or less",
    "finite_number": "a finite number",
    "string_too_short": "a text that is not empty",
    "literal_error": "{expected}",
    "date_parsing": "a date such as 2026-05-31",
    "date_from_datetime_parsing": "a date such as 2026-05-31",
    "int_from_float": "a whole number",
}


_LIBRARY: Final = "Input should be "


def expected(detail: ErrorDetails) -> str:
    """Say what a value should have been, in our words where the library's own are for programmers."""
    kind = detail["type"]
    said = _KINDS.get(kind) or (_BOUNDS[kind].format(**detail.get("ctx", {})) if kind in _BOUNDS else None)
    if said is not None:
        return f"expected {said}"
    message = detail["msg"]
    if message.startswith(_LIBRARY):
        return f"expected {message.removeprefix(_LIBRARY)}"
    return f"{message[0].lower()}{message[1:]}"


def _known_keys(model: type[Entry], path: KeyPath) -> list[str]:
    """Return the keys of the model that a path leads to."""
    at: Any = model
    for step in path:
        if isinstance(step, int):
            continue
        at = _entry_in(at.model_fields[step].annotation)
    return [field.alias or name for name, field in at.model_fields.items()]


def _entry_in(annotation: Any) -> Any:
    """Return the document model inside an annotation such as `tuple[PartEntry, ...] | None`."""
    if isinstance(annotation, type) and issubclass(annotation, Entry):
        return annotation
    inner = (_entry_in(arg) for arg in get_args(annotation))
    return next((found for found in inner if found is not None), None)


_KEY: Final = r"(?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')"
_DOTTED: Final = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
_HEADER: Final = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]\]?")
_ASSIGN: Final = re.compile(rf"\s*({_DOTTED})\s*=\s*(.*)")
_STRINGS: Final = re.compile(
    r"\"\"\"(?s:.*?)\"\"\"|\'\'\'(?s:.*?)\'\'\'|(?<!\")\"(?!\"\")(?:\\.|[^\"\\\n])*\"|(?<!')'(?!'')[^'\n]*'|#.*"
)


def key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line of every key and table of a valid TOML text; tables of a list are numbered from 0.

    The standard library's reader keeps no lines.  Keys inside inline tables share the line of their value.
    """
    found: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    lines = iter(enumerate(text.split("\n"), start=1))
    for number, line in lines:
        header = _HEADER.match(line)
        if header:
            table = _table_path(_split(header[2]), header[1] == "[[", counts)
            found.setdefault(table, number)
            continue
        assign = _ASSIGN.match(line)
        if assign:
            found[(*table, *_split(assign[1]))] = number
            _skip_value(assign[2], lines)
    return found


def _table_path(keys: list[str], is_list: bool, counts: dict[KeyPath, int]) -> KeyPath:
    path: KeyPath = ()
    for i, key in enumerate(keys):
        path = (*path, key)
        if is_list and i == len(keys) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _split(dotted: str) -> list[str]:
    return [key.strip().strip("\"'") for key in re.findall(_KEY, dotted)]


def _skip_value(value: str, lines: Iterator[tuple[int, str]]) -> None:
    """Read on to the end of a value that runs over several lines."""
    while True:
        bare = _STRINGS.sub("", value)
        brackets = sum(bare.count(c) for c in "[{") - sum(bare.count(c) for c in "]}")
        if brackets <= 0 and '"""' not in bare and "'''" not in bare:
            return
        following = next(lines, None)
        if following is None:
            return
        value += "\n" + following[1]

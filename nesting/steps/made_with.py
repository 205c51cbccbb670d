"""What a run was made with besides its layout: the shop as it stood then, names, unit and paper of what it printed.

It lies beside the layout, so that a sheet printed again years later names the same leftovers and the same time.
"""

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from pydantic import TypeAdapter, ValidationError

from nesting.errors import InputError
from nesting.report.facts import DrawingFacts
from nesting.shop import Paper, Shop
from nesting.units import Unit

SCHEMA: Final = "oddplate-made-with/1"


@dataclass(frozen=True, kw_only=True)
class MadeWith:
    """Title, shop and ways of writing of one run; `layout_id` tells which layout it belongs to."""

    layout_id: str
    title: str
    shop: Shop
    unit: Unit
    paper: Paper
    drawings: tuple[DrawingFacts, ...] = ()
    mark_leads: bool = False
    blocks: bool = False


def save_made_with(made: MadeWith, path: Path) -> None:
    """Write it as one JSON document; the folder it lies in appears whole or not at all."""
    plain = _adapter().dump_python(made, mode="json")
    text = json.dumps({"schema": SCHEMA, **plain}, indent=1, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def load_made_with(path: Path, layout_id: str) -> MadeWith | None:
    """Read it; None where there is none, or where it belongs to another layout.

    Raises `InputError` where it cannot be read or something in it is wrong.
    """
    if not path.is_file():
        return None
    try:
        data = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    except ValueError as error:
        raise InputError(f"{path}: not JSON: {error}; delete it, and give the shop file") from None
    schema = data.pop("schema", None) if isinstance(data, dict) else None
    if schema != SCHEMA:
        raise InputError(f"{path}: schema is {schema!r}, expected {SCHEMA!r}; delete it, and give the shop file")
    try:
        made = _adapter().validate_json(json.dumps(data), strict=True)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        at = ".".join(map(str, fault["loc"]))
        raise InputError(f"{path}: {at}: {fault['msg']}; delete it, and give the shop file") from None
    return made if made.layout_id == layout_id else None


@cache
def _adapter() -> TypeAdapter[MadeWith]:
    return TypeAdapter(MadeWith)

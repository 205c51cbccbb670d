"""The JSON Schemas of the reports, published for programs that read them (draft 2020-12)."""

from importlib.resources import files
from typing import Any, Final

from pydantic import TypeAdapter

from nesting.report.facts import YieldReport
from nesting.report.figures import SCHEMA as ONE
from nesting.report.yields.facts import YieldsReport
from nesting.report.yields.gathered import SCHEMA as SEVERAL

_OF: Final[dict[str, Any]] = {ONE: YieldReport, SEVERAL: YieldsReport}
_ABOUT: Final = (
    "Keys carry their units; null is not known. Readers must take keys that are not listed here: only a change that "
    "breaks a reader raises the number in the schema's name."
)


def published(name: str) -> str:
    """Return the schema of `oddplate-yield/1` or `oddplate-yields/1` as it is packaged; KeyError for another name."""
    return files(__package__).joinpath("schemas", file_name(name)).read_text(encoding="utf-8")


def file_name(name: str) -> str:
    """Return the name of a schema's file."""
    _OF[name]
    return f"{name.replace('/', '-')}.schema.json"


def derived(name: str) -> dict[str, Any]:
    """Return a schema as it follows from the types; what is packaged is this, which a test holds."""
    made = _untitled(TypeAdapter(_OF[name]).json_schema())
    made["properties"]["schema"] = {"const": name}
    made["required"] = sorted({*made.get("required", ()), "schema"})
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:oddplate:{name.replace('/', ':')}",
        **made,
        "title": name,
        "description": f"{made.get('description', '')} {_ABOUT}".strip(),
    }


def _untitled(schema: Any) -> Any:
    """Drop the titles that only say a key's name again."""
    if isinstance(schema, dict):
        return {k: _untitled(v) for k, v in schema.items() if not (k == "title" and isinstance(v, str))}
    return [_untitled(v) for v in schema] if isinstance(schema, list) else schema

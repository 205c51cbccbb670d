"""Paths as documents write them: told with their key where they cannot be one, before anything is looked for."""

from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator


def _path(text: str) -> str:
    """Refuse control characters: printed raw they hide what was written, and no shop names a file by one."""
    if any(ord(sign) < 32 or ord(sign) == 127 for sign in text):
        raise ValueError(
            f"expected a path, got {text!r}, which holds a control character; in TOML a \\ between double quotes "
            "starts one: write the path between single quotes, or with /"
        )
    return text


def _drawing(text: str) -> str:
    if Path(_path(text).strip().replace("\\", "/")).name in ("", ".."):
        raise ValueError(f"expected the file of a drawing, got {text!r}")
    return text


PathText = Annotated[str, AfterValidator(_path)]
DrawingPath = Annotated[str, AfterValidator(_drawing)]

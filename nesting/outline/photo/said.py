"""What options say of a picture, read."""

import re
from typing import Final

from nesting.errors import InputError
from nesting.lengths import parse_length

_NUMBER: Final = r"\s*([-+]?\d+(?:\.\d+)?)\s*"
_PAIR: Final = re.compile(_NUMBER + "," + _NUMBER)
_KNOWN: Final = re.compile(_NUMBER + "," + _NUMBER + "=" + _NUMBER + "," + _NUMBER)
_SIZE: Final = re.compile(_NUMBER + "[xX×]" + _NUMBER)


def pair_of(text: str, where: str) -> tuple[float, float]:
    """Read `x,y`."""
    found = _PAIR.fullmatch(text)
    if not found:
        raise InputError(f"{where} {text}: expected two numbers, 2016,1512")
    return float(found[1]), float(found[2])


def known_of(text: str) -> tuple[float, float, float, float]:
    """Read `px,py=x,y`: pixels and mm."""
    found = _KNOWN.fullmatch(text)
    if not found:
        raise InputError(f"--known {text}: expected pixels = mm, 812,604=0,0")
    return float(found[1]), float(found[2]), float(found[3]), float(found[4])


def sheet_of(text: str) -> tuple[float, float]:
    """Read `WxH`, mm, the shorter side first."""
    found = _SIZE.fullmatch(text)
    if not found or min(float(found[1]), float(found[2])) < 50.0:
        raise InputError(f"--sheet-size {text}: expected width x height in mm, 209.8x297.2")
    width, height = sorted((float(found[1]), float(found[2])))
    return width, height


def taped_of(text: str) -> tuple[str, str, float]:
    """Read `corner,corner=length`."""
    names, _, told = text.partition("=")
    ends = [n.strip() for n in names.split(",")]
    if len(ends) != 2 or not told.strip():
        raise InputError(f"--taped {text}: expected two corners and a length, 1,3=1203.5")
    return ends[0], ends[1], parse_length(told, "mm")

"""Options of `oddplate nest` as the tables and keys of a job file."""

import math
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import click

_SIZE: Final = re.compile(r"\s*(\S.*?)\s*[xX*]\s*(\S.*?)\s*")
_PLAIN: Final = re.compile(r"[+-]?[\d.\s/]+")


def is_plain(text: str) -> bool:
    """True for a number without a unit."""
    return _PLAIN.fullmatch(text) is not None


def length(text: str | None) -> str | None:
    """Return a length as a job file writes it; millimetres where no unit is written."""
    return f"{text} mm" if text is not None and _PLAIN.fullmatch(text) else text


def finite(value: float | None, option: str) -> float | None:
    """Return a number of an option; refuse `nan` and infinities, which pass every bound or none."""
    if value is not None and not math.isfinite(value):
        raise click.BadParameter(f"expected a number, got {value:g}", param_hint=option)
    return value


def plate_entry(text: str) -> dict[str, Any]:
    """Read `--plate`: a drawing, or a size such as `1200x800` or `48 in x 96 in`."""
    size = _SIZE.fullmatch(text)
    if size and not Path(text).exists() and size[1][:1].isdigit() and size[2][:1].isdigit():
        return {"width": length(size[1]), "height": length(size[2])}
    return {"drawing": str(Path(text).absolute())}


def size_texts(text: str) -> tuple[str, str] | None:
    """Return the two lengths of a size such as `1500x3000` or `60 in x 120 in`, as written; None if it is none."""
    size = _SIZE.fullmatch(text)
    return None if size is None else (size[1], size[2])


def part_entry(text: str) -> dict[str, Any]:
    r"""Read `--part`: `FILE:QTY`, `FILE:fill` or `FILE`; the colon of `C:\a b.dxf` starts no count."""
    name, colon, count = text.rpartition(":")
    if colon and name and (count == "fill" or re.fullmatch(r"-?\d+", count)):
        return {"drawing": _path(name), "quantity": count if count == "fill" else int(count)}
    return {"drawing": _path(text), "quantity": 1}


def _path(text: str) -> str:
    return str(Path(text).absolute())


def corners(text: str, option: str) -> list[list[Any]]:
    """Read corners such as `0,0 1000,0 1000,400`; a third number is the bulge of the edge that leaves it."""
    found = []
    for corner in text.replace(";", " ").split():
        pieces = corner.split(",")
        if len(pieces) not in (2, 3):
            raise click.BadParameter(f"{corner!r} is not a corner; write X,Y or X,Y,BULGE", param_hint=option)
        found.append([length(pieces[0]), length(pieces[1]), *[_float(b, option) for b in pieces[2:]]])
    return found


def _float(text: str, option: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise click.BadParameter(f"{text!r} is not a number", param_hint=option) from None


def apply_rules(parts: list[dict[str, Any]], rules: Sequence[tuple[str, str]]) -> None:
    """Lay `--for FILE KEY=VALUE` over the parts; `FILE` is a part's file, or `all`."""
    for name, rule in rules:
        key, equals, value = rule.partition("=")
        if not equals:
            raise click.BadParameter(f"{rule!r} is not KEY=VALUE, such as turns=90", param_hint="--for")
        meant = [p for p in parts if name == "all" or p["drawing"] == _path(name)]
        if not meant:
            raise click.BadParameter(f"{name!r} is not among the files given with --part", param_hint="--for")
        for part in meant:
            part[key.strip()] = _value(key.strip(), value.strip())


def _value(key: str, text: str) -> Any:
    """Read a value as in a job file, the quotes of a text left out."""
    if key in ("thickness", "tab_thickness", "tab_over", "bend_radius", "join"):
        return length(text)
    if key == "reference" and text[:1] not in "\"'":
        return text  # an order's number is a text, whatever it looks like
    try:
        return tomllib.loads(f"v = {text}")["v"]
    except tomllib.TOMLDecodeError:
        return text


def pull_entry(texts: Sequence[str]) -> list[str | float]:
    """Read `--pull-to`: names as in a job file, and angles."""
    return [_float(text, "--pull-to") if _PLAIN.fullmatch(text) else text for text in texts]


def unit_rules(texts: Sequence[str]) -> tuple[tuple[Path | None, Any], ...]:
    """Read `--units`: a unit for all drawings, or `PATH=UNIT` for a file or a folder."""
    from nesting.units import parse_drawn_unit

    rules = []
    for text in texts:
        path, equals, unit = text.rpartition("=")
        rules.append((Path(path) if equals else None, parse_drawn_unit(unit)))
    return tuple(rules)


def drawings_entry(layers: Sequence[str], join: str | None, rules: Sequence[str], most: int | None) -> dict[str, Any]:
    """Read `--layer`, `--join`, `--rule` and `--most-entities`: how all drawings are read."""
    return {
        "layers": list(layers),
        "join": length(join),
        "rules": [rule_entry(text) for text in rules],
        "most_entities": most,
    }


def rule_entry(text: str) -> dict[str, str]:
    """Read `--rule`: `LAYER=ROLE`, `line-type:NAME=ROLE` or `colour:NAME=ROLE`."""
    what, equals, role = text.rpartition("=")
    if not equals or not what:
        raise click.BadParameter(f"{text!r} is not LAYER=ROLE, such as 'NOTES*=ignore'", param_hint="--rule")
    for key, prefix in (("line_type", "line-type:"), ("colour", "colour:")):
        if what.lower().startswith(prefix):
            return {key: what[len(prefix) :].strip(), "role": role.strip()}
    return {"layer": what.strip(), "role": role.strip()}


reading_options: Final = (
    click.option(
        "--layer",
        "layers",
        multiple=True,
        metavar="PATTERN",
        help='Layers that are cut, such as "CUT*"; all others are not.',
    ),
    click.option("--join", metavar="LENGTH", help="Widest gap between two ends that is bridged; default 0.5."),
    click.option(
        "--rule",
        "layer_rules",
        multiple=True,
        metavar="LAYER=ROLE",
        help="Role of a layer, of line-type:NAME or of colour:NAME: cut, mark, bend, etch, centre, text or ignore.",
    ),
    click.option("--most-entities", type=int, metavar="N", help="Refuse drawings that hold more; default 200000."),
)


def with_reading_options(command: Any) -> Any:
    """Add the options that say how drawings are read."""
    for option in reversed(reading_options):
        command = option(command)
    return command


def without_none(table: dict[str, Any]) -> dict[str, Any]:
    """Drop what was not given, and tables left empty by that."""
    kept = {k: without_none(v) if isinstance(v, dict) else v for k, v in table.items()}
    return {k: v for k, v in kept.items() if v not in (None, {}, [])}

"""The usual cautions for a way of cutting and a material, each with its source."""

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

_THERMAL = ("plasma", "oxy-fuel", "laser")
_MATERIALS = {"stainless steel": "stainless", "aluminium": "aluminium"}


@dataclass(frozen=True, kw_only=True)
class Caution:
    """One line of caution and where it comes from."""

    text: str
    source: str


def cautions(process: str, material: str | None) -> tuple[Caution, ...]:
    """Return the cautions for a process and a material; a material of None is unknown and gets those of
    all.
    """
    wanted = {"always", process}
    if process in _THERMAL:
        wanted.add("thermal")
    wanted.update(_MATERIALS.values() if material is None else {_MATERIALS.get(material, "always")})
    return tuple(Caution(text=r["text"], source=r["source"]) for r in _rows() if r["when"] in wanted)


def fit_cautions() -> tuple[Caution, ...]:
    """Return the cautions that belong beside questions about how a part is drawn."""
    return tuple(Caution(text=r["text"], source=r["source"]) for r in _rows() if r["when"] == "fit")


@cache
def _rows() -> tuple[dict[str, str], ...]:
    text = files("nesting.report").joinpath("cautions.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))

"""What pieces weigh and are worth, and the sums over many; what is assumed is named."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from nesting.mass import heaviness, mass_kg
from nesting.rack.piece import Listed
from nesting.rack.rows import plain_grade
from nesting.shop import Shop


@dataclass(frozen=True, kw_only=True)
class Worth:
    """Mass and value of a piece, None where not known, and in words where each comes from.

    `assumed` tells that the grade is not known, or not in the table, and the shop's material was taken for the mass.
    """

    mass_kg: float | None
    mass_from: str
    assumed: bool
    value: float | None
    value_from: str


@dataclass(frozen=True, kw_only=True)
class Total:
    """Pieces of one grade and thickness: how many, their area, mass and value.

    `no_mass` and `no_value` are how many are left out of the sums because theirs is not known; `assumed` is how many
    masses rest on the shop's material.
    """

    grade: str | None
    thickness_mm: float | None
    pieces: int
    area_mm2: float
    mass_kg: float
    value: float
    no_mass: int
    no_value: int
    assumed: int


def worth(piece: Listed, shop: Shop) -> Worth:
    """Return what a piece weighs and is worth by the shop's prices."""
    mass, told, assumed = _mass(piece, shop)
    value, value_told = _value(piece, shop, mass)
    return Worth(mass_kg=mass, mass_from=told, assumed=assumed, value=value, value_from=value_told)


def _mass(piece: Listed, shop: Shop) -> tuple[float | None, str, bool]:
    facts = piece.facts
    if facts.weighed_kg is not None:
        return facts.weighed_kg, "weighed", False
    if facts.thickness_mm is None:
        return None, "thickness not known", False
    taken = heaviness(facts.grade, facts.thickness_mm, shop)
    mass = mass_kg(piece.summary.area_mm2, facts.thickness_mm, taken.kg_m3)
    by = f"{taken.kg_m3:.5g} kg/m3" + (" by gauge-weight table" if taken.mass_by == "gauge table" else "")
    if taken.assumed:
        return mass, f"{by}: grade {facts.grade or 'unknown'}, {taken.material} is assumed", True
    return mass, f"{by}, {taken.material}", False


def _value(piece: Listed, shop: Shop, mass_kg: float | None) -> tuple[float | None, str]:
    facts, prices = piece.facts, shop.prices
    if facts.valued == "own":
        return facts.own_value, "the shop's own figure"
    price = {"as new": prices.new_per_kg, "as remnant": prices.remnant_per_kg, "as scrap": prices.scrap_per_kg}[
        facts.valued
    ]
    if price is None:
        return None, f"{facts.valued}: the shop file says no price"
    if mass_kg is None:
        return None, f"{facts.valued}: mass not known"
    return mass_kg * price, f"{facts.valued}, {price:g} per kg"


def totals(pieces: Iterable[Listed], shop: Shop) -> list[Total]:
    """Return the sums for each grade and thickness, by grade and then thickness, what is not known last."""
    groups: dict[tuple[str | None, float | None], list[Listed]] = {}
    for piece in pieces:
        key = (plain_grade(piece.facts.grade), piece.facts.thickness_mm)
        groups.setdefault(key, []).append(piece)
    order = sorted(groups, key=lambda k: (k[0] is None, k[0] or "", k[1] is None, k[1] or 0.0))
    return [_total(groups[key], shop) for key in order]


def total(pieces: Iterable[Listed], shop: Shop) -> Total:
    """Return the sum over all."""
    return _total(list(pieces), shop)


def _total(pieces: list[Listed], shop: Shop) -> Total:
    worths = [worth(p, shop) for p in pieces]
    return Total(
        grade=pieces[0].facts.grade if pieces else None,
        thickness_mm=pieces[0].facts.thickness_mm if pieces else None,
        pieces=len(pieces),
        area_mm2=math.fsum(p.summary.area_mm2 for p in pieces),
        mass_kg=math.fsum(w.mass_kg for w in worths if w.mass_kg is not None),
        value=math.fsum(w.value for w in worths if w.value is not None),
        no_mass=sum(w.mass_kg is None for w in worths),
        no_value=sum(w.value is None for w in worths),
        assumed=sum(w.assumed for w in worths),
    )

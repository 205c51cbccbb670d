"""Pieces, acts and cuts as plain values for JSON documents; lengths in mm, areas in mm2."""

from dataclasses import asdict
from typing import Any

from nesting.rack.piece import Act, CutRecord, Listed
from nesting.rack.worth import Total, Worth, worth
from nesting.shop import Shop


def piece_json(piece: Listed, shop: Shop) -> dict[str, Any]:
    """Return all that is known of a piece but its outline."""
    sizes = {key: round(value, 3) for key, value in asdict(piece.summary).items()}
    facts = asdict(piece.facts)
    return {
        "id": piece.id,
        "state": piece.state,
        "set_aside_for": piece.set_aside_for,
        **facts,
        "parent": piece.parent,
        "added": piece.added.isoformat(),
        "captured": piece.captured,
        "uncertainty_mm": piece.uncertainty_mm,
        "sizes": sizes,
        **_worth_json(worth(piece, shop), shop),
    }


def _worth_json(found: Worth, shop: Shop) -> dict[str, Any]:
    return {
        "mass_kg": None if found.mass_kg is None else round(found.mass_kg, 3),
        "mass_from": found.mass_from,
        "value": None if found.value is None else round(found.value, 2),
        "value_from": found.value_from,
        "currency": shop.prices.currency,
    }


def total_json(total: Total) -> dict[str, Any]:
    """Return a sum."""
    return {**asdict(total), "mass_kg": round(total.mass_kg, 3), "value": round(total.value, 2)}


def act_json(act: Act) -> dict[str, Any]:
    """Return an act."""
    return {
        "number": act.number,
        "when": act.when.isoformat(),
        "who": act.who,
        "kind": act.kind,
        "note": act.note,
        "undoes": act.undoes,
        "undone_by": act.undone_by,
        "changes": [
            {"piece": c.piece_id, "before": None if c.before is None else dict(c.before), "after": dict(c.after)}
            for c in act.changes
        ],
    }


def cut_json(cut: CutRecord) -> dict[str, Any]:
    """Return what was cut, without the layout itself."""
    return {
        "when": cut.when.isoformat(),
        "who": cut.who,
        "act": cut.act,
        "piece": cut.piece_id,
        "layout_id": cut.layout_id,
        "made": [asdict(p) for p in cut.made],
        "failed": [asdict(p) for p in cut.failed],
        "not_reached": [asdict(p) for p in cut.not_reached],
        "areas": dict(cut.areas),
        "remnants": list(cut.remnants),
    }

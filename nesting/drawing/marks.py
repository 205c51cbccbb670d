"""Which layers and line types are cut, which only mark a part, and which are no part of it."""

import fnmatch
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from nesting.part import MarkKind

Role = Literal["cut", "bend", "etch", "centre", "text", "other", "ignore"]


@dataclass(frozen=True, kw_only=True)
class LayerRule:
    """Layers whose name matches `pattern` (shell style, any case) have this role; the first rule that matches wins."""

    pattern: str
    role: Role


_WORDS: Final[dict[str, Role]] = {
    **dict.fromkeys(("BEND", "BENDS", "BENDLINE", "BENDLINES", "FOLD", "FOLDS", "CREASE", "TANGENT"), "bend"),
    **dict.fromkeys(("ETCH", "ETCHING", "ENGRAVE", "ENGRAVING", "GRAVE", "SCORE", "SCORING", "SCRIBE"), "etch"),
    **dict.fromkeys(("CENTER", "CENTRE", "CENTERS", "CENTRES", "CENTERLINE", "CENTRELINE", "AXIS", "AXES"), "centre"),
    **dict.fromkeys(("TEXT", "TEXTS", "LABEL", "LABELS", "LETTERING"), "text"),
    **dict.fromkeys(("MARK", "MARKS", "MARKING", "MARKINGS"), "other"),
    **dict.fromkeys(("DIM", "DIMS", "DIMENSION", "DIMENSIONS", "NOTE", "NOTES", "DEFPOINTS", "HATCH"), "ignore"),
    **dict.fromkeys(("TITLE", "TITLEBLOCK", "BORDER", "CONSTRUCTION", "HIDDEN"), "ignore"),
}  # fmt: skip

# Sheet-metal flat patterns: profiles are cut, everything else of the family is not (names seen in public code).
FLAT_PATTERN_RULES: Final[tuple[LayerRule, ...]] = (
    LayerRule(pattern="IV_OUTER_PROFILE", role="cut"),
    LayerRule(pattern="IV_INTERIOR_PROFILES", role="cut"),
    LayerRule(pattern="IV_BEND*", role="bend"),
    LayerRule(pattern="IV_TANGENT", role="bend"),
    LayerRule(pattern="IV_FEATURE_PROFILES*", role="etch"),
    LayerRule(pattern="IV_TOOL_CENTER*", role="centre"),
    LayerRule(pattern="IV_ARC_CENTERS", role="centre"),
    LayerRule(pattern="IV_*", role="ignore"),
)

_LINETYPES: Final[tuple[tuple[str, Role], ...]] = (
    ("CENTER", "centre"),
    ("CENTRE", "centre"),
    ("PHANTOM", "other"),
    ("HIDDEN", "other"),
    ("DASHDOT", "centre"),
)


def role_of(layer: str, linetype: str, layers: Sequence[str], rules: Sequence[LayerRule]) -> Role:
    """Return what geometry on a layer is for.

    The user's `rules` go first.  Layers the user picked by name in `layers` (patterns) are cut; others are then left
    out unless their name makes them marks.  Without a choice, names and then line types decide, and the rest is cut.
    """
    for rule in rules:
        if fnmatch.fnmatchcase(layer.upper(), rule.pattern.upper()):
            return rule.role
    if layers and any(fnmatch.fnmatchcase(layer.upper(), pattern.upper()) for pattern in layers):
        return "cut"
    named = _by_name(layer)
    if named is None:
        named = next((role for start, role in _LINETYPES if linetype.upper().startswith(start)), None)
    if named is None:
        return "ignore" if layers else "cut"
    return "ignore" if layers and named == "cut" else named


def mark_kind(role: Role) -> MarkKind | None:
    """Return the kind of mark a role stands for, or None if it is no mark."""
    if role == "cut" or role == "ignore":
        return None
    return role


def _by_name(layer: str) -> Role | None:
    for rule in FLAT_PATTERN_RULES:
        if fnmatch.fnmatchcase(layer.upper(), rule.pattern):
            return rule.role
    words = re.findall(r"[A-Z]+", layer.upper())
    return next((_WORDS[word] for word in words if word in _WORDS), None)

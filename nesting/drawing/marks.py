"""Which layers and line types are cut, which only mark a part, and which are no part of it."""

import fnmatch
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from nesting.part import MarkKind

Role = Literal["cut", "bend", "etch", "centre", "text", "other", "ignore"]


@dataclass(frozen=True, kw_only=True)
class LayerRule:
    """What is drawn on such layers, with such line types and colours, has this role; the first rule that fits wins.

    Patterns are shell style, any case.  Colours are `#rrggbb` or the number of DXF's colour index, `1` to `255`.
    """

    pattern: str = "*"
    linetype: str = "*"
    colour: str = "*"
    role: Role

    def fits(self, layer: str, linetype: str, colour: str) -> bool:
        """Tell whether it speaks of such a curve."""
        pairs = ((layer, self.pattern), (linetype, self.linetype), (colour, self.colour))
        return all(fnmatch.fnmatchcase(value.upper(), pattern.upper()) for value, pattern in pairs)


# Words of drawing offices in English, German, French, Italian, Spanish, Portuguese, Dutch, Polish and Czech, accents
# left out; common practice, no source.
_WORDS_OF: Final[tuple[tuple[Role, str], ...]] = (
    ("bend", "BEND BENDS BENDING BENDLINE BENDLINES FOLD FOLDS FOLDLINE FOLDLINES CREASE CREASES TANGENT TANGENTS"),
    ("bend", "BIEGELINIE BIEGELINIEN BIEGUNG BIEGEN FALZ FALZLINIE KANTLINIE KANTLINIEN PLI PLIS PLIAGE PIEGA PIEGHE"),
    ("bend", "PIEGATURA PLIEGUE PLEGADO DOBLEZ DOBRA ZETLIJN ZETLIJNEN BUIGLIJN BUIGLIJNEN GIECIE OHYB OHYBY"),
    ("etch", "ETCH ETCHING ENGRAVE ENGRAVED ENGRAVING ENGRAVINGS GRAVE SCORE SCORES SCORED SCORING SCRIBE SCRIBING"),
    ("etch", "GRAVUR GRAVUREN GRAVIEREN GRAVURE GRAVER GRAVURA INCISIONE GRABADO GRABAR GRAVACAO GRAVEREN GRAWER"),
    ("etch", "GRAWEROWANIE GRAVIROVANI RYTI ANREISSEN RITZEN"),
    ("centre", "CENTER CENTRE CENTERS CENTRES CENTERLINE CENTRELINE CENTERLINES CENTRELINES CENTERMARK CENTREMARK"),
    ("centre", "AXIS AXES MITTELLINIE MITTELLINIEN ACHSE ACHSEN AXE ASSE ASSI EJE EJES EIXO EIXOS HARTLIJN HARTLIJNEN"),
    ("centre", "OSIE OSY"),
    ("text", "TEXT TEXTS LABEL LABELS LETTERING TEXTE TEXTES TESTO TESTI TEXTO TEXTOS TEKST TEKSTY BESCHRIFTUNG"),
    ("other", "MARK MARKS MARKED MARKING MARKINGS MARKIERUNG MARKIERUNGEN MARQUAGE MARCATURA MARCADO MARKERING"),
    ("other", "POCKET POCKETS TASCHE TASCHEN"),
    ("ignore", "DIM DIMS DIMENSION DIMENSIONS NOTE NOTES DEFPOINTS HATCH HATCHING TITLE TITLEBLOCK BORDER"),
    ("ignore", "CONSTRUCTION HIDDEN BEMASSUNG BEMASUNG MASSE MASSLINIEN SCHRAFFUR SCHRIFTFELD"),
    ("ignore", "RAHMEN HILFSLINIE HILFSLINIEN VERDECKT COTE COTES COTATION HACHURE HACHURES CARTOUCHE CADRE QUOTE"),
    ("ignore", "QUOTATURA CARTIGLIO COTAS ACOTACION CAJETIN SOMBREADO MAATVOERING KADER WYMIAR WYMIARY RAMKA KOTY"),
)
_WORDS: Final[dict[str, Role]] = {word: role for role, words in _WORDS_OF for word in words.split()}

_PHRASES: Final[tuple[tuple[str, Role], ...]] = (
    ("FEATURE PROFILE", "etch"),
    ("FORMED FEATURE", "etch"),
    ("UNCONSUMED SKETCH", "ignore"),
)
"""Formed features of sheet metal, such as louvres, are not cut; `feature` alone says too little."""

_LINETYPES: Final[tuple[tuple[str, Role], ...]] = (
    (r"CENT(ER|RE)|MITTE|DASH_?DOT|STRICHPUNKT|AXES", "centre"),
    (r"PHANTOM|HIDDEN|VERDECKT|CACHE", "other"),
    (r".*ISO(04|08|10)W", "centre"),
    (r".*ISO(02|03|05|09|12)W", "other"),
)
"""Line types by the start of their name; those with ISO in it are numbered as in ISO 128-20 (02 dashed, 03 dashed
spaced, 04 and 10 dash-dot, 05 and 12 dash-double-dot, 08 and 09 long dash; numbers from memory)."""


def role_of(layer: str, linetype: str, colour: str, layers: Sequence[str], rules: Sequence[LayerRule]) -> Role:
    """Return what geometry on a layer is for.

    The user's `rules` go first.  Layers the user picked by name in `layers` (patterns) are cut; others are then left
    out unless their name makes them marks.  Without a choice, names and then line types decide, and the rest is cut.
    """
    for rule in rules:
        if rule.fits(layer, linetype, colour):
            return rule.role
    if layers and any(fnmatch.fnmatchcase(layer.upper(), pattern.upper()) for pattern in layers):
        return "cut"
    named = role_by_name(layer) or _by_linetype(linetype)
    if named is None:
        return "ignore" if layers else "cut"
    return named


def mark_kind(role: Role) -> MarkKind | None:
    """Return the kind of mark a role stands for, or None if it is no mark."""
    if role == "cut" or role == "ignore":
        return None
    return role


def role_by_name(layer: str) -> Role | None:
    """Return what a layer is for by the words in its name, or None if they tell nothing."""
    plain = unicodedata.normalize("NFKD", layer.replace("ß", "ss").upper())
    words = re.findall(r"[A-Z]+", "".join(c for c in plain if not unicodedata.combining(c)))
    joined = " ".join(words)
    for phrase, role in _PHRASES:
        if phrase in joined:
            return role
    return next((_WORDS[word] for word in words if word in _WORDS), None)


def _by_linetype(linetype: str) -> Role | None:
    return next((role for start, role in _LINETYPES if re.match(start, linetype.upper())), None)

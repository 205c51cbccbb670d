"""Questions about what stops a drawing: what could not be read in it, and a unit that nobody said."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from nesting.drawing.findings import Finding
from nesting.geometry.curves import Curve
from nesting.geometry.pose import Point

MENDED: Final = ("as written below", "a new drawing follows")

_MOST_OF_A_KIND: Final = 12
"""Further places of one kind share a question: nobody answers a hundred lines about one bad export."""

_ASKS: Final = {
    "open contour": "We cannot cut a contour that does not close. How does it close?",
    "crosses itself": "What is inside and what is outside cannot be told. How is it meant?",
    "contours cross": "Which of the two is to be cut, or are they one outline?",
    "circle in circle": "Which one is to be cut, and what is the other?",
    "broken outline": "How does the outline close?",
    "missing block": "Something is to be there that the file does not hold, perhaps a hole. What is it?",
    "drawing elsewhere": "We do not have that file, and it may hold a hole. Please bind it into this drawing.",
    "block in itself": "What it shows is missing, perhaps a hole. What is it?",
    "unreadable entity": "What it shows is missing, perhaps a hole. What is it?",
    "cut off": "Please send the whole file.",
}
_BROKEN: Final = ("open contour", "crosses itself")


@dataclass(frozen=True, kw_only=True)
class Stopped:
    """A drawing that stops a job as it is.

    `findings` is all that was noticed in it, `curves` all that was read.  `refused` says why nothing came of it;
    `sizes` is its width and height, mm, by the unit it may be in, where it does not say its unit.
    """

    name: str
    sha256: str = ""
    findings: tuple[Finding, ...] = ()
    curves: tuple[Curve, ...] = ()
    refused: str = ""
    sizes: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """One question to be: its kind, its words, its places in the drawing, the answers to tick."""

    kind: str
    text: str
    places: tuple[Point, ...] = ()
    answers: tuple[str, ...] = MENDED


def asked_of(drawing: Stopped) -> tuple[Asked, ...]:
    """Return the questions that must be answered before a drawing can be cut."""
    if drawing.sizes:
        return (_unit(drawing.sizes),)
    errors = [f for f in drawing.findings if f.severity == "error"]
    if any(f.kind in _BROKEN for f in errors):
        # That something lies in a contour that does not close asks nothing which the contour itself does not.
        errors = [f for f in errors if f.kind != "broken outline"]
    asked = tuple(_by_kind(errors))
    if not asked and drawing.refused:
        reason = drawing.refused.removeprefix(f"{drawing.name}: ")
        return (Asked(kind="cannot be read", text=f"{_sentence(reason)} What is to be cut?"),)
    return asked


def _unit(sizes: Mapping[str, tuple[float, float]]) -> Asked:
    told = ", ".join(f"read as {unit} it is {w:.4g} mm x {h:.4g} mm" for unit, (w, h) in sizes.items())
    return Asked(
        kind="unknown unit",
        text=f"The drawing does not say its unit: {told}. In which unit is it drawn?",
        answers=(*sizes, "another one, written below"),
    )


def _by_kind(errors: list[Finding]) -> Iterator[Asked]:
    for kind in dict.fromkeys(f.kind for f in errors):
        same = [f for f in errors if f.kind == kind]
        alone, rest = same[:_MOST_OF_A_KIND], same[_MOST_OF_A_KIND:]
        for f in alone:
            yield Asked(kind=kind, text=_text(f), places=(f.place,) if f.place else ())
        if rest:
            text = f"The drawing shows the same {len(rest)} more times. How are these meant?"
            yield Asked(kind=kind, text=text, places=tuple(f.place for f in rest if f.place))


def _text(finding: Finding) -> str:
    # What follows the semicolon tells the shop what to do with its own options.
    return f"{_sentence(finding.message.partition(';')[0])} {_ASKS.get(finding.kind, 'How is it meant?')}"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."

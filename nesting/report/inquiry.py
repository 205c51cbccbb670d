"""Questions for the designer of a part: what stops the drawing, what may not come out as drawn, with room to answer."""

import math
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from markupsafe import Markup

from nesting.fit.finding import Cutting, FitFinding
from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.report.cautions import fit_cautions
from nesting.report.drawing_questions import Stopped, asked_of
from nesting.report.pages import template
from nesting.report.svg import curves_svg, spots_svg
from nesting.report.wording import UNKNOWN, in_unit
from nesting.shop import Paper
from nesting.units import Unit

_MOST_SPOTS: Final = {"error": 30, "warning": 12, "note": 3}
_MOST_CURVES: Final = 5000
"""A drawing of more curves would make a page that no browser opens; its questions have their places in words."""
_TEXT_COLUMNS: Final = 92
_ANSWERS: Final = ("leave as drawn", "change as written below", "a new drawing follows")


@dataclass(frozen=True, kw_only=True)
class Question:
    """One question; `number` counts through the whole list and stands at the spots of the picture."""

    number: int
    kind: str
    severity: str
    text: str
    value: str
    limit: str
    source: str
    spots: tuple[Point, ...]
    answers: tuple[str, ...] = _ANSWERS

    @property
    def where(self) -> str:
        """The first places in words."""
        listed = ", ".join(f"({x:.1f}, {y:.1f})" for x, y in self.spots[:4])
        more = len(self.spots) - 4
        return f"{listed} and {more} more" if more > 0 else listed


@dataclass(frozen=True, kw_only=True)
class AskedPart:
    """A part, or a whole drawing that made none, with its picture and questions; an empty picture is none."""

    name: str
    size: str
    picture: str
    questions: tuple[Question, ...]


@dataclass(frozen=True, kw_only=True)
class AskedDrawing:
    """A drawing, by name and the hash of its content."""

    name: str
    sha256: str
    parts: tuple[AskedPart, ...]


@dataclass(frozen=True, kw_only=True)
class Inquiry:
    """All questions of a job or of a look at some drawings."""

    title: str
    shop: str
    facts: tuple[tuple[str, str], ...]
    drawings: tuple[AskedDrawing, ...]

    @property
    def count(self) -> int:
        """How many questions there are."""
        return sum(len(p.questions) for d in self.drawings for p in d.parts)


def inquiry(
    parts: Iterable[Part],
    findings: Sequence[FitFinding],
    cutting: Cutting,
    *,
    title: str,
    shop: str = "",
    unit: Unit = "mm",
    grade: str | None = None,
    stopped: Iterable[Stopped] = (),
) -> Inquiry:
    """Return the questions that findings ask of the parts' designers, drawing by drawing.

    Those about `stopped` drawings come first, since nothing is cut from these before they are answered.
    """
    refused: dict[tuple[str, str], list[Stopped]] = {}
    for drawing in stopped:
        refused.setdefault((drawing.name, drawing.sha256), []).append(drawing)
    asked_parts: dict[tuple[str, str], list[Part]] = {}
    asking = {f.part_id for f in findings}
    for part in (p for p in parts if p.id in asking):
        asked_parts.setdefault((part.source or part.name, part.source_sha256), []).append(part)
    drawings, number = [], 0
    for key in dict.fromkeys([*refused, *asked_parts]):
        asked: list[AskedPart] = []
        for drawing in refused.get(key, ()):
            whole = _asked_whole(drawing, number, unit)
            number += sum(len(a.questions) for a in whole)
            asked += whole
        for part in asked_parts.get(key, ()):
            own = [f for f in findings if f.part_id == part.id]
            asked.append(_asked(part, tuple(_question(f, number + i, unit) for i, f in enumerate(own, start=1)), unit))
            number += len(own)
        if asked:
            drawings.append(AskedDrawing(name=key[0], sha256=key[1], parts=tuple(asked)))
    return Inquiry(title=title, shop=shop, facts=_facts(cutting, grade, unit), drawings=tuple(drawings))


def inquiry_html(asked: Inquiry, *, paper: Paper = "A4") -> str:
    """Return the questions as one HTML document that prints; all texts from outside are escaped."""
    return template("inquiry.html.j2").render(
        introduction=_INTRODUCTION, as_markup=Markup, q=asked, paper=paper, cautions=fit_cautions()
    )


def inquiry_text(asked: Inquiry) -> str:
    """Return the questions as plain text, for a letter; the pictures are in the HTML."""
    lines = [f"Questions about drawings: {asked.title}"]
    lines += [asked.shop] if asked.shop else []
    lines += ["", *_wrapped(_INTRODUCTION), "", *(f"{name}: {value}" for name, value in asked.facts)]
    for drawing in asked.drawings:
        lines += ["", "=" * _TEXT_COLUMNS, f"Drawing {drawing.name}", f"SHA-256 {drawing.sha256 or UNKNOWN}"]
        for part in drawing.parts:
            lines += ["", f"Part {part.name}, {part.size}" if part.size else part.name]
            for question in part.questions:
                lines += _question_lines(question)
    lines += ["", "=" * _TEXT_COLUMNS, "Cautions", ""]
    for caution in fit_cautions():
        lines += _wrapped(f"- {caution.text} [{caution.source}]", "  ")
    return "\n".join(lines) + "\n"


_INTRODUCTION: Final = (
    "Before cutting we looked at these drawings. Nothing was changed in them. Where a question says that it stops the "
    "job, we cannot cut the drawing before you answer. At the other places the cut may not come out as drawn; please "
    "tell us what you prefer. Each limit has its source beside it; limits are rules of thumb and yours to overrule. "
    "Places are x, y in millimetres of your own drawing."
)


def _question(finding: FitFinding, number: int, unit: Unit) -> Question:
    def written(value: float | None) -> str:
        return "" if value is None else in_unit(f"{round(value, 2):g} mm", unit)

    return Question(
        number=number,
        kind=finding.kind,
        severity=finding.severity,
        text=in_unit(finding.question, unit),
        value=written(finding.value_mm),
        limit=written(finding.limit_mm),
        source=in_unit(finding.source, unit),
        spots=finding.places,
    )


def _asked_whole(drawing: Stopped, before: int, unit: Unit) -> list[AskedPart]:
    """Return the questions that stop a drawing, numbered on from `before`, over the picture of all its curves."""
    questions = tuple(
        Question(
            number=number,
            kind=asked.kind,
            severity="error",
            text=in_unit(asked.text, unit),
            value="",
            limit="",
            source="",
            spots=asked.places,
            answers=asked.answers,
        )
        for number, asked in enumerate(asked_of(drawing), start=before + 1)
    )
    if not questions:
        return []
    drawn = 0 < len(drawing.curves) <= _MOST_CURVES
    xy = [p for c in drawing.curves for p in (c.start, c.end)] if drawn else [(0.0, 0.0)]
    size = max(max(axis) - min(axis) for axis in zip(*xy, strict=True))
    picture = curves_svg(drawing.name, drawing.curves, _spots(size, questions)) if drawn else ""
    return [AskedPart(name="The whole drawing", size="", picture=picture, questions=questions)]


def _asked(part: Part, questions: tuple[Question, ...], unit: Unit) -> AskedPart:
    width, height = part.size_mm
    return AskedPart(
        name=part.name,
        size=in_unit(f"{width:.1f} mm x {height:.1f} mm", unit),
        picture=spots_svg(part, _spots(max(part.size_mm), questions)),
        questions=questions,
    )


def _spots(size_mm: float, questions: tuple[Question, ...]) -> list[tuple[str, Point]]:
    """Return the spots with their numbers; questions of one spot share it, and a question has only so many."""
    near = 0.02 * size_mm
    spots: list[tuple[list[str], Point]] = []
    for question in questions:
        # The worst stands first; of very many the rest is spread over the list, which runs over the part.
        step = max(1, len(question.spots) // _MOST_SPOTS[question.severity])
        for place in question.spots[::step][: _MOST_SPOTS[question.severity]]:
            shared = next((numbers for numbers, at in spots if math.dist(at, place) <= near), None)
            if shared is None:
                spots.append(([str(question.number)], place))
            elif str(question.number) not in shared:
                shared.append(str(question.number))
    return [(", ".join(numbers), at) for numbers, at in spots]


def _facts(cutting: Cutting, grade: str | None, unit: Unit) -> tuple[tuple[str, str], ...]:
    def length(value: float | None) -> str:
        return UNKNOWN if value is None else in_unit(f"{round(value, 3):g} mm", unit)

    amps = "" if cutting.amps is None else f", {cutting.amps:g} A"
    return (
        ("plate", f"{length(cutting.thickness_mm)} thick, grade {grade or UNKNOWN}"),
        ("cut by", f"{cutting.process}{amps} ({cutting.sources.get('process', 'as given')})"),
        ("width of cut", f"{length(cutting.kerf_mm)} ({in_unit(cutting.sources.get('kerf_mm', 'as given'), unit)})"),
    )


def _question_lines(question: Question) -> list[str]:
    told = (
        f"at {question.where}" if question.spots else "",
        f"value {question.value}" if question.value else "",
        f"limit {question.limit}" if question.limit else "",
        f"source: {question.source}" if question.source else "",
    )
    stops = " (stops the job)" if question.severity == "error" else ""
    about = "; ".join(t for t in told if t)
    return [
        "",
        *_wrapped(f"{question.number}. {question.text}{stops}", "   "),
        *(_wrapped(f"   {about}", "   ") if about else ()),
        "   " + "   ".join(f"[ ] {answer}" for answer in question.answers),
        "   " + "_" * (_TEXT_COLUMNS - 3),
    ]


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, _TEXT_COLUMNS, subsequent_indent=indent, break_long_words=False)

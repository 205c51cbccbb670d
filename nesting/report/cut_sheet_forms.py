"""How a cut sheet is laid on its paper: upright, or on its side where the plate is long or high."""

from dataclasses import dataclass
from typing import Final, Literal

from nesting.layout import Layout
from nesting.report.cut_sheet_picture import plate_scale
from nesting.report.printing import PAPER_MM
from nesting.shop import Paper

MARGIN_MM: Final = 10.0
GAP_MM: Final = 4.0
HEAD_MM: Final = 41.0
FOOT_MM: Final = 7.0
_FACTS_MM: Final = 66.0
_MUCH_LARGER: Final = 1.25
"""The usual form gives way only to one that shows the plate so much larger."""

Story = Literal["parts", "facts"]


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of text: which of the stories runs in it, its left edge and width."""

    story: Story
    left_mm: float
    width_mm: float


@dataclass(frozen=True, kw_only=True)
class Form:
    """A sheet of paper with room for the picture and columns; `on_top` puts the columns below the picture.

    `picture_mm` is what the picture may take; `least_mm` the height it has in any case where columns stand below it.
    """

    paper: Paper
    landscape: bool
    on_top: bool
    picture_mm: tuple[float, float]
    least_mm: float
    columns: tuple[Column, ...]

    @property
    def page_mm(self) -> tuple[float, float]:
        """Width and height of the page as it lies."""
        width, height = PAPER_MM[self.paper]
        return (height, width) if self.landscape else (width, height)

    @property
    def widths_mm(self) -> dict[Story, float]:
        """Width of the columns of each story."""
        return {c.story: c.width_mm for c in self.columns}


def choose_form(layout: Layout, paper: Paper) -> Form:
    """Return the upright form, or the one on its side that shows this plate much larger."""
    upright, *others = _upright(paper), _beside(paper), _wide(paper)
    best = max(others, key=lambda form: plate_scale(layout, *form.picture_mm))
    usual = plate_scale(layout, *upright.picture_mm)
    return best if plate_scale(layout, *best.picture_mm) > _MUCH_LARGER * usual else upright


def _upright(paper: Paper) -> Form:
    width, height = PAPER_MM[paper]
    inner = width - 2 * MARGIN_MM
    return Form(
        paper=paper,
        landscape=False,
        on_top=True,
        picture_mm=(inner, 0.46 * height),
        least_mm=0.30 * height,
        columns=_columns(MARGIN_MM, inner - GAP_MM - _FACTS_MM, ("parts", 0.0), ("facts", _FACTS_MM)),
    )


def _beside(paper: Paper) -> Form:
    """On its side, the picture at the left: for plates higher than wide."""
    height, width = PAPER_MM[paper]
    picture = (100.0, height - 2 * MARGIN_MM - HEAD_MM - FOOT_MM)
    left = MARGIN_MM + picture[0] + GAP_MM
    parts = width - MARGIN_MM - left - GAP_MM - _FACTS_MM
    columns = _columns(left, parts, ("parts", 0.0), ("facts", _FACTS_MM))
    return Form(paper=paper, landscape=True, on_top=False, picture_mm=picture, least_mm=picture[1], columns=columns)


def _wide(paper: Paper) -> Form:
    """On its side, the picture over the whole width: for long plates."""
    height, width = PAPER_MM[paper]
    inner = width - 2 * MARGIN_MM
    parts = inner - 2 * (GAP_MM + _FACTS_MM)
    columns = _columns(MARGIN_MM, parts, ("parts", 0.0), ("facts", _FACTS_MM), ("facts", _FACTS_MM))
    return Form(
        paper=paper,
        landscape=True,
        on_top=True,
        picture_mm=(inner, 0.42 * height),
        least_mm=0.30 * height,
        columns=columns,
    )


def _columns(left: float, first: float, *rest: tuple[Story, float]) -> tuple[Column, ...]:
    """Columns side by side; the first one's width is `first`."""
    found = []
    for number, (story, width) in enumerate(rest):
        taken = first if number == 0 else width
        found.append(Column(story=story, left_mm=left, width_mm=taken))
        left += taken + GAP_MM
    return tuple(found)

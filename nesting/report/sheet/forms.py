"""How a cut sheet may lie on its paper: upright, or on its side where the plate is long or high."""

from dataclasses import dataclass
from typing import Final, Literal

from nesting.report.printing import PAPER_MM
from nesting.shop import Paper

MARGIN_MM: Final = 10.0
GAP_MM: Final = 4.0
HEAD_MM: Final = 41.0
SHORT_HEAD_MM: Final = 9.0
FOOT_MM: Final = 7.0
FACTS_MM: Final = 66.0
_BESIDE_MM: Final = 100.0

Story = Literal["parts", "facts"]


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of text: which of the stories runs in it, where, and whether it begins below the picture in front."""

    story: Story
    left_mm: float
    width_mm: float
    below: bool


@dataclass(frozen=True, kw_only=True)
class Form:
    """A sheet of paper with room for the picture, at the upper left below the head, and columns of text.

    `picture_mm` is what the picture may take at most; `least_mm` the height it has in any case.
    """

    paper: Paper
    landscape: bool
    picture_mm: tuple[float, float]
    least_mm: float
    columns: tuple[Column, ...]

    @property
    def page_mm(self) -> tuple[float, float]:
        """Width and height of the page as it lies."""
        width, height = PAPER_MM[self.paper]
        return (height, width) if self.landscape else (width, height)

    @property
    def room_mm(self) -> float:
        """Height between head and foot of the front."""
        return self.page_mm[1] - 2 * MARGIN_MM - HEAD_MM - FOOT_MM

    @property
    def widths_mm(self) -> dict[Story, float]:
        """Width of the columns of each story."""
        return {c.story: c.width_mm for c in self.columns}


def upright_forms(paper: Paper) -> tuple[Form, ...]:
    """Return the forms on upright paper: all text below the picture, or the facts beside it for compact plates."""
    width, height = PAPER_MM[paper]
    inner = width - 2 * MARGIN_MM
    parts, right = inner - GAP_MM - FACTS_MM, width - MARGIN_MM - FACTS_MM
    low = Column(story="parts", left_mm=MARGIN_MM, width_mm=parts, below=True)
    return tuple(
        Form(
            paper=paper,
            landscape=False,
            picture_mm=(inner if below else parts, 0.5 * height),
            least_mm=0.28 * height,
            columns=(low, Column(story="facts", left_mm=right, width_mm=FACTS_MM, below=below)),
        )
        for below in (True, False)
    )


def picture_pages(paper: Paper) -> tuple[Form, ...]:
    """Return the forms of a page that holds the picture alone: upright and on its side."""
    width, height = PAPER_MM[paper]
    pages = ((width, height, False), (height, width, True))
    rooms = [((w - 2 * MARGIN_MM, h - 2 * MARGIN_MM - SHORT_HEAD_MM - FOOT_MM), on_side) for w, h, on_side in pages]
    return tuple(
        Form(paper=paper, landscape=on_side, picture_mm=room, least_mm=room[1], columns=()) for room, on_side in rooms
    )


def side_forms(paper: Paper) -> tuple[Form, ...]:
    """Return the forms on paper on its side: the picture at the left for high plates, on top for long ones."""
    height, width = PAPER_MM[paper]
    right = width - MARGIN_MM - FACTS_MM
    left = MARGIN_MM + _BESIDE_MM + GAP_MM
    tall = height - 2 * MARGIN_MM - HEAD_MM - FOOT_MM
    high = Form(
        paper=paper,
        landscape=True,
        picture_mm=(_BESIDE_MM, tall),
        least_mm=tall,
        columns=(
            Column(story="parts", left_mm=left, width_mm=right - GAP_MM - left, below=False),
            Column(story="facts", left_mm=right, width_mm=FACTS_MM, below=False),
        ),
    )
    middle = right - GAP_MM - FACTS_MM
    long = Form(
        paper=paper,
        landscape=True,
        picture_mm=(width - 2 * MARGIN_MM, 0.45 * height),
        least_mm=0.25 * height,
        columns=(
            Column(story="parts", left_mm=MARGIN_MM, width_mm=middle - GAP_MM - MARGIN_MM, below=True),
            Column(story="facts", left_mm=middle, width_mm=FACTS_MM, below=True),
            Column(story="facts", left_mm=right, width_mm=FACTS_MM, below=True),
        ),
    )
    return high, long

"""A window in which the outline is mended: its points dragged, added and taken out over the picture.

What it works on and gives back are the lines of a points file, so that window and file do the same.
"""

from dataclasses import dataclass, field
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.backend_bases import KeyEvent, MouseEvent
from matplotlib.figure import Figure
from numpy.typing import NDArray

from nesting.errors import InputError
from nesting.outline.pasted import Pasted
from nesting.outline.photo.picture import Picture
from nesting.outline.traced import Section, Spot, drawn, sections

Floats = NDArray[np.float64]

HELP: Final = "drag: move   double click: add   right click: take out   u: undo   Enter: take it   Esc: give up"
_REACH: Final = 14.0
"""A click this near to a point, in pixels of the screen, means it."""

_FEWEST: Final = 3
_COLOURS: Final = {"outline": "#00ff50", "hole": "#00c8ff", "keep-out": "#ffd000", "clamp": "#ff60ff"}


@dataclass
class Ring:
    """One section of a points file: its heading ("" for the outline), points (n, 2), and which lie on an arc."""

    head: str
    kind: str
    points: list[tuple[float, float]] = field(default_factory=list)
    on_arc: list[bool] = field(default_factory=list)


class Dragging:
    """Points over a picture on a figure; `text` is the points file as it stands, `taken` None until all is done."""

    def __init__(self, figure: Figure, picture: Picture, text: str) -> None:
        self.rings = _rings(text)
        self.taken: bool | None = None
        self.held: tuple[int, int] | None = None
        self.undo: list[str] = []
        self.figure = figure
        self.axes = figure.add_axes((0.0, 0.0, 1.0, 0.95))
        self.axes.imshow(picture.pixels[..., ::-1], interpolation="nearest")
        self.axes.set_axis_off()
        self.axes.set_title(HELP, fontsize=9)
        self.lines: list[Any] = []
        figure.canvas.mpl_connect("button_press_event", self._pressed)
        figure.canvas.mpl_connect("motion_notify_event", self._moved)
        figure.canvas.mpl_connect("button_release_event", self._let_go)
        figure.canvas.mpl_connect("key_press_event", self._typed)
        self._draw()

    @property
    def text(self) -> str:
        """The points file."""
        lines = []
        for ring in self.rings:
            lines += [ring.head] if ring.head else []
            lines += [
                f"{x:.1f},{y:.1f}" + (",arc" if a else "") for (x, y), a in zip(ring.points, ring.on_arc, strict=True)
            ]
        return "\n".join(lines) + "\n"

    def _pressed(self, event: MouseEvent) -> None:
        if event.inaxes is not self.axes or self._zooming():
            return
        near = self._near(event)
        if event.button == 1 and event.dblclick:
            self._remember()
            self._add(event)
        elif event.button == 1 and near is not None:
            self._remember()
            self.held = near
        elif event.button == 3 and near is not None and len(self.rings[near[0]].points) > _FEWEST:
            self._remember()
            ring = self.rings[near[0]]
            del ring.points[near[1]], ring.on_arc[near[1]]
        self._draw()

    def _moved(self, event: MouseEvent) -> None:
        if self.held is not None and event.xdata is not None and event.ydata is not None:
            ring, number = self.held
            self.rings[ring].points[number] = (float(event.xdata), float(event.ydata))
            self._draw()

    def _let_go(self, event: MouseEvent) -> None:  # noqa: ARG002
        self.held = None

    def _typed(self, event: KeyEvent) -> None:
        if event.key == "u" and self.undo:
            self.rings = _rings(self.undo.pop())
            self._draw()
        elif event.key in ("enter", "escape"):
            self.taken = event.key == "enter"
            if self.figure.canvas.manager is not None:
                mpl.pyplot.close(self.figure)

    def _zooming(self) -> bool:
        """Whether the window's own zoom or pan is on, which then has the mouse."""
        toolbar = getattr(self.figure.canvas, "toolbar", None)
        return bool(toolbar is not None and toolbar.mode)

    def _remember(self) -> None:
        self.undo.append(self.text)

    def _near(self, event: MouseEvent) -> tuple[int, int] | None:
        best, found = _REACH, None
        for k, ring in enumerate(self.rings):
            away = np.hypot(*(self.axes.transData.transform(ring.points) - [event.x, event.y]).T)
            if away.min() < best:
                best, found = float(away.min()), (k, int(away.argmin()))
        return found

    def _add(self, event: MouseEvent) -> None:
        """Add a corner where the nearest edge is."""
        at = np.array([event.xdata, event.ydata], dtype=np.float64)
        best: tuple[float, int, int] | None = None
        for k, ring in enumerate(self.rings):
            starts = np.array(ring.points)
            along = np.roll(starts, -1, axis=0) - starts
            share = (((at - starts) * along).sum(axis=1) / np.maximum((along**2).sum(axis=1), 1e-9)).clip(0, 1)
            away = np.hypot(*(starts + share[:, None] * along - at).T)
            if best is None or away.min() < best[0]:
                best = (float(away.min()), k, int(away.argmin()))
        assert best is not None
        ring = self.rings[best[1]]
        ring.points.insert(best[2] + 1, (float(at[0]), float(at[1])))
        ring.on_arc.insert(best[2] + 1, False)

    def _draw(self) -> None:
        for line in self.lines:
            line.remove()
        self.lines = []
        for ring in self.rings:
            colour = _COLOURS[ring.kind]
            points = np.array(ring.points)
            self.lines += self.axes.plot(*_curve(ring).T, color=colour, linewidth=1.2)
            corners, on_arc = points[~np.array(ring.on_arc)], points[np.array(ring.on_arc)]
            for some, mark in ((corners, "s"), (on_arc, "o")):
                self.lines += self.axes.plot(*some.T, mark, mfc="none", mec=colour, mew=1.5, markersize=8)
        self.figure.canvas.draw_idle()


def drag(picture: Picture, text: str) -> str | None:
    """Open a window on a points file's text and return what it is when the user takes it, None when he gives up.

    Raise `InputError` where no window can be opened.
    """
    from matplotlib import pyplot
    from matplotlib.backends.registry import BackendFilter, backend_registry

    figure = pyplot.figure(figsize=(12.0, 9.0))
    shown_by: list[str] = backend_registry.list_builtin(BackendFilter.INTERACTIVE)  # type: ignore[no-untyped-call]
    if mpl.get_backend().lower() not in shown_by:
        pyplot.close(figure)
        raise InputError(
            "no window can be opened here (no screen, or neither Tk nor Qt is installed); write the points with "
            "--points-out FILE, change them, and give them with --points FILE"
        )
    dragging = Dragging(figure, picture, text)
    pyplot.show(block=True)
    return dragging.text if dragging.taken else None


def box_text(picture: Picture) -> str:
    """Four corners in the middle of a picture, to begin with where no outline was found."""
    height, width = picture.pixels.shape[:2]
    return "\n".join(f"{x * width:.1f},{y * height:.1f}" for x, y in ((0.3, 0.3), (0.7, 0.3), (0.7, 0.7), (0.3, 0.7)))


def _sections(text: str) -> list[Section]:
    def place(row: Any) -> Spot:
        x, y = (float(f) for f in row.fields[:2])
        return Spot(line=row.line, at=(x, y), on_arc=len(row.fields) == 3)

    return sections(Pasted(name="points", text=text), place)


def _rings(text: str) -> list[Ring]:
    found = []
    for section in _sections(text):
        head = " ".join([section.kind, "circle" * section.round, section.reason]).strip()
        ring = Ring(head="" if section.kind == "outline" else head, kind=section.kind)
        ring.points = [s.at for s in section.spots]
        ring.on_arc = [s.on_arc for s in section.spots]
        found.append(ring)
    return sorted(found, key=lambda r: r.kind != "outline")


def _curve(ring: Ring) -> Floats:
    """The ring as lines and arcs; straight from point to point while it makes no sense."""
    spots = [Spot(line=k + 1, at=p, on_arc=a) for k, (p, a) in enumerate(zip(ring.points, ring.on_arc, strict=True))]
    section = Section(kind="outline", line=1, round="circle" in ring.head, spots=spots)
    try:
        curve: Floats = np.array(drawn(section, "points").contour.polygon(0.5, "midway").exterior.coords)
    except InputError:
        curve = np.array([*ring.points, ring.points[0]])
    return curve

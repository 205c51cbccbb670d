"""The window in which an outline is mended: events sent to a canvas without a screen."""

import numpy as np
import pytest
from matplotlib.backend_bases import KeyEvent, MouseEvent
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from nesting.errors import InputError
from nesting.outline.photo.dragging import Dragging, box_text, drag
from nesting.outline.photo.picture import Picture

TEXT = "100,100\n500,100\n500,300,arc\n500,400\n100,400\nhole circle\n200,200\n230,230\n200,260\n170,230\n"


def blank(width: int, height: int) -> Picture:
    pixels = np.full((height, width, 3), 120, dtype=np.uint8)
    return Picture(name="p.jpg", pixels=pixels, turn=np.eye(2, 3), stored=(width, height), focal_px=None)


def window(text: str = TEXT) -> Dragging:
    figure = Figure(figsize=(8.0, 6.0))
    FigureCanvasAgg(figure)
    return Dragging(figure, blank(800, 600), text)


def mouse(made: Dragging, name: str, at: tuple[float, float], button: int = 1, *, double: bool = False) -> None:
    x, y = made.axes.transData.transform(at)
    canvas = made.figure.canvas
    canvas.callbacks.process(name, MouseEvent(name, canvas, x, y, button, dblclick=double))


def key(made: Dragging, name: str) -> None:
    made.figure.canvas.callbacks.process("key_press_event", KeyEvent("key_press_event", made.figure.canvas, name))


def points(made: Dragging) -> list[str]:
    return made.text.split()


def test_a_corner_is_dragged_and_put_back():
    made = window()
    before = made.text
    mouse(made, "button_press_event", (501, 101))
    mouse(made, "motion_notify_event", (520, 90))
    mouse(made, "motion_notify_event", (540, 80))
    mouse(made, "button_release_event", (540, 80))
    mouse(made, "motion_notify_event", (700, 500))  # let go: nothing moves any more
    assert points(made)[1] == "540.0,80.0"
    assert [p for k, p in enumerate(points(made)) if k != 1] == [p for k, p in enumerate(before.split()) if k != 1]
    key(made, "u")
    assert made.text == before


def test_points_are_added_on_the_nearest_edge_and_taken_out():
    made = window()
    mouse(made, "button_press_event", (300, 104), double=True)
    assert points(made)[:3] == ["100.0,100.0", "300.0,104.0", "500.0,100.0"]
    mouse(made, "button_press_event", (300, 104), button=3)
    assert made.text == window().text
    mouse(made, "button_press_event", (500, 300), button=3)  # the arc becomes straight
    assert "arc" not in made.text
    for at in ((200, 200), (230, 230), (200, 260)):
        mouse(made, "button_press_event", at, button=3)
    assert made.text.split("hole circle")[1].split() == ["230.0,230.0", "200.0,260.0", "170.0,230.0"]  # three remain


def test_enter_takes_and_escape_gives_up():
    made = window()
    assert made.taken is None
    key(made, "enter")
    assert made.taken
    key(made, "escape")
    assert made.taken is False


def test_an_edge_dragged_across_itself_is_still_drawn():
    made = window("100,100\n500,100\n500,400\n100,400")
    mouse(made, "button_press_event", (100, 100))
    mouse(made, "motion_notify_event", (700, 300))
    drawn = made.axes.lines[0].get_xydata()
    assert drawn.max() == pytest.approx(700, abs=0.5)


def test_without_a_screen_the_points_file_is_named():
    import matplotlib as mpl

    with mpl.rc_context({"backend": "agg"}), pytest.raises(InputError, match="--points-out FILE"):
        drag(
            Picture(name="p", pixels=np.zeros((9, 9, 3), np.uint8), turn=np.eye(2, 3), stored=(9, 9), focal_px=None),
            TEXT,
        )


def test_a_box_to_begin_with_lies_in_the_picture():
    picture = blank(800, 600)
    xy = np.array([[float(v) for v in line.split(",")] for line in box_text(picture).splitlines()])
    assert xy.shape == (4, 2)
    assert (xy > 0).all()
    assert (xy < [800, 600]).all()

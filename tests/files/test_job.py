"""Jobs: read, completed from the command line, resolved against plate and shop."""

import math
from pathlib import Path

import ezdxf
import pytest

from nesting.demand import Turns
from nesting.errors import InputError, JobError, UnitsUnknownError
from nesting.files.job import make_job, read_job, said_unit
from nesting.plate import KeepOut
from nesting.pull import EDGES, Pull
from nesting.steps.order import Order, Questions, resolve
from nesting.units import Unit

HEAD = 'units = "mm"\n[clearances]\nkerf = 1.5\ngap = 6\nmargin = 8\n'
SHEET = "[plate]\nwidth = 500\nheight = 300\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a space in its name and two drawings, one without a unit."""
    home = tmp_path / "my jobs"
    (home / "parts").mkdir(parents=True)
    draw(home / "parts" / "square.dxf", 10, insunits=4)
    draw(home / "parts" / "nameless.dxf", 10, insunits=0)
    return home


def draw(path: Path, side: float, *, insunits: int) -> None:
    doc = ezdxf.new("R2000")
    doc.header["$INSUNITS"] = insunits
    corners = [(0, 0), (side, 0), (side, side), (0, side)]
    doc.modelspace().add_lwpolyline(corners, close=True)
    doc.saveas(path)


def job(folder: Path, text: str) -> Path:
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def part(name: str = "parts/square.dxf", *more: str) -> str:
    return "\n".join(["[[part]]", f"drawing = '{name}'", *more, ""])


def order(folder: Path, text: str, questions: Questions | None = None) -> Order:
    return resolve(read_job(job(folder, text)), questions=questions)


def test_a_job_becomes_plate_demands_and_clearances(folder: Path):
    plate = '[plate]\nwidth = "20 in"\nheight = 300\nthickness = "1/4 in"\ngrade = "A36"\ngrain = 90\n'
    wants = part("parts/square.dxf", "quantity = 3", "turns = 90", "flip = true", "priority = 2", 'name = "Foot"')
    found = order(folder, HEAD + plate + wants)
    assert found.plate.area_mm2 == pytest.approx(508 * 300)
    assert (found.plate.thickness_mm, found.plate.grade, found.plate.grain_deg) == (6.35, "A36", 90.0)
    assert found.plate.heat is None
    (demand,) = found.demands
    assert (demand.part.name, demand.quantity, demand.may_flip, demand.priority) == ("Foot", 3, True, 2)
    assert demand.turns.angles_deg == (0.0, 90.0, 180.0, 270.0)
    assert demand.part.area_mm2 == pytest.approx(100.0)
    assert found.clearances.sources["gap_mm"] == "given in the job"
    assert found.folder == folder / "job-layout"
    assert (found.writing.version, found.unit, found.paper) == ("R2000", "mm", "A4")


@pytest.mark.parametrize(
    ("written", "pulls"),
    [
        ('"bottom-left"', (Pull(name="bottom-left"),)),
        ("-30", (Pull(angle_deg=-30.0),)),
        ('["left", 12.5]', (Pull(name="left"), Pull(angle_deg=12.5))),
        ('"best"', EDGES),
        ('["best", "top-left"]', (*EDGES, Pull(name="top-left"))),
    ],
)
def test_where_parts_are_pulled_to(folder: Path, written: str, pulls: tuple[Pull, ...]):
    text = f"{HEAD}{SHEET}{part()}[search]\npull_to = {written}\n"
    assert order(folder, text).search.pull_to == pulls
    assert order(folder, HEAD + SHEET + part()).search.pull_to == EDGES


@pytest.mark.parametrize("wrong", ['"north"', "true", "[]", '["left", "lower"]'])
def test_a_place_nobody_knows_is_refused_with_those_there_are(folder: Path, wrong: str):
    with pytest.raises(JobError, match=r'line 12: search.pull_to: expected "left", .* an angle in degrees'):
        order(folder, f"{HEAD}{SHEET}{part()}[search]\npull_to = {wrong}\n")


@pytest.mark.parametrize(
    ("written", "turns"),
    [
        ('"any"', Turns()),
        ('"fixed"', Turns.fixed()),
        ("180", Turns.steps(180)),
        ("[0, 45.5]", Turns(rule="listed", angles_deg=(0.0, 45.5))),
    ],
)
def test_turn_rules(folder: Path, written: str, turns: Turns):
    assert order(folder, HEAD + SHEET + part("parts/square.dxf", f"turns = {written}")).demands[0].turns == turns


def test_a_turn_step_must_divide_the_circle(folder: Path):
    with pytest.raises(JobError, match=r"line 11: part\.1\.turns: a turn step must divide 360 degrees, got 7"):
        order(folder, HEAD + SHEET + part("parts/square.dxf", "turns = 7.0"))


def test_fill_is_as_many_as_fit(folder: Path):
    assert order(folder, HEAD + SHEET + part("parts/square.dxf", 'quantity = "fill"')).demands[0].quantity is None


def test_one_drawing_listed_twice_gets_two_ids(folder: Path):
    found = order(folder, HEAD + SHEET + part() + part("parts/square.dxf", "turns = 90"))
    assert [d.part.id for d in found.demands] == ["square", "square-2"]


def test_paths_with_backslashes_travel(folder: Path):
    assert order(folder, HEAD + SHEET + part(r"parts\square.dxf")).demands[0].part.id == "square"


def test_a_plate_by_corners_with_an_arc_a_hole_and_a_keep_out(folder: Path):
    plate = """[plate]
corners = [[0, 0], ["40 cm", 0], [400, 200, 1], [200, 200], [0, 200], [0, 0]]
holes = [[[50, 50], [100, 50], [100, 100]]]
keep_outs = [{corners = [[300, 20], [340, 20], [340, 60]], kind = "no part, lead or rapid", reason = "clamp"}]
"""
    found = order(folder, HEAD + plate + part()).plate
    assert found.area_mm2 == pytest.approx(400 * 200 + math.pi * 100**2 / 2 - 1250, rel=1e-9)
    assert isinstance(found.keep_outs[0], KeepOut)
    assert (found.keep_outs[0].kind, found.keep_outs[0].reason) == ("no part, lead or rapid", "clamp")


@pytest.mark.parametrize(
    ("plate", "told"),
    [
        ("corners = [[0, 0], [10, 10], [10, 0], [0, 10]]", r"plate\.corners: .*Self-intersection"),
        ("corners = [[0, 0], [10, 10], [0, 0]]", "at least three corners"),
        ("corners = [[0, 0], [10, 10], [20, 20]]", "bound no plain area"),
        ("corners = [[0, 0, 0, 0]]", r"line 7: plate\.corners: expected a list of corners"),
        ("width = 9\nheight = 9\nholes = [[[5, 5], [20, 5], [20, 20]]]", "reaches outside the plate"),
        (
            "width = 9\nheight = 9\nholes = [[[1, 1], [5, 1], [5, 5]], [[1, 1], [5, 1], [5, 5]]]",
            "two holes overlap",
        ),
    ],
)
def test_a_plate_that_is_none_is_refused(folder: Path, plate: str, told: str):
    with pytest.raises(JobError, match=told):
        order(folder, f"{HEAD}[plate]\n{plate}\n{part()}")


def test_another_thickness_is_refused_with_both_named(folder: Path):
    text = HEAD + SHEET + "thickness = 6\n" + part("parts/square.dxf", "thickness = 8")
    with pytest.raises(JobError, match="square asks for 8 mm, but plate plate is 6 mm"):
        order(folder, text)
    with pytest.raises(JobError, match="asks for 8 mm and the plate's thickness is not known"):
        order(folder, HEAD + SHEET + part("parts/square.dxf", "thickness = 8"))


def test_another_grade_is_refused_with_both_named(folder: Path):
    wants = part("parts/square.dxf", 'grade = "S355"')
    with pytest.raises(JobError, match="asks for grade S355, but plate plate is S235"):
        order(folder, HEAD + SHEET + 'grade = "S235"\n' + wants)
    assert order(folder, HEAD + SHEET + 'grade = "s 355"\n' + wants).demands


def test_an_unknown_grade_is_asked_and_the_answer_reported(folder: Path):
    text = HEAD + SHEET + part("parts/square.dxf", 'grade = "S355"')
    with pytest.raises(JobError, match="the plate's grade is not known"):
        order(folder, text)
    asked: list[tuple[str, str]] = []
    found = order(folder, text, Questions(accept_unknown_grade=lambda *a: asked.append(a) or True))
    assert asked == [("square", "S355")]
    assert "accepted on a plate of unknown grade" in found.notes[0]
    assert found.plate.grade is None


def test_grain_turns_need_a_known_grain(folder: Path):
    wants = part("parts/square.dxf", 'turns = "grain"')
    with pytest.raises(JobError, match=r"parts/square\.dxf is to lie along the grain .* not known"):
        order(folder, HEAD + SHEET + wants)
    assert order(folder, HEAD + SHEET + "grain = 0\n" + wants).demands[0].turns.rule == "grain"


def test_a_unit_that_is_not_known_is_asked_or_refused(folder: Path):
    text = HEAD + SHEET + part("parts/nameless.dxf")
    told = r'does not say its unit.*say units = "mm" or "inch" in its \[\[part\]\] entry.*--units .*nameless\.dxf=inch$'
    with pytest.raises(UnitsUnknownError, match=told):
        order(folder, text)
    sizes: list[dict[Unit, tuple[float, float]]] = []

    def answer(error: UnitsUnknownError) -> Unit:
        sizes.append(error.sizes)
        return "inch"

    found = order(folder, text, Questions(unit=answer))
    assert found.demands[0].part.size_mm == pytest.approx((254.0, 254.0))
    assert sizes[0]["mm"] == pytest.approx((10.0, 10.0))
    assert sizes[0]["inch"] == pytest.approx((254.0, 254.0))


def test_units_of_the_command_line_stand_above_the_file(folder: Path):
    """`$INSUNITS` 4 is mm, 1 is inch in the published DXF reference: 10 or 254 mm wide."""
    draw(folder / "parts" / "inch.dxf", 10, insunits=1)
    path = job(folder, HEAD + SHEET + part() + part("parts/inch.dxf"))

    def widths(*rules: tuple[Path | None, Unit]) -> list[float]:
        demands = resolve(read_job(path, unit_rules=rules)).demands
        return [round(d.part.size_mm[0], 6) for d in demands]

    assert widths() == [10.0, 254.0]
    assert widths((None, "mm")) == [10.0, 10.0]
    assert widths((None, "mm"), (folder / "parts", "inch")) == [254.0, 254.0]
    assert widths((folder / "parts", "inch"), (folder / "parts" / "square.dxf", "cm")) == [100.0, 254.0]


def test_the_longest_path_says_the_unit():
    rules = ((None, "mm"), (Path("a"), "inch"), (Path("a/b"), "cm"))
    assert said_unit(Path("x.dxf"), ()) is None
    assert said_unit(Path("x.dxf"), rules) == "mm"
    assert said_unit(Path("a/x.dxf"), rules) == "inch"
    assert said_unit(Path("a/b/x.dxf"), rules) == "cm"


def test_a_job_can_come_from_the_command_line_alone(folder: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(folder)
    made = make_job(
        {
            "plate": {"width": "500 mm", "height": "300 mm"},
            "clearances": {"kerf": "1.5 mm", "gap": "6 mm", "margin": "8 mm"},
            "part": [{"drawing": "parts/square.dxf", "quantity": 2}],
        }
    )
    assert resolve(made).demands[0].quantity == 2
    with pytest.raises(JobError, match=r"^command line: plate\.widht: unknown key; did you mean 'width'\?"):
        make_job({"plate": {"widht": "1 mm", "drawing": "a.dxf"}, "part": [{"drawing": "b.dxf"}]})


def test_another_plate_keeps_nothing_of_the_jobs_own(folder: Path):
    path = job(folder, HEAD + SHEET + 'thickness = 6\ngrade = "S235"\n' + part())
    thicker = resolve(read_job(path, overrides={"plate": {"thickness": "8 mm"}})).plate
    another = resolve(read_job(path, overrides={"plate": {"width": "90 mm", "height": "90 mm"}})).plate
    assert (thicker.thickness_mm, thicker.grade, thicker.area_mm2) == (8.0, "S235", 150_000.0)
    assert (another.thickness_mm, another.grade, another.area_mm2) == (None, None, 8100.0)


def test_faults_of_several_drawings_come_together(folder: Path):
    with pytest.raises(InputError) as caught:
        order(folder, HEAD + SHEET + part("parts/none.dxf") + part("parts/gone.dxf"))
    assert [name in str(caught.value) for name in ("none.dxf", "gone.dxf")] == [True, True]


def test_the_shop_named_in_the_job_is_used_and_its_process_overruled(folder: Path):
    (folder / "shop.toml").write_text('units = "mm"\npaper = "Letter"\n[cutting]\ntable = [400, 400]\n')
    text = f'shop = "shop.toml"\n{HEAD}process = "laser"\n{SHEET}{part()}'
    found = order(folder, text)
    assert (found.paper, found.shop.process, found.shop.sources["process"]) == (
        "Letter",
        "laser",
        "given in the job",
    )
    assert "larger than the table's travel 400 x 400 mm" in found.notes[-1]


def test_clearances_that_cannot_be_are_told_with_the_job(folder: Path):
    text = 'units = "mm"\n[clearances]\nkerf = 5\ngap = 6\nmargin = 2\n' + SHEET + part()
    with pytest.raises(JobError, match=r"job\.toml: clearances: gap 6 mm .* margin 2 mm"):
        order(folder, text)


@pytest.mark.parametrize(("layer", "closed"), [("0", False), ("old center cutout", True)])
def test_no_cut_out_of_a_plate_drawing_is_passed_over(tmp_path: Path, layer: str, closed: bool):
    """One that is open stops the job; one that is closed is a hole, whatever its layer is called."""
    document = ezdxf.new()
    document.header["$INSUNITS"] = 4
    document.layers.add("old center cutout")
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (500, 0), (500, 300), (0, 300)], close=True)
    space.add_lwpolyline(
        [(100, 100), (200, 100), (200, 200), (100, 200), (100, 102)], close=closed, dxfattribs={"layer": layer}
    )
    document.saveas(tmp_path / "leftover.dxf")
    part = ezdxf.new()
    part.header["$INSUNITS"] = 4
    part.modelspace().add_circle((0, 0), 20)
    part.saveas(tmp_path / "disc.dxf")
    (tmp_path / "job.toml").write_text(
        'units = "mm"\n[plate]\ndrawing = "leftover.dxf"\n[clearances]\nkerf = 1\ngap = 5\nmargin = 5\n'
        '[[part]]\ndrawing = "disc.dxf"\n',
        encoding="utf-8",
    )
    job = read_job(tmp_path / "job.toml")

    if closed:
        assert len(resolve(job).plate.holes) == 1
    else:
        with pytest.raises(InputError, match=r"leftover.dxf.*may be the edge of a cut-out"):
            resolve(job)


@pytest.mark.parametrize("written", ["''", "'.'", "' '", "'..'", "'parts/..'", "'/'"])
def test_what_names_no_drawing_is_told_with_its_key(folder: Path, written: str):
    text = f"{HEAD}{SHEET}[[part]]\ndrawing = {written}\n"
    with pytest.raises(JobError, match=r"job\.toml, line \d+: part\.1\.drawing: expected the file of a drawing, got '"):
        order(folder, text)
    with pytest.raises(JobError, match=r"job\.toml, line \d+: plate\.drawing: expected the file of a drawing, got '"):
        order(folder, f"{HEAD}[plate]\ndrawing = {written}\n{part()}")


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("part.1.drawing", SHEET + '[[part]]\ndrawing = "parts\\bracket.dxf"\n'),
        ("plate.drawing", f'[plate]\ndrawing = "parts\\bracket.dxf"\n{part()}'),
        ("output.folder", f'{SHEET}{part()}[output]\nfolder = "parts\\bracket.dxf"\n'),
    ],
)
def test_a_control_character_in_a_path_is_shown_and_explained(folder: Path, key: str, text: str):
    """`\\b` between double quotes is a backspace, which printed raw eats the letter before it."""
    with pytest.raises(JobError) as caught:
        order(folder, HEAD + text)
    told = str(caught.value)
    assert f"{key}: expected a path, got 'parts\\x08racket.dxf', which holds a control character" in told
    assert "write the path between single quotes, or with /" in told and "\b" not in told

"""Which piece of the rack a job takes."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, square
from racks import new_piece
from shapes import plate, polygon_part, regions

from nesting.errors import InfeasibleError, JobError
from nesting.files.job import Job, read_job
from nesting.plate import Plate
from nesting.rack.piece import NewPiece
from nesting.rack.store import Rack, open_rack
from nesting.shop import Shop
from nesting.steps.from_rack import plate_from_rack
from nesting.steps.order import Questions, resolve
from nesting.steps.rack_fit import Answer, ask, choose, on_the_rack, settled
from nesting.steps.rack_holds import holding_part, holding_rectangle

JOB = """\
units = "mm"
name = "gate"
[plate]
rack = "choose"
{plate}
[clearances]
kerf = 1.6
gap = 6
margin = 9
[[part]]
drawing = "foot.dxf"
quantity = {quantity}
{part}
[search]
steps = 2
"""


@pytest.fixture
def rack() -> Iterator[Rack]:
    with open_rack("sqlite://", create=True) as opened:
        yield opened


def job(folder: Path, plate: str = "thickness = 6", part: str = 'grade = "S235JR"', quantity: int = 4) -> Job:
    drawing(folder / "foot.dxf", lambda space: square(space, 200.0))
    (folder / "job.toml").write_text(JOB.format(plate=plate, part=part, quantity=quantity), encoding="utf-8")
    return read_job(folder / "job.toml")


def put(rack: Rack, *sizes: tuple[float, float], **facts: Any) -> list[str]:
    return [p.id for p in rack.add([new_piece(*s, **facts) for s in sizes], who="me")]


def answers(rack: Rack, found: Job, **given: Any) -> dict[str, Answer]:
    return {a.piece.id: a for a in on_the_rack(ask(found, **given), rack)}


def test_the_least_useful_piece_that_serves_comes_first(rack: Rack, tmp_path: Path):
    """Four feet of 200 mm with gap 6 and margin 9 take 424 x 424, or 842 x 218; never the sheet for a small job."""
    sheet, small, strip, middle, tiny = put(rack, (2500, 1250), (430, 430), (850, 220), (900, 900), (300, 300))
    found = answers(rack, job(tmp_path))
    assert [a.verdict for a in found.values()] == ["yes"] * 4 + ["no"]
    assert list(found)[2:] == [middle, sheet, tiny] and set(list(found)[:2]) == {small, strip}
    assert found[tiny].reasons[0].startswith("the parts take 0.")


def test_of_equally_useful_pieces_the_oldest_comes_first(rack: Rack, tmp_path: Path):
    new, old = (
        rack.add([replace(new_piece(w, 450), added=day)], who="me")[0].id
        for w, day in ((450, date(2026, 2, 1)), (460, date(2024, 2, 1)))
    )
    assert list(answers(rack, job(tmp_path))) == [old, new]


def test_an_unknown_grade_never_serves_unless_told_so(rack: Rack, tmp_path: Path):
    (unknown,) = put(rack, (430, 430), grade=None)
    (known,) = put(rack, (2500, 1250))
    found = answers(rack, job(tmp_path))
    assert found[unknown].verdict == "no"
    assert found[unknown].reasons == ("its grade is not known, and foot asks for S235JR",)
    accepted = answers(rack, job(tmp_path), accept_unknown_grade=True)
    assert accepted[unknown].verdict == "yes" and next(iter(accepted)) == known
    told = "its grade is NOT KNOWN, and foot asks for S235JR; the unknown grade was accepted"
    assert accepted[unknown].warnings == (told,)
    rack.scrap([known], who="me")
    with pytest.raises(InfeasibleError, match=f"no piece of the rack serves gate:\n{unknown}: its grade is not known"):
        take(rack, job(tmp_path))
    plate_, notes = take(rack, job(tmp_path), accept_unknown_grade=True)
    assert plate_.name == unknown and told in notes


def take(rack: Rack, found: Job, **given: Any) -> tuple[Plate, tuple[str, ...]]:
    return plate_from_rack(rack, found, Shop(), Questions(), **given)


def test_other_grades_and_thicknesses_are_refused_with_both_reasons(rack: Rack, tmp_path: Path):
    (other,) = put(rack, (900, 900), grade="S355J2", thickness_mm=8.0)
    (same,) = put(rack, (900, 900), grade="s235 jr")
    (nobody,) = put(rack, (900, 900), thickness_mm=None)
    found = answers(rack, job(tmp_path))
    assert found[other].reasons == (
        "it is 8 mm thick, and foot asks for 6 mm",
        "it is S355J2, and foot asks for S235JR",
    )
    assert found[same].verdict == "yes"
    assert found[nobody].reasons == ("its thickness is not known, and foot asks for 6 mm; measure it",)


def test_a_thickness_within_the_mills_tolerance_is_to_be_measured(rack: Rack, tmp_path: Path):
    """ASTM A6: 6 mm plate may be up to 6.8 mm thick; but 6.35 mm may be 1/4 in as well."""
    (quarter,) = put(rack, (430, 430), thickness_mm=6.35)
    answer = answers(rack, job(tmp_path))[quarter]
    assert answer.verdict == "perhaps" and answer.to_measure
    assert answer.warnings[0].startswith(
        "measure its thickness: it is kept as 6.35 mm, which a mill may deliver for the 6 mm"
    )
    with pytest.raises(InfeasibleError, match="measure its thickness"):
        take(rack, job(tmp_path))
    rack.edit(quarter, lambda f: replace(f, thickness_mm=6.0), who="me")
    assert take(rack, job(tmp_path))[0].name == quarter


def test_parts_that_no_one_piece_can_serve_are_told_apart(rack: Rack, tmp_path: Path):
    put(rack, (900, 900))
    two = '[[part]]\ndrawing = "foot.dxf"\nthickness = 8\nname = "other"'
    asked = ask(job(tmp_path, part=two))
    assert asked.apart == "the parts ask for 6 mm and 8 mm, which no one piece is: make a job of each"
    assert [a.verdict for a in on_the_rack(asked, rack)] == ["no"]
    assert ask(job(tmp_path)).apart == ""


def test_what_is_set_aside_is_for_its_job_only(rack: Rack, tmp_path: Path):
    mine, other = put(rack, (430, 430), (430, 430))
    rack.set_aside([mine], "gate", who="me")
    rack.set_aside([other], "door", who="me")
    assert list(answers(rack, job(tmp_path))) == [mine]


def without_kerf(folder: Path, plate: str = "thickness = 6", shop: str = 'units = "mm"\n') -> Job:
    job(folder, plate)
    text = (folder / "job.toml").read_text(encoding="utf-8").replace("kerf = 1.6\n", "")
    (folder / "shop.toml").write_text(shop, encoding="utf-8")
    (folder / "job.toml").write_text(text.replace("[plate]", 'shop = "shop.toml"\n[plate]', 1), encoding="utf-8")
    return read_job(folder / "job.toml")


def test_a_kerf_that_nobody_said_is_a_fault_of_the_job_and_no_proof_about_a_plate(rack: Rack, tmp_path: Path):
    put(rack, (900, 900), thickness_mm=6.0)
    told = r"job\.toml: clearances: the kerf is not known.* \[clearances\] in the job.* \[\[measured_kerf\]\] in the"
    found = without_kerf(tmp_path)
    with pytest.raises(JobError, match=told):
        on_the_rack(ask(found), rack)
    with pytest.raises(JobError, match=told) as raised:
        resolve(found, from_rack=lambda j, shop, _: (choose(ask(j, shop=shop), rack), ()))  # type: ignore[arg-type,return-value]
    assert str(raised.value).count("job.toml: ") == 1


def test_a_kerf_known_on_some_pieces_only_is_told_for_the_others(rack: Rack, tmp_path: Path):
    six, twelve = (put(rack, (900, 900), thickness_mm=mm)[0] for mm in (6.0, 12.0))
    shop = 'units = "mm"\n[[measured_kerf]]\nprocess = "plasma"\nthickness = 6\nkerf = 1.7\nmeasured = 2026-11-01\n'
    answer = answers(rack, without_kerf(tmp_path, plate="", shop=shop))
    assert (answer[six].verdict, answer[twelve].verdict) == ("yes", "no")
    assert answer[twelve].reasons[0].startswith("clearances: the kerf is not known")


def test_a_lesser_piece_is_tried_before_a_larger_one_is_taken(rack: Rack, tmp_path: Path):
    """An L whose rectangle inside is too small for all parts, though they lie in both its arms."""
    ell = polygon_part("ell", regions()["ell"])
    new = NewPiece.of(replace(plate(ell.outer), thickness_mm=6.0, grade="S235JR"))
    lesser = rack.add([new], who="me")[0].id
    (sheet,) = put(rack, (2500, 1250))
    asked = ask(job(tmp_path, quantity=5))
    before = on_the_rack(asked, rack)
    assert [(a.piece.id, a.verdict) for a in before] == [(sheet, "yes"), (lesser, "perhaps")]
    best, _ = choose(asked, rack)
    assert best is not None and (best.piece.id, best.verdict, best.placed) == (lesser, "yes", 5)
    after = settled(asked, before, rack, seconds=20.0, most=1)
    assert [(a.piece.id, a.verdict) for a in after] == [(lesser, "yes"), (sheet, "yes")]
    assert after[0].reasons == ("a search laid all parts out on it",)


def test_a_job_takes_the_piece_it_names(rack: Rack, tmp_path: Path):
    (id,) = put(rack, (900, 900), place="B2", grain_deg=90.0)
    text = f'rack = "{id.lower()}"'
    found = job(tmp_path)
    path = found.base / "job.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('rack = "choose"', text), encoding="utf-8")
    order = resolve(read_job(path), from_rack=lambda j, s, q: plate_from_rack(rack, j, s, q))
    assert order.plate == rack.piece(id).plate
    rack.set_aside([id], "door", who="me")
    assert take(rack, read_job(path))[1] == (f"{id} is set aside for door, not for gate",)
    rack.give_back([id], who="me")
    rack.scrap([id], who="me")
    with pytest.raises(JobError, match=f"plate.rack: {id} is not there to be cut: scrapped"):
        take(rack, read_job(path))
    with pytest.raises(JobError, match="no rack is open here"):
        resolve(read_job(path))


@pytest.mark.parametrize(
    ("plate_", "told"),
    [
        ("thickness = 8", "plate.thickness: 8 mm, but the rack has A22R as 6 mm"),
        ('grade = "S355"', "plate.grade: S355, but the rack has A22R as S235JR"),
    ],
)
def test_a_job_that_says_otherwise_than_the_rack_is_refused(rack: Rack, tmp_path: Path, plate_: str, told: str):
    put(rack, (900, 900))
    path = job(tmp_path, plate=plate_).base / "job.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('"choose"', '"A22R"'), encoding="utf-8")
    with pytest.raises(JobError, match=told):
        take(rack, read_job(path))


def test_what_the_rack_says_a_job_does_not(tmp_path: Path):
    with pytest.raises(JobError, match="of a piece of the rack the rack says heat, place; take it out here"):
        job(tmp_path, plate='heat = "H1"\nplace = "B2"')
    with pytest.raises(JobError, match="say the shape once"):
        job(tmp_path, plate="width = 5\nheight = 5")


def test_a_piece_named_on_the_command_line_is_asked_for_what_the_job_says_of_its_plate(tmp_path: Path):
    job(tmp_path)
    path = tmp_path / "job.toml"
    text = path.read_text(encoding="utf-8").replace('rack = "choose"', 'width = 5\nheight = 5\nname = "old"')
    path.write_text(text, encoding="utf-8")
    entry = read_job(path, overrides={"plate": {"rack": "choose"}}).file.plate
    assert (entry.rack, entry.thickness, entry.name, entry.width) == ("choose", 6.0, None, None)


def test_pieces_that_hold_a_rectangle_or_a_part(rack: Rack, tmp_path: Path):
    ell = polygon_part("ell", regions()["ell"])  # 800 x 700, its arms 300 and 350 wide
    odd = rack.add([NewPiece.of(plate(ell.outer))], who="me")[0].id
    flat, unsure = put(rack, (1000, 250), (500, 500))
    pieces = rack.listed()
    assert [p.id for p, _ in holding_rectangle(rack, pieces, 250, 790)] == [odd, flat]
    assert [p.id for p, _ in holding_rectangle(rack, pieces, 300, 690)] == [odd]
    assert [p.id for p, _ in holding_rectangle(rack, pieces, 490, 490, margin_mm=5.0)] == [unsure]
    assert holding_rectangle(rack, pieces, 490, 490, margin_mm=6.0) == []
    unmeasured = holding_rectangle(rack, pieces, 250, 790, measure=0)
    assert [(p.id, f.verdict) for p, f in unmeasured] == [(odd, "perhaps"), (flat, "perhaps")]
    path = drawing(tmp_path / "foot.dxf", lambda space: square(space, 345.0))
    assert [(p.id, f.verdict) for p, f in holding_part(pieces, path)] == [(odd, "yes"), (unsure, "yes")]

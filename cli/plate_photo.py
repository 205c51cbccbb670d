"""A way in by picture: the photo, the marker sheets to print for it, and its lens measured once."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.codes import COULD_NOT, DONE
from cli.output import emit, json_option, say, show
from cli.plate_options import finish, length, with_known

if TYPE_CHECKING:
    from nesting.outline.pasted import Pasted
    from nesting.outline.photo.lens import Lens
    from nesting.outline.photo.marks import Ask
    from nesting.outline.photo.picture import Picture


@click.command("photo")
@click.argument("picture_file", metavar="PICTURE", type=click.Path(path_type=Path))
@click.option(
    "--sheet",
    type=click.Choice(("A4", "A3", "Letter"), case_sensitive=False),
    help="One blank white sheet gives the scale, instead of marker sheets.",
)
@click.option("--sheet-size", metavar="WxH", help="That sheet as measured, 209.8x297.2: sold sheets are not exact.")
@click.option("--ruler", metavar="LENGTH", help="What the ruler printed on the marker sheets (180 mm) measures.")
@click.option(
    "--known",
    multiple=True,
    metavar="PX,PY=X,Y",
    help="A point of the picture whose place is known, in pixels and mm; four or more stand in for sheets.",
)
@click.option(
    "--marks-on",
    type=click.Choice(("floor", "plate")),
    default="floor",
    show_default=True,
    help="Where sheets or points lie: on the floor beside the plate, or on its face.",
)
@click.option("--packing", metavar="LENGTH", default="0", help="Height of what the plate lies on, over the floor.")
@click.option("--lens", metavar="FILE.toml", type=click.Path(path_type=Path), help="Of 'oddplate plate lens'.")
@click.option("--inside", metavar="PX,PY", help="A point of the picture on the plate, if it is not in the middle.")
@click.option("--straight", metavar="LENGTH", default="1", show_default=True, help="An edge this straight is a line.")
@click.option("--taped", metavar="1,3=LENGTH", help="One distance between numbered corners, taped, to check the scale.")
@click.option(
    "--points", metavar="FILE", type=click.Path(path_type=Path), help="Take the outline by points in the picture."
)
@click.option("--drag", is_flag=True, help="Mend the outline in a window: drag its points over the picture.")
@click.option(
    "--points-out", metavar="FILE", type=click.Path(path_type=Path), help="Write what was found as such points."
)
@click.option(
    "--over",
    metavar="FILE.png",
    type=click.Path(path_type=Path),
    help="Outline over the picture; default beside --out.",
)
@with_known
@json_option
def photo(
    picture_file: Path,
    lens: Path | None,
    taped: str | None,
    points: Path | None,
    points_out: Path | None,
    drag: bool,
    over: Path | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Take the outline, holes and all, from one PICTURE of the plate.

    Marker sheets ('oddplate plate markers') lie flat round the plate, whole in the picture; or one blank sheet
    of paper, or four known points.  The plate lies in the middle, floor all round it, the camera held over it.

    \b
    Look at the outline over the picture (--over).  To mend it, --drag its points in a window; or, where
    there is no screen, write them with --points-out, change them, and give them with --points.
    """
    from nesting.outline.pasted import Pasted
    from nesting.outline.photo.corrected import by_points, points_text
    from nesting.outline.photo.lens import read_lens_file
    from nesting.outline.photo.over import refuse_over, write_over
    from nesting.outline.photo.photo import check_taped, from_photo
    from nesting.outline.photo.picture import read_picture
    from nesting.outline.photo.said import taped_of
    from nesting.outline.photo.written import refuse_taken, write_whole

    ask = _asked(given)
    out, force = given["out"], given["force"]
    over = over or (out.with_name(f"{out.stem}-over.png") if out else None)
    if over is not None:
        refuse_over(over, force=force)
    if points_out is not None:
        refuse_taken(points_out, force=force)
    seen_by = read_lens_file(lens) if lens else None
    picture = read_picture(picture_file)
    pasted = Pasted.read(points) if points else None
    if drag:
        pasted = _dragged(picture, ask, pasted, seen_by)
        if pasted is None:
            say("given up; nothing written")
            return COULD_NOT
    found = by_points(picture, ask, pasted, seen_by) if pasted else from_photo(picture, ask, seen_by)
    captured = check_taped(found.captured, *taped_of(taped)) if taped else found.captured
    given["photo"] = given["photo"] or picture_file.name
    code = finish(captured, given, as_json=as_json, source=picture_file)
    if over is not None:
        write_over(found, over, force=force)
        say(f"outline over the picture: {over}")
    if points_out is not None:
        write_whole(points_out, points_text(found).encode(), force=force)
    return code


def _dragged(picture: "Picture", ask: "Ask", points: "Pasted | None", lens: "Lens | None") -> "Pasted | None":
    """Points as mended in a window; they begin as given, as found, or as a box where nothing is found."""
    from nesting.errors import InputError
    from nesting.outline.pasted import Pasted
    from nesting.outline.photo.corrected import points_text
    from nesting.outline.photo.dragging import box_text
    from nesting.outline.photo.dragging import drag as in_window
    from nesting.outline.photo.marks import find_marks, lens_of
    from nesting.outline.photo.photo import from_photo

    if points is not None:
        begin = points.text
    else:
        find_marks(picture, ask, lens_of(picture, lens))
        try:
            begin = points_text(from_photo(picture, ask, lens))
        except InputError as refused:
            say(f"warning: {refused}; the window begins with a box")
            begin = box_text(picture)
    mended = in_window(picture, begin)
    return None if mended is None else Pasted(name="the window", text=mended)


def _asked(given: dict[str, Any]) -> "Ask":
    """Take the options that are of the picture alone out of those of the plate."""
    from nesting.lengths import parse_thickness
    from nesting.outline.photo.marks import Ask
    from nesting.outline.photo.said import known_of, pair_of, sheet_of

    sheet, size, ruler, inside = (given.pop(k) for k in ("sheet", "sheet_size", "ruler", "inside"))
    return Ask(
        sheet=sheet,
        sheet_mm=sheet_of(size) if size else None,
        ruler_mm=length(ruler) if ruler else None,
        points=tuple(known_of(text) for text in given.pop("known")),
        marks_on=given.pop("marks_on"),
        thickness_mm=parse_thickness(given["thickness"], "mm") if given["thickness"] else None,
        packing_mm=length(given.pop("packing")),
        middle=pair_of(inside, "--inside") if inside else None,
        tolerance_mm=length(given.pop("straight")),
    )


@click.command("markers")
@click.option("--out", required=True, metavar="FILE.pdf", type=click.Path(path_type=Path), help="PDF to write.")
@click.option("--paper", type=click.Choice(("A4", "Letter")), default="A4", show_default=True, help="Size of paper.")
@click.option("--sheets", type=click.IntRange(1, 10), default=8, show_default=True, help="How many, all different.")
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@json_option
def markers(out: Path, paper: str, sheets: int, force: bool, as_json: bool) -> int:
    """Write marker sheets to print, true to scale, for 'oddplate plate photo'.

    Print at 100 %, measure the ruler on them, and lay them flat round the plate.
    """
    from nesting.outline.photo.printed import write_marker_sheets

    write_marker_sheets(out, paper=paper, sheets=sheets, force=force)
    if as_json:
        emit({"schema": "oddplate-markers/1", "exit_code": DONE, "file": str(out), "sheets": sheets, "paper": paper})
        return DONE
    show(f"wrote {out}: {sheets} marker sheets for {paper}; print at 100 % and measure the ruler (180 mm)")
    return DONE


@click.command("lens")
@click.argument("pictures", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", required=True, metavar="FILE.toml", type=click.Path(path_type=Path), help="Lens file to write.")
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@json_option
def lens(pictures: tuple[Path, ...], out: Path, force: bool, as_json: bool) -> int:
    """Measure a lens once, from PICTURES of a marker sheet taken from all sides, for 'oddplate plate photo --lens'.

    Five pictures or more, leaning 30 degrees and more, the sheet in the middle and in the corners; zoom as
    it will be used.
    """
    from nesting.outline.photo.calibrate import calibrate
    from nesting.outline.photo.lens import write_lens_file

    found = calibrate(pictures)
    write_lens_file(found.lens, out, pictures=len(pictures), residual_px=found.residual_px, force=force)
    for text in found.warnings:
        say(f"warning: {text}")
    if as_json:
        emit({"schema": "oddplate-lens/1", "exit_code": DONE, "file": str(out), **found.document()})
    else:
        show(
            f"wrote {out}: {found.views} sheets in {len(pictures)} pictures, corners off by {found.residual_px:.2f} px"
        )
    return DONE

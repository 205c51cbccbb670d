"""Changes to a plate file: straighten, simplify, mirror, turn, grain, keep-outs."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from cli import options
from cli.output import json_option, say
from cli.plate_options import known_of, length, tell, with_known


@click.command("edit")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--mirror", is_flag=True, help="Mirror the plate: it was measured from the back.")
@click.option("--straighten", metavar="LENGTH", help="Make straight edges of corners that lie so near to a line.")
@click.option("--simplify", metavar="LENGTH", help="Fewer corners, no arcs, inside the old outline by so much at most.")
@click.option("--lay-along", is_flag=True, help="Turn it so that its longest straight edge lies along x.")
@click.option("--keep-out", "keep_outs", multiple=True, metavar='"X,Y X,Y ..."', help="Add a place no part may cover.")
@click.option("--clamp", "clamps", multiple=True, metavar='"X,Y X,Y ..."', help="Add a clamp: no part, lead or rapid.")
@click.option("--reason", metavar="TEXT", default="", help="Why a keep-out is added: rust, old pierce.")
@click.option("--uncertainty", metavar="LENGTH", help="Say anew how far the outline may be wrong.")
@with_known
@json_option
def edit(
    file: Path,
    mirror: bool,
    straighten: str | None,
    simplify: str | None,
    lay_along: bool,
    keep_outs: tuple[str, ...],
    clamps: tuple[str, ...],
    reason: str,
    uncertainty: str | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Change the plate in FILE.toml without measuring it again, and write it to --out.

    Changes are made in the order: mirror, straighten, simplify, lay along, then keep-outs, whose corners are those
    of the changed plate.  None makes the plate larger.
    """
    from nesting.files.plate_file import read_plate_file
    from nesting.outline import edits
    from nesting.steps.capture import with_known as laid_over

    kept = read_plate_file(file)
    plate, moved = kept.plate, mirror or lay_along
    if mirror:
        plate = edits.mirrored(plate)
    if straighten is not None:
        plate = edits.straightened(plate, length(straighten))
    if simplify is not None:
        plate = edits.simplified(plate, length(simplify))
    if lay_along:
        plate = edits.laid_along(plate)
    for text in keep_outs:
        plate = edits.with_keep_out(plate, _corners(text), "no part", reason)
    for text in clamps:
        plate = edits.with_keep_out(plate, _corners(text), "no part, lead or rapid", reason)
    known = known_of(given)
    plate = laid_over(plate, known)
    if uncertainty is not None:
        plate = replace(plate, uncertainty_mm=length(uncertainty))
    said = {k: v for k, v in (("who", known.who), ("when", known.when), ("photo", known.photo)) if v is not None}
    # Corners to set the plate up by lie elsewhere once it has been turned.
    capture = kept.capture.model_copy(update={**said, **({"set_up_by": (), "letters": ()} if moved else {})})
    if moved and kept.capture.set_up_by:
        say("note: the corners to lay the plate on the table by are no longer told; they are the same on the steel")
    return tell(replace(kept, plate=plate, capture=capture), None, given, as_json=as_json)


def _corners(text: str) -> list[tuple[float, float, float]]:
    from nesting.lengths import parse_length

    found = []
    for x, y, *bulge in options.corners(text, "--keep-out"):
        found.append((parse_length(x, "mm"), parse_length(y, "mm"), float(bulge[0]) if bulge else 0.0))
    return found

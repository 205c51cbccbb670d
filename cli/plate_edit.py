"""Changes to a plate file: straighten, simplify, mirror, turn, grain, holes, keep-outs."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from cli.options import is_plain
from cli.output import json_option, say
from cli.plate_options import known_of, length, tell, unit_of, with_known

if TYPE_CHECKING:
    from nesting.files.plate_file import StoredPlate
    from nesting.outline.added import Added, AddedKind
    from nesting.units import Unit

_PLACE: Final = '"X,Y X,Y ..."'


@click.command("edit")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--mirror", is_flag=True, help="Mirror the plate: it was measured from the back.")
@click.option("--straighten", metavar="LENGTH", help="Make straight edges of corners that lie so near to a line.")
@click.option("--simplify", metavar="LENGTH", help="Fewer corners, no arcs, inside the old outline by so much at most.")
@click.option("--lay-along", is_flag=True, help="Turn it so that its longest straight edge lies along x.")
@click.option("--hole", "holes", multiple=True, metavar=_PLACE, help="Add an old cut-out; a round one: circle,X,Y,D.")
@click.option("--keep-out", "keep_outs", multiple=True, metavar=_PLACE, help="Add a place no part may cover.")
@click.option("--clamp", "clamps", multiple=True, metavar=_PLACE, help="Add a clamp: no part, lead or rapid.")
@click.option(
    "--units",
    metavar="UNIT",
    help="Unit of plain numbers in --hole, --keep-out and --clamp, and of what is told: mm (default) or inch.",
)
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
    holes: tuple[str, ...],
    keep_outs: tuple[str, ...],
    clamps: tuple[str, ...],
    units: str | None,
    reason: str,
    uncertainty: str | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Change the plate in FILE.toml without measuring it again, and write it to --out.

    Changes are made in the order: mirror, straighten, simplify, lay along, then holes and keep-outs, whose
    corners are those of the changed plate.  None makes the plate larger.

    \b
    Example: an old cut-out of 160 mm and a patch of rust on a taped plate
      oddplate plate edit odd.toml --hole circle,340,490,160 --keep-out "0,0 80,0 80,60 0,60" --out odd2.toml
    """
    from nesting.files.plate_file import read_plate_file
    from nesting.outline import edits
    from nesting.outline.added import with_added
    from nesting.steps.capture import with_known as laid_over

    kept = read_plate_file(file)
    unit, added = _added(kept, units, {"hole": holes, "keep-out": keep_outs, "clamp": clamps})
    plate, moved = kept.plate, mirror or lay_along
    if mirror:
        plate = edits.mirrored(plate)
    if straighten is not None:
        plate = edits.straightened(plate, _own(straighten, "--straighten", unit))
    if simplify is not None:
        plate = edits.simplified(plate, _own(simplify, "--simplify", unit))
    if lay_along:
        plate = edits.laid_along(plate)
    known = known_of(given, unit)
    plate = laid_over(plate, known)
    if uncertainty is not None:
        plate = replace(plate, uncertainty_mm=_own(uncertainty, "--uncertainty", unit))
    if added:
        plate, warnings = with_added(plate, added, reason)
        for text in warnings:
            say(f"warning: {text}")
    said = {k: v for k, v in (("who", known.who), ("when", known.when), ("photo", known.photo)) if v is not None}
    # Corners to set the plate up by lie elsewhere once it has been turned.
    # The file that is written is in mm: the unit of one that was not is kept as that of the readings.
    measured = kept.capture.units or (kept.unit if kept.unit != "mm" else None)
    capture = kept.capture.model_copy(
        update={**said, "units": measured, **({"set_up_by": (), "letters": ()} if moved else {})}
    )
    if moved and kept.capture.set_up_by:
        say("note: the corners to lay the plate on the table by are no longer told; they are the same on the steel")
    return tell(replace(kept, plate=plate, capture=capture), None, given, as_json=as_json, unit=unit)


def _added(
    kept: "StoredPlate", units: str | None, written: "dict[AddedKind, tuple[str, ...]]"
) -> "tuple[Unit, list[Added]]":
    """Return the unit meant and what is to be added; refuse plain numbers where the unit may be another one."""
    from nesting.errors import InputError
    from nesting.outline.added import read_place

    measured = kept.capture.units or kept.unit
    unit = unit_of(units or "mm")
    texts = [(kind, text) for kind, several in written.items() for text in several]
    for kind, text in texts:
        if units is None and measured != "mm" and _has_plain(text):
            raise InputError(
                f'--{kind} "{text}": {kept.plate.name} was measured in {measured}, its file is in mm; '
                f"say --units {measured} or --units mm"
            )
    return unit, [read_place(kind, text, unit) for kind, text in texts]


def _has_plain(text: str) -> bool:
    return any(is_plain(number) for corner in text.replace(";", " ").split() for number in corner.split(",")[:2])


def _own(text: str, option: str, unit: "Unit") -> float:
    """Read a small length, which says its own unit where the plain numbers beside it are not in mm."""
    from nesting.errors import InputError

    if unit != "mm" and is_plain(text):
        raise InputError(f'{option} {text}: write the unit beside it, such as "{text} {unit}" or "{text} mm"')
    return length(text)

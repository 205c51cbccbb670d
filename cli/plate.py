"""`oddplate plate`: the outline of a plate, got in by whatever is at hand."""

import importlib
from typing import Final

import click

WAYS: Final = {
    "corners": ("cli.plate_measured", "Corners by x and y, typed or from a table; arcs, holes, keep-outs."),
    "tapes": ("cli.plate_tapes", "Any set of taped distances between lettered corners."),
    "walk": ("cli.plate_measured", "Lengths and turns from corner to corner, once round the edge."),
    "offsets": ("cli.plate_measured", "Stations along a chalk line and square offsets to the corners."),
    "readouts": ("cli.plate_measured", "Positions read off the machine at corners, on arcs, along edges."),
    "photo": ("cli.plate_photo", "One picture with marker sheets or a sheet of paper in it; holes found too."),
    "markers": ("cli.plate_photo", "Marker sheets to print for it, true to scale."),
    "lens": ("cli.plate_photo", "The camera's lens, measured once for it."),
    "drawing": ("cli.plate_drawn", "A drawn outline, or the drawing of a sheet and what was cut from it."),
    "leftover": ("cli.plate_drawn", "What remains when a layout is cut; several pieces, several plates."),
    "edit": ("cli.plate_edit", "Straighten, simplify, mirror, turn; set grain; add holes, keep-outs."),
}


class Ways(click.Group):
    """Imports a way in only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Names in the order of use."""
        return list(WAYS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import the module of a way in."""
        if cmd_name not in WAYS:
            return None
        found: click.Command = getattr(importlib.import_module(WAYS[cmd_name][0]), cmd_name)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the ways without importing them."""
        with formatter.section("Ways in"):
            formatter.write_dl([(name, told) for name, (_, told) in WAYS.items()])


@click.group("plate", cls=Ways, context_settings={"help_option_names": ["-h", "--help"]})
def command() -> None:
    """Get the outline of a plate in, and write it as a plate file for 'oddplate nest --plate FILE.toml'.

    Every way tells how far the outline may be wrong: one figure, a 95 % bound, that is added to the
    edge margin when parts are laid out.  Nothing is written without --out.

    \b
    Examples:
      oddplate plate tapes readings.csv --out leftover.toml
      oddplate plate corners --typed "0,0; 1200,0; 1180,640; 0,700" --out leftover.toml
      oddplate plate leftover demo-layout/layout.json --out rest.toml
    """

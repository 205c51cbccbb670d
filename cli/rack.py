"""`oddplate rack`: the leftovers that are kept, taken, cut and put back."""

import importlib
from typing import Final

import click

from cli.rack_options import DEFAULT_RACK

ACTS: Final = {
    "add": ("cli.rack_add", "add", "Put plates on the rack: plate files, drawings, plain sizes."),
    "list": ("cli.rack_list", "list_", "What is there: by grade, thickness, place, age, by what fits."),
    "will-it-fit": ("cli.rack_fit", "will_it_fit", "Which pieces serve a whole job: yes, no or perhaps, and why."),
    "show": ("cli.rack_show", "show", "All that is known of one piece, with its picture."),
    "edit": ("cli.rack_add", "edit", "Put right what is known of a piece: grade, heat, place, value."),
    "take": ("cli.rack_acts", "take", "Set pieces aside for a job."),
    "give-back": ("cli.rack_acts", "give_back", "Put what was set aside back on the rack."),
    "cut": ("cli.rack_cut", "cut", "Record what was really cut; what is left comes back as new pieces."),
    "scrap": ("cli.rack_acts", "scrap", "Take pieces out as scrap."),
    "undo": ("cli.rack_acts", "undo", "Take back the last act on a piece."),
    "history": ("cli.rack_show", "history", "Who did what when, to a piece or to all."),
    "stocktake": (
        "cli.rack_books",
        "stocktake",
        "Tick off what is there; tells what is missing and what is not known.",
    ),
    "labels": ("cli.rack_books", "labels", "Labels to print, with a QR code of the id."),
    "export": ("cli.rack_books", "export", "The whole rack as JSON, or its pieces as a table (CSV)."),
    "import": ("cli.rack_books", "import_", "What was exported, or a table of your own."),
    "totals": ("cli.rack_list", "totals", "Pieces, mass and value by grade and thickness."),
}


class Acts(click.Group):
    """Imports an act only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Names in the order of use."""
        return list(ACTS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import the module of an act."""
        if cmd_name not in ACTS:
            return None
        module, name, _ = ACTS[cmd_name]
        found: click.Command = getattr(importlib.import_module(module), name)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the acts without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, told) for name, (_, _, told) in ACTS.items()])


HELP: Final = f"""The leftovers that are kept: what is there, what fits, who took what, what came back.

Where the rack is: --rack FILE or URL; else the environment variable ODDPLATE_RACK; else the key `rack` of the shop
file (--shop, else ODDPLATE_SHOP, else shop.toml in the folder one stands in); else {DEFAULT_RACK}.
A file is an SQLite database for programs on one machine; postgresql://user@server/name serves several.
'add' and 'import' make a rack where there is none.

Every act is written down and can be undone; ids are short, to be chalked on the piece, and never used again.

\b
Examples:
  oddplate rack add leftover.toml --place "B2" --grade S235JR
  oddplate rack add 1250x2500 --thickness 6 --count 3
  oddplate rack list --thickness 6 --fits 400x300
  oddplate rack will-it-fit job.toml --try 10
  oddplate rack cut job-layout --failed P3 --not-reached P5
  oddplate rack undo A24K
"""


@click.group("rack", cls=Acts, help=HELP, context_settings={"help_option_names": ["-h", "--help"]})
def command() -> None:
    """The leftovers that are kept."""

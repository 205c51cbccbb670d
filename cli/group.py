"""The commands of `oddplate`: their names, what each is for, and where its module is."""

import importlib
from typing import Final

import click

COMMANDS: Final = {
    "nest": "Lay parts out on a plate, check the result, write drawing and yield report.",
    "settle": "The plate lies crooked on the table: bring its layout there, by readouts of its corners.",
    "rack": "Keep leftovers: what is there, what fits, who took what, what came back.",
    "batch": "Plan an order: which part is cut from which piece, what to buy, what will be left.",
    "plate": "Get the outline of a plate in: tapes, corners, torch readouts, a drawing, a layout's leftover.",
    "check": "Tell whether a written layout or drawing keeps every clearance.",
    "sheet": "Print the cut sheet and part labels of a layout again: other paper, other unit, rack names.",
    "yield": "Tell where the plate went: of layouts, a batch, a month; mass, time, cost, what leftovers saved.",
    "parts": "List what is in drawings: parts, sizes, holes, mass, and every trouble found.",
    "shop": "Write a first shop file: prices, keep sizes, measured kerf, cut chart.",
    "demo": "Copy the demo job somewhere and run it.",
}

MODULES: Final = {"yield": "yields"}
"""Where a command's name is a word of the language, and no name for a module."""

EPILOG: Final = """\
\b
Exit codes:
  0    done
  1    could not be done (a file cannot be written, no room inside the margin)
  2    wrong usage, or a file or value that cannot be used as it stands
  3    done, but some parts wanted found no place
  4    the check failed, or a reading is likely wrong; nothing was written
  130  interrupted; the best checked layout so far is written if there is one

Every command takes --json: one JSON document on stdout, all else on stderr.
"""


class LazyGroup(click.Group):
    """Imports a command only when it is called, so that help is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Names in the order of use."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import the module of a command."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"cli.{MODULES.get(cmd_name, cmd_name)}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=LazyGroup, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="oddplate", message="oddplate %(version)s")
def oddplate() -> None:
    """Lay flat parts out on odd-shaped leftover plate.

    Reads parts drawn as DXF or SVG and a plate of any outline, lays out, checks every clearance on the
    written drawing, and reports the yield.  Lengths without a unit are millimetres on the command line.
    """

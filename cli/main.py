"""The command `oddplate`: finds the commands and turns errors into exit codes, here and nowhere else."""

import importlib
import sys
from collections.abc import Sequence
from typing import Final

import click

from cli.codes import BAD_INPUT, CHECK_FAILED, COULD_NOT, DONE, INTERRUPTED
from cli.output import emit, say
from nesting.errors import CheckFailed, InputError, NestingError

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


def run() -> None:
    """Entry of the console script."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a terminal that lacks a letter must not stop the work
    sys.exit(main(sys.argv[1:]))


def main(args: Sequence[str]) -> int:
    """Run the command line and return its exit code."""
    as_json = "--json" in args
    try:
        code = oddplate.main(list(args), prog_name="oddplate", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        say(error.format_message())
        return BAD_INPUT
    except click.UsageError as error:
        hint = f" (see '{error.ctx.command_path} --help')" if error.ctx else ""
        return _fail(BAD_INPUT, error.format_message() + hint, as_json)
    except click.ClickException as error:
        return _fail(BAD_INPUT, error.format_message(), as_json)
    except (click.Abort, KeyboardInterrupt):
        return _fail(INTERRUPTED, "interrupted; nothing was written", as_json)
    except CheckFailed as error:
        return _fail(CHECK_FAILED, str(error), as_json)
    except InputError as error:
        return _fail(BAD_INPUT, str(error), as_json)
    except NestingError as error:
        return _fail(COULD_NOT, str(error), as_json)
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        return _fail(COULD_NOT, f"{where}{error.strerror or error}", as_json)
    return code if isinstance(code, int) else DONE


def _fail(code: int, message: str, as_json: bool) -> int:
    for line in message.splitlines():
        say(f"oddplate: {line}")
    if as_json:
        emit({"schema": "oddplate-error/1", "exit_code": code, "errors": message.splitlines()})
    return code

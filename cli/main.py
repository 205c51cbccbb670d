"""The command `oddplate`: turns errors into exit codes, here and nowhere else.

Its top imports next to nothing, so that Ctrl-C finds it ready while the libraries load.
"""

import _thread
import signal
import sys
import time
from types import FrameType


def run() -> None:
    """Entry of the console script."""
    code = 130
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # what runs in the background ignores it
        signal.signal(signal.SIGINT, _pressed)
    try:
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="backslashreplace")  # a terminal that lacks a letter must not stop the work
        code = main(sys.argv[1:])
    except KeyboardInterrupt:
        pass  # pressed once more while the first was told
    # All is told: a press while the interpreter ends must not change how it ends.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.exit(code)


def _pressed(_signum: int, frame: FrameType | None) -> None:
    """Raise `KeyboardInterrupt`, but not while a library loads.

    Those in C take it for a failure to load, and print it: the press comes again until they are done.
    """
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            _thread.start_new_thread(_press_again, ())
            return
        frame = frame.f_back
    raise KeyboardInterrupt


def _press_again() -> None:
    time.sleep(0.001)
    _thread.interrupt_main()


def main(args: list[str]) -> int:
    """Run the command line and return its exit code."""
    as_json = "--json" in args
    try:
        return _called(args, as_json)
    except KeyboardInterrupt:
        return _interrupted(as_json)


def _called(args: list[str], as_json: bool) -> int:
    import click

    from cli.codes import BAD_INPUT, CHECK_FAILED, COULD_NOT, DONE
    from cli.group import oddplate
    from cli.output import say
    from nesting.errors import CheckFailed, InputError, NestingError

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
    except click.Abort:
        return _interrupted(as_json)
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


def _interrupted(as_json: bool) -> int:
    # The word on it may need a library that was cut off while it loaded; a second press must not cut that off too.
    former = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        from cli.codes import INTERRUPTED

        return _fail(INTERRUPTED, "interrupted; nothing was written", as_json)
    finally:
        signal.signal(signal.SIGINT, signal.SIG_DFL if former is None else former)


def _fail(code: int, message: str, as_json: bool) -> int:
    from cli.output import emit, say

    for line in message.splitlines():
        say(f"oddplate: {line}")
    if as_json:
        emit({"schema": "oddplate-error/1", "exit_code": code, "errors": message.splitlines()})
    return code

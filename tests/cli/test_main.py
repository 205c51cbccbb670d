"""Errors become exit codes in one place; stdout carries results only; help is quick."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import cli.group
from cli.group import COMMANDS
from cli.main import main
from nesting.errors import CheckFailed, InfeasibleError, JobError

HEAVY = ("numba", "matplotlib", "ortools", "ezdxf", "shapely", "numpy", "pydantic", "rich", "jinja2", "sqlalchemy")


@pytest.mark.parametrize("args", [["--help"], *([name, "--help"] for name in COMMANDS), ["--version"]])
def test_help_loads_nothing_heavy(args: list[str]):
    code = (
        "import sys; from cli.main import main; "
        f"code = main({args!r}); "
        f"loaded = [m for m in {HEAVY!r} if m in sys.modules]; "
        "sys.stderr.write(repr(loaded)); sys.exit(code)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "[]")
    assert done.stdout


def test_help_lists_every_command_with_its_exit_codes(capsys: pytest.CaptureFixture[str]):
    assert main(["--help"]) == 0
    shown = capsys.readouterr().out
    assert all(f"  {name}" in shown for name in COMMANDS)
    assert all(code in shown for code in ("0 ", "1 ", "2 ", "3 ", "4 ", "130 "))


def commands(group: click.Group) -> Iterator[click.Command]:
    """Every command that does something, those of groups too."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from commands(command)
        else:
            yield command


def test_every_command_takes_json():
    found = list(commands(cli.group.oddplate))
    assert len(found) > len(COMMANDS)
    assert all("--json" in {option for p in command.params for option in p.opts} for command in found)


def test_the_console_script_is_there():
    done = subprocess.run(
        [sys.executable, "-c", "from cli.main import run; run()"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert done.stderr.startswith("Usage: oddplate")
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (JobError("job.toml, line 3: plate.widht: unknown key\njob.toml, line 9: bad"), 2),
        (InfeasibleError("ring.dxf does not fit"), 1),
        (CheckFailed("part 1 and part 2 are 3.0 mm apart"), 4),
        (OSError(28, "No space left on device", "out/layout.dxf"), 1),
        (KeyboardInterrupt(), 130),
        (click.UsageError("no such thing"), 2),
    ],
)
def test_errors_become_exit_codes(
    error: BaseException,
    code: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
):
    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(cli.group.oddplate, "main", fail)
    assert main(["nest", "--json"]) == code
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert (document["schema"], document["exit_code"]) == ("oddplate-error/1", code)
    assert err.splitlines() == [f"oddplate: {line}" for line in document["errors"]]
    assert "Traceback" not in err
    assert main(["nest"]) == code
    assert capsys.readouterr().out == ""


def test_a_bug_is_not_dressed_up_as_the_users_fault(monkeypatch: pytest.MonkeyPatch):
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("a bug")

    monkeypatch.setattr(cli.group.oddplate, "main", fail)
    with pytest.raises(RuntimeError, match="a bug"):
        main(["nest"])


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["nest"], "give a job file, or a plate (--plate, --corners, --from-rack) and at least one --part"),
        (["nest", "--foo"], "No such option"),
        (["fly"], "No such command 'fly'"),
        (["nest", "nowhere/job.toml"], "no such job file"),
        (["nest", "--plate", "9x9", "--part", "nix.dxf", "--units", "smoots"], "unit 'smoots' is not known"),
        (["nest", "--plate", "9x9", "--part", "nix.dxf:0"], "part.1.quantity: expected a whole number"),
        (["check", "nix.json"], "nix.json"),
        (["check", "nix.dxf"], "nix.dxf: no such file"),
        (["check", __file__], "no layout.json beside it"),
        (["check", "nix.json", "--gap", "3"], "a layout file holds its own clearances"),
        (["parts", "nix.dxf", "--thickness", "16 ga"], "which metal"),
    ],
)
def test_wrong_usage_is_told_on_stderr(
    args: list[str],
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
):
    monkeypatch.chdir(tmp_path)
    assert main(args) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert told in err
    assert all(line.startswith("oddplate: ") for line in err.splitlines())
    assert main([*args, "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["exit_code"] == 2


SLOW = """
import os, signal, time
try:
    os.kill(os.getpid(), signal.SIGINT)
    time.sleep(0.1)
except KeyboardInterrupt:
    raise ImportError("failed to import") from None  # as libraries in C do
"""
PRESSED = """
import os, signal, sys, threading, time
import cli.group
from cli.main import run

class Command:
    def main(self, *args, **kwargs):
        import slow_to_load
        time.sleep(10)

def press():
    while True:
        time.sleep(0.01)
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            continue  # not started yet
        os.kill(os.getpid(), signal.SIGINT)

cli.group.oddplate = Command()
if "again" in sys.argv:
    import atexit
    atexit.register(time.sleep, 0.3)
    threading.Thread(target=press, daemon=True).start()
run()
"""


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT for one process")
@pytest.mark.parametrize("args", [["--json"], ["--json", "again"]])
def test_ctrl_c_while_libraries_load_and_over_and_over_ends_plainly(args: list[str], tmp_path: Path):
    (tmp_path / "slow_to_load.py").write_text(SLOW, encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])}
    done = subprocess.run(
        [sys.executable, "-c", PRESSED, *args], capture_output=True, text=True, check=False, env=environment, timeout=60
    )
    assert (done.returncode, done.stderr) == (130, "oddplate: interrupted; nothing was written\n")
    assert json.loads(done.stdout)["exit_code"] == 130


def test_the_entry_loads_next_to_nothing_before_it_takes_ctrl_c():
    code = "import sys; before = set(sys.modules); import cli.main; print(sorted(set(sys.modules) - before))"
    done = subprocess.run([sys.executable, "-S", "-c", code], capture_output=True, text=True, check=True)
    assert "click" not in done.stdout and "typing" not in done.stdout and "pathlib" not in done.stdout

"""What README says is true: its Python example runs, its options exist, its exit codes are the code's."""

import re
import shutil
from pathlib import Path

import click
import pytest

import cli.codes
from cli.group import COMMANDS, oddplate
from nesting.drawing import layers
from nesting.files.release import FILES

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


def test_the_python_example_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    (example,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    shutil.copy(ROOT / "data" / "demo" / "bracket.dxf", tmp_path)
    monkeypatch.chdir(tmp_path)
    exec(compile(example, "README.md", "exec"), {})
    assert re.fullmatch(r"4 parts, closest \d+\.\d mm apart\n", capsys.readouterr().out)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda d: d.name)
def test_commands_and_options_exist(document: Path):
    text = document.read_text(encoding="utf-8").replace("\\\n", " ")
    lines = re.findall(r"(?:\$ |^|`|&& |bin/)oddplate (\w+)((?: [^`\n]*)?)", text, re.MULTILINE)
    context = click.Context(oddplate)
    for name, rest in lines:
        assert name in COMMANDS, f"{document.name}: oddplate {name}"
        command = oddplate.get_command(context, name)
        if isinstance(command, click.Group) and rest.split():
            command = command.get_command(context, rest.split()[0])
        assert command is not None, f"{document.name}: oddplate {name}{rest}"
        known = {option for parameter in command.params for option in parameter.opts} | {"--help"}
        unknown = set(re.findall(r"(?<!\S)--[a-z][a-z-]*", rest)) - known
        assert not unknown, f"{document.name}: oddplate {name} knows no {unknown}"


def test_every_command_is_told():
    assert all(f"`oddplate {name}`" in README for name in COMMANDS)


def test_exit_codes_files_and_layers_are_told():
    codes = [v for name, v in vars(cli.codes).items() if name.isupper()]
    assert all(f"| {code} |" in README for code in codes)
    assert all(f"`{name}`" in README for name in (*FILES, *layers.COLOURS))


def test_links_lead_somewhere():
    for document in DOCUMENTS:
        for target in re.findall(r"\]\(([^)#]+)[^)]*\)", document.read_text(encoding="utf-8")):
            if "://" not in target:
                assert (document.parent / target).exists(), f"{document.name}: {target}"


@pytest.mark.parametrize("name", ["setup", "tests"])
def test_the_two_commands_are_one_line_each(name: str):
    """`.ci/run` takes them from here, so that they are tried as written."""
    (block,) = re.findall(rf"<!-- ci: {name} -->\n```\n(.*?)```", README, re.DOTALL)
    assert block.count("\n") == 1
    assert block.startswith(("python3 -m venv .venv && ", ".venv/bin/pytest"))

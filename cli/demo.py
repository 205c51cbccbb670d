"""`oddplate demo`: the demo job, copied and run."""

import shutil
from pathlib import Path

import click

from cli.codes import DONE
from cli.nest import run_order
from cli.output import emit, json_option, say
from cli.questions import questions
from nesting.errors import InputError, NestingError

DEMO_SECONDS = 10.0


@click.command("demo")
@click.argument("folder", default="oddplate-demo", type=click.Path(path_type=Path))
@click.option(
    "--seconds", type=float, metavar="S", default=DEMO_SECONDS, show_default=True, help="Time for the search."
)
@click.option("--copy-only", is_flag=True, help="Copy the job without running it.")
@click.option("--force", is_flag=True, help="Write over the demo's own files in FOLDER.")
@json_option
def command(folder: Path, seconds: float, copy_only: bool, force: bool, as_json: bool) -> int:
    """Copy the demo job to FOLDER (oddplate-demo) and run it.

    An invented shop, an order of 22 parts of seven kinds, and a leftover of 6 mm plate.  Change the files and run
    'oddplate nest FOLDER/job.toml --force'.
    """
    from nesting.files.job import read_job
    from nesting.steps.order import resolve

    _copy(_source(), folder, force=force)
    say(f"demo job copied to {folder}")
    if copy_only:
        if as_json:
            emit({"schema": "oddplate-demo/1", "folder": str(folder)})
        return DONE
    job = read_job(folder / "job.toml", overrides={"search": {"seconds": seconds}})
    order = resolve(job, questions=questions(as_json=as_json, accept_unknown_grade=False))
    return run_order(order, force=force, as_json=as_json)


def _source() -> Path:
    """Return the demo's folder: packed beside this module, or in the data folder of a checkout."""
    here = Path(__file__).resolve().parent
    for place in (here / "demo-job", here.parent / "data" / "demo"):
        if (place / "job.toml").is_file():
            return place
    raise NestingError("the demo job is missing from this installation; install oddplate again")


def _copy(source: Path, folder: Path, *, force: bool) -> None:
    """Copy the demo's files; refuse before the first one if any is there already."""
    names = sorted(p.name for p in source.iterdir() if p.suffix in (".toml", ".dxf"))
    taken = [name for name in names if (folder / name).exists()]
    if taken and not force:
        raise InputError(f"{folder / taken[0]}: exists already; choose another folder or use --force")
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        shutil.copyfile(source / name, folder / name)

"""`oddplate rack will-it-fit`: before anyone carries steel."""

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.codes import COULD_NOT, DONE, INTERRUPTED
from cli.interrupt import stop_on_interrupt
from cli.output import emit, json_option, say, show
from cli.questions import questions
from cli.rack_options import SCHEMA, opened, shop_of, size, thick, with_where

if TYPE_CHECKING:
    from nesting.shop import Shop
    from nesting.steps.rack_fit import Answer


@click.command("will-it-fit")
@click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path))
@click.option("--try", "seconds", type=click.FloatRange(0.1, 3600), metavar="S", help="Search so long for a perhaps.")
@click.option("--most", type=click.IntRange(1), default=3, show_default=True, help="Of how many at most.")
@click.option("--threads", type=click.IntRange(1, 256), default=2, show_default=True, help="Threads of the search.")
@click.option("--accept-unknown-grade", is_flag=True, help="Take plate of unknown grade for parts that ask for one.")
@click.option("--all", "everything", is_flag=True, help="List the pieces that do not serve, too, with why.")
@with_where
@json_option
def will_it_fit(
    job_file: Path,
    seconds: float | None,
    most: int,
    threads: int,
    accept_unknown_grade: bool,
    everything: bool,
    where: str | None,
    shop: Path | None,
    as_json: bool,
) -> int:
    """Rank the rack for a whole job: which pieces take all its parts, with their clearances?

    Yes and no are proofs, from a few stored sizes of each piece; perhaps is settled by a short search with --try.
    First comes the least useful piece that serves, then the oldest, so that no large good piece goes for a small part.
    The job's own plate is not looked at, but for the thickness and grade it says; [plate] rack = "choose" will do.
    A piece of unknown grade serves no part that asks for one, unless --accept-unknown-grade.

    Exit code 0 if a piece serves or may serve, 1 if none does, 2 for a job that does not say what is needed to tell.
    """
    from nesting.files.job import read_job
    from nesting.steps.rack_fit import ask, on_the_rack, settled

    options.finite(seconds, "--try")
    job = read_job(job_file)
    own = None if shop is None else shop_of(shop)
    people = questions(as_json=as_json, accept_unknown_grade=accept_unknown_grade)
    asked = ask(job, shop=own, questions=people, accept_unknown_grade=accept_unknown_grade)
    if asked.apart:
        say(f"warning: {asked.apart}")
    with opened(where, asked.shop) as rack:
        answers = on_the_rack(asked, rack, everything=everything)
        there = rack.count()
        stopped = False
        if seconds is not None:
            with stop_on_interrupt() as should_stop:
                answers = settled(
                    asked, answers, rack, seconds=seconds, most=most, threads=threads, should_stop=should_stop
                )
                stopped = should_stop()
    serving = [a for a in answers if a.verdict != "no"]
    code = INTERRUPTED if stopped else DONE if serving else COULD_NOT
    shown = answers if everything else serving
    if as_json:
        emit(_document(answers, there, asked.shop, code))
    else:
        _tell(answers, shown, there, asked.shop)
    return code


def _document(answers: "list[Answer]", there: int, shop: "Shop", code: int) -> dict[str, Any]:
    from nesting.rack.told import piece_json

    return {
        "schema": SCHEMA,
        "exit_code": code,
        "pieces_there": there,
        "answers": [
            {
                "piece": piece_json(a.piece, shop),
                "fits": a.verdict,
                "reasons": list(a.reasons),
                "warnings": list(a.warnings),
                "thickness_to_measure": a.to_measure,
                "share_of_plate": None if a.share is None else round(a.share, 4),
                "placed": a.placed,
                "wanted": a.wanted,
            }
            for a in answers
        ],
    }


def _tell(answers: "list[Answer]", shown: "list[Answer]", there: int, shop: "Shop") -> None:
    for answer in shown:
        show(_line(answer, shop))
        for reason in answer.reasons:
            show(f"         {reason}")
        for warning in answer.warnings:
            show(f"         WARNING: {warning}")
    count = Counter(a.verdict for a in answers)
    more = "; --all tells why the others do not" if len(shown) < len(answers) else ""
    pieces, serve = "piece" if there == 1 else "pieces", "serves" if count["yes"] == 1 else "serve"
    say(f"of {there} {pieces} {count['yes']} {serve}, {count['perhaps']} may{more}")


def _line(answer: "Answer", shop: "Shop") -> str:
    facts = answer.piece.facts
    words = [
        f"{thick(facts.thickness_mm, shop)}, {facts.grade or 'grade unknown'}, {size(answer.piece, shop)}",
        f"{answer.share:.0%} used" if answer.share is not None else "",
        f"at {facts.place}" if facts.place else "",
        f"since {answer.piece.added.isoformat()}",
    ]
    return f"{answer.verdict:<7}  {answer.piece.id}  {', '.join(w for w in words if w)}"

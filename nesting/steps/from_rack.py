"""The plate of a job that takes it from the rack: the piece it names, or the one that serves best."""

from nesting.errors import InfeasibleError, JobError
from nesting.files.job import Job
from nesting.plate import Plate
from nesting.rack.piece import THERE, RackPiece
from nesting.rack.store import Rack
from nesting.shop import Shop
from nesting.steps.order import SAME_THICKNESS_MM, Questions, same_grade
from nesting.steps.rack_fit import Answer, ask, choose

CHOOSE = "choose"
_LARGE_SHARE = 0.1
_MOST_TOLD = 5


def plate_from_rack(
    rack: Rack, job: Job, shop: Shop, questions: Questions, *, accept_unknown_grade: bool = False
) -> tuple[Plate, tuple[str, ...]]:
    """Return the plate that a job takes from the rack, and what to say of it.

    Raises `JobError` where the piece named is not there, or is another thickness or grade than the job's plate says,
    `InfeasibleError` where the best is to be chosen and none serves.
    """
    said = job.file.plate.rack
    assert said is not None  # the caller has looked
    if said == CHOOSE:
        return _chosen(rack, job, shop, questions, accept_unknown_grade)
    piece = rack.piece(said)
    if piece.state not in THERE:
        raise JobError(f"plate.rack: {piece.id} is not there to be cut: {piece.state}; name another, or {CHOOSE!r}")
    _refuse_other(job, piece)
    notes = []
    if piece.set_aside_for not in (None, job.name):
        notes.append(f"{piece.id} is set aside for {piece.set_aside_for}, not for {job.name}")
    return piece.plate, tuple(notes)


def _refuse_other(job: Job, piece: RackPiece) -> None:
    entry, facts = job.file.plate, piece.facts
    if entry.thickness and facts.thickness_mm and abs(entry.thickness - facts.thickness_mm) > SAME_THICKNESS_MM:
        raise JobError(
            f"plate.thickness: {entry.thickness:g} mm, but the rack has {piece.id} as {facts.thickness_mm:g} mm; take "
            "it out here, or put it right in the rack"
        )
    if entry.grade and facts.grade and not same_grade(entry.grade, facts.grade):
        raise JobError(
            f"plate.grade: {entry.grade}, but the rack has {piece.id} as {facts.grade}; take it out here, or put it "
            "right in the rack"
        )


def _chosen(
    rack: Rack, job: Job, shop: Shop, questions: Questions, accept_unknown_grade: bool
) -> tuple[Plate, tuple[str, ...]]:
    asked = ask(job, shop=shop, questions=questions, accept_unknown_grade=accept_unknown_grade)
    best, answers = choose(asked, rack)
    if best is None:
        raise InfeasibleError(f"no piece of the rack serves {job.name}{_why_none(answers)}")
    told = "serves" if best.verdict == "yes" else "may serve"
    notes = [f"piece {best.piece.id} was chosen from the rack, it {told}: {best.reasons[0]}", *best.warnings]
    if best.share is not None and best.share < _LARGE_SHARE:
        notes.append(f"the parts take only {best.share:.0%} of {best.piece.id}, and no lesser piece serves")
    return rack.piece(best.piece.id).plate, tuple(notes)


def _why_none(answers: list[Answer]) -> str:
    if not answers:
        return ": nothing is on it"
    told = [f"{a.piece.id}: {'; '.join((*a.reasons, *a.warnings))}" for a in answers[:_MOST_TOLD]]
    more = len(answers) - len(told)
    return ":\n" + "\n".join([*told, *([f"and {more} more"] if more else [])])

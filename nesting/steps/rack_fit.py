"""Which pieces of the rack serve a job: yes, no or perhaps with why, ranked; the perhaps settled by a short search."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.errors import InfeasibleError, InputError, JobError
from nesting.files.job import Job
from nesting.geometry.contour import Contour
from nesting.plate import Plate
from nesting.rack.look import Filter
from nesting.rack.piece import Listed
from nesting.rack.rows import plain_grade
from nesting.rack.store import Rack
from nesting.shop import Shop
from nesting.steps.order import SAME_THICKNESS_MM, Questions, clearances_on, same_grade, shop_of, wanted_parts
from nesting.steps.part_sizes import PartSizes, sizes_of
from nesting.steps.will_fit import Fit, Room, Verdict, fit
from nesting.tables.limits import mill_range_mm

_STEP: Final = math.log(1.25)
"""Pieces whose rectangles inside differ by less than about a quarter are equally useful."""
_TIGHT: Final = 0.75
"""Beyond this share of the usable area a search will seldom place all parts (common practice, no source)."""
_CHOOSING_S: Final = 10.0
_ORDER: Final[dict[Verdict, int]] = {"yes": 0, "perhaps": 1, "no": 2}


@dataclass(frozen=True, kw_only=True)
class Answer:
    """Whether a piece serves a job and why; `warnings` are said wherever it is used.

    `share` is how much of the usable area the parts take; None where the piece was refused before that was looked at.
    `to_measure`: its thickness is not the one asked for, but one that a mill may deliver for it; such a piece is a
    perhaps at best.
    `placed` of `wanted` is what a search found, None where none ran.
    """

    piece: Listed
    verdict: Verdict
    reasons: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    share: float | None = None
    to_measure: bool = False
    placed: int | None = None
    wanted: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Thickness:
    """A thickness asked for, what a caliper may find for it, and who asks."""

    asked_mm: float
    range_mm: tuple[float, float]
    who: str


@dataclass(frozen=True)
class Asked:
    """What a job asks of a piece: its parts, and what is said of thickness and grade for each or for all."""

    job: Job
    shop: Shop
    demands: tuple[Demand, ...]
    accept_unknown_grade: bool = False

    @cached_property
    def parts(self) -> tuple[PartSizes, ...]:
        """Sizes of the parts."""
        return sizes_of(self.demands)

    @cached_property
    def thicknesses(self) -> dict[str, float]:
        """The thickness that each part asks for, by name; the job's plate speaks for parts that say none."""
        general = self.job.file.plate.thickness
        said = {d.part.name: d.part.thickness_mm or general for d in self.demands}
        return {name: value for name, value in said.items() if value is not None}

    @cached_property
    def grades(self) -> dict[str, str]:
        """The grade that each part asks for, likewise."""
        general = self.job.file.plate.grade
        said = {d.part.name: d.part.grade or general for d in self.demands}
        return {name: value for name, value in said.items() if value is not None}

    @cached_property
    def _known(self) -> dict[tuple[float | None, str | None], Clearances | str]:
        return {}

    @property
    def apart(self) -> str:
        """Say so where the parts ask for what no one piece can be; else an empty text."""
        thicknesses = [f"{mm:g} mm" for mm in sorted(set(self.thicknesses.values()))]
        grades = sorted({plain_grade(grade): grade for grade in self.grades.values()}.values())
        several = thicknesses if len(thicknesses) > 1 else grades if len(grades) > 1 else []
        if not several:
            return ""
        return f"the parts ask for {' and '.join(several)}, which no one piece is: make a job of each"

    @property
    def filter(self) -> Filter:
        """The pieces that may serve by thickness and grade, where all parts ask for the same."""
        thicknesses, grades = set(self.thicknesses.values()), set(self.grades.values())
        return Filter(
            thickness_mm=thicknesses.pop() if len(thicknesses) == 1 else None,
            grade=grades.pop() if len(grades) == 1 else None,
            unknown_grade=self.accept_unknown_grade,
        )

    @cached_property
    def kinds(self) -> "tuple[tuple[_Thickness, ...], tuple[tuple[str, str], ...]]":
        """Thicknesses and grades asked for, each with who asks."""
        thick = tuple(
            _Thickness(asked_mm=mm, range_mm=mill_range_mm(mm), who=_names(self.thicknesses, mm))
            for mm in sorted(set(self.thicknesses.values()))
        )
        return thick, tuple((grade, _names(self.grades, grade)) for grade in sorted(set(self.grades.values())))

    def clearances(self, piece: Listed) -> Clearances | str:
        """Return the clearances on a piece, or why they are not known."""
        key = (piece.facts.thickness_mm, piece.facts.grade)
        if key not in self._known:
            plate = Plate(name=piece.id, outer=Contour.of_rectangle(1.0, 1.0), thickness_mm=key[0], grade=key[1])
            try:
                self._known[key] = clearances_on(self.job, self.shop, plate)
            except InputError as error:
                self._known[key] = str(error).removeprefix(f"{self.job.source}: ")
        return self._known[key]


def ask(
    job: Job, *, shop: Shop | None = None, questions: Questions | None = None, accept_unknown_grade: bool = False
) -> Asked:
    """Read the parts of a job; its own plate is not looked at, but for the thickness and grade it says."""
    own = shop_of(job, shop)
    return Asked(job, own, wanted_parts(job, questions=questions), accept_unknown_grade)


def rank(asked: Asked, pieces: Iterable[Listed]) -> list[Answer]:
    """Return an answer for each piece, the one to take first.

    Yes before perhaps before no.  Among those that serve: the thickness asked for before one within the mill's
    tolerance, a known grade before an accepted unknown one, then the least useful piece - the smallest rectangle
    inside - and, of about equal ones, the oldest; so that no large good piece goes for a small part while a lesser
    one serves.  A perhaps of which the parts would take more than three quarters comes after the others.

    Raises `JobError` where the clearances are not known on any piece of the right thickness and grade.
    """
    listed = list(pieces)
    _refuse_a_gap(asked, listed)
    return sorted((_answer(asked, piece) for piece in listed), key=_key)


def _refuse_a_gap(asked: Asked, pieces: Sequence[Listed]) -> None:
    """Raise `JobError` where no piece of the right kind has its clearances: that is no proof about any plate."""
    alike = [p for p in pieces if p.facts.thickness_mm is not None and not _of_its_kind(asked, p)[0]]
    reasons = [c for p in alike if isinstance(c := asked.clearances(p), str)]
    if reasons and len(reasons) == len(alike):
        raise JobError(
            f"{asked.job.source}: {reasons[0]}; say it under [clearances] in the job, such as kerf = 1.6, or, where "
            "the shop has measured its kerf, as [[measured_kerf]] in the shop file"
        )


def on_the_rack(asked: Asked, rack: Rack, *, everything: bool = True) -> list[Answer]:
    """Rank what is on the rack, and what is set aside for this very job.

    Without `everything` pieces of another thickness or grade than all parts ask for are passed over unseen.
    """
    wanted = Filter() if everything else asked.filter
    return rank(asked, [p for p in rack.listed(wanted) if p.set_aside_for in (None, asked.job.name)])


def choose(
    asked: Asked, rack: Rack, *, most: int = 3, should_stop: Callable[[], bool] | None = None
) -> tuple[Answer | None, list[Answer]]:
    """Return the piece to take for a job, None where none serves, and what was found of all.

    The least useful piece that may serve is looked at first, whatever its answer: a perhaps is settled by a search of
    a quarter of the job's time, 10 s at most, and the first `most` of them only.  Then comes the best that is left.
    Pieces whose thickness is to be measured first are passed over.
    """
    search = asked.job.file.search
    answers = on_the_rack(asked, rack)
    serving = [a for a in answers if a.verdict != "no" and not a.to_measure]
    tried: dict[str, Answer] = {}
    for answer in sorted(serving, key=_by_use):
        if answer.verdict == "perhaps" and len(tried) < most:
            plate = rack.piece(answer.piece.id).plate
            seconds = min(search.seconds / 4, _CHOOSING_S)
            answer = settle(
                asked,
                answer,
                plate,
                seconds=seconds,
                steps=search.steps,
                threads=search.threads,
                should_stop=should_stop,
            )
            tried[answer.piece.id] = answer
        if answer.verdict == "yes":
            return answer, answers
    left = sorted((tried.get(a.piece.id, a) for a in serving), key=_key)
    return (left[0] if left and left[0].verdict != "no" else None), answers


def _by_use(answer: Answer) -> tuple[object, ...]:
    """The order in which pieces are to go: the least useful first, of about equal ones the oldest."""
    sizes = answer.piece.summary
    useful = max(sizes.long_mm * sizes.short_mm, 1.0)
    return len(answer.warnings), round(math.log(useful) / _STEP), answer.piece.added, answer.piece.number


def _key(answer: Answer) -> tuple[object, ...]:
    tight = answer.verdict == "perhaps" and (answer.share or 0.0) > _TIGHT
    return _ORDER[answer.verdict], tight, *_by_use(answer)


def _answer(asked: Asked, piece: Listed) -> Answer:
    refused, warnings, to_measure = _of_its_kind(asked, piece)
    if refused:
        return Answer(piece=piece, verdict="no", reasons=tuple(refused))
    clearances = asked.clearances(piece)
    if isinstance(clearances, str):
        return Answer(piece=piece, verdict="no", reasons=(clearances,))
    room = Room(sizes=piece.summary, uncertainty_mm=piece.uncertainty_mm, grain_deg=piece.facts.grain_deg)
    seen: Fit = fit(asked.parts, room, clearances)
    return Answer(
        piece=piece,
        verdict="perhaps" if seen.verdict == "yes" and to_measure else seen.verdict,
        reasons=seen.reasons,
        warnings=tuple(warnings),
        share=seen.share,
        to_measure=to_measure,
    )


def _of_its_kind(asked: Asked, piece: Listed) -> tuple[list[str], list[str], bool]:
    """Return why thickness or grade forbid a piece, what is to be said if not, and whether it is to be measured."""
    to_measure = False
    refused: list[str] = []
    warnings: list[str] = []
    facts = piece.facts
    thicknesses, grades = asked.kinds
    for kind in thicknesses:
        low, high = kind.range_mm
        if facts.thickness_mm is None:
            refused.append(f"its thickness is not known, and {kind.who} for {kind.asked_mm:g} mm; measure it")
        elif not low <= facts.thickness_mm <= high:
            refused.append(f"it is {facts.thickness_mm:g} mm thick, and {kind.who} for {kind.asked_mm:g} mm")
        elif abs(facts.thickness_mm - kind.asked_mm) > SAME_THICKNESS_MM:
            to_measure = True
            warnings.append(
                f"measure its thickness: it is kept as {facts.thickness_mm:g} mm, which a mill may deliver for the "
                f"{kind.asked_mm:g} mm asked for, but may be another size; if it is not, 'oddplate rack edit "
                f"{piece.id} --thickness' says so"
            )
    for grade, who in grades:
        if facts.grade is None and not asked.accept_unknown_grade:
            refused.append(f"its grade is not known, and {who} for {grade}")
        elif facts.grade is None:
            warnings.append(f"its grade is NOT KNOWN, and {who} for {grade}; the unknown grade was accepted")
        elif not same_grade(facts.grade, grade):
            refused.append(f"it is {facts.grade}, and {who} for {grade}")
    return refused, warnings, to_measure


def _names(said: dict[str, float] | dict[str, str], value: float | str) -> str:
    names = [name for name, asked in said.items() if asked == value]
    if len(names) == 1:
        return f"{names[0]} asks"
    return f"{names[0]} and {len(names) - 1} more ask"


def settle(
    asked: Asked,
    answer: Answer,
    plate: Plate,
    *,
    seconds: float,
    steps: int | None = None,
    threads: int = 2,
    should_stop: Callable[[], bool] | None = None,
) -> Answer:
    """Settle a perhaps by a search of so many seconds, or steps, at most.

    Yes if all parts found a place, else it stays perhaps; no where nothing is left of the plate inside its margin.
    """
    from nesting.search.engine import search  # its compiled kernels load only where a search runs

    clearances = asked.clearances(answer.piece)
    assert isinstance(clearances, Clearances)  # a piece without is no perhaps
    demands = [replace(d, quantity=d.quantity or 1) for d in asked.demands]
    wanted = sum(d.quantity or 1 for d in demands)
    placed = [0]
    try:
        layout = search(
            plate,
            demands,
            clearances,
            time_limit_s=seconds,
            steps=steps,
            threads=threads,
            on_progress=lambda seen: placed.__setitem__(0, max(placed[0], seen.placed)),
            should_stop=lambda: placed[0] >= wanted or (should_stop is not None and should_stop()),
        )
    except InfeasibleError as error:
        return replace(answer, verdict="no", reasons=(str(error),), placed=0, wanted=wanted)
    count = len(layout.placements)
    if count < wanted:
        how_long = f"{steps} steps" if steps else f"{seconds:g} s"
        told = f"a search of {how_long} found room for {count} of {wanted} parts; a longer one may find more"
        return replace(answer, reasons=(told,), placed=count, wanted=wanted)
    told = "a search laid all parts out on it"
    verdict: Verdict = "perhaps" if answer.to_measure else "yes"
    return replace(answer, verdict=verdict, reasons=(told,), placed=count, wanted=wanted)


def settled(
    asked: Asked,
    answers: Sequence[Answer],
    rack: Rack,
    *,
    seconds: float,
    most: int,
    threads: int = 2,
    should_stop: Callable[[], bool] | None = None,
) -> list[Answer]:
    """Settle the first `most` of the perhaps, and rank again."""
    done: list[Answer] = []
    tried = 0
    for answer in answers:
        stopped = should_stop is not None and should_stop()
        if answer.verdict == "perhaps" and tried < most and not stopped:
            plate = rack.piece(answer.piece.id).plate
            answer = settle(asked, answer, plate, seconds=seconds, threads=threads, should_stop=should_stop)
            tried += 1
        done.append(answer)
    return sorted(done, key=_key)

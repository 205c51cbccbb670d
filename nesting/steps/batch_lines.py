"""Which line of an order is which of a former plan: by what it is and whose, never by its place in the file."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date

from nesting.batch.stock import SAME_THICKNESS_MM, Line
from nesting.errors import JobError
from nesting.steps.batch_former import Former, FormerLine, shape_sha256
from nesting.steps.order import same_grade

Pairs = dict[int, FormerLine]
"""Lines of the order, by index, and what they are in the former plan."""


def named(lines: Sequence[Line], former: Former | None) -> tuple[list[Line], list[str]]:
    """Give every line an id of its own, that of its line in a former plan if it has one; return notes on those.

    What is cut names its line by id, so that an id that a former line has is never given to another.
    Raises `JobError` where it cannot be told for which line cut parts count.
    """
    if former is None:
        return _numbered(lines, {}, ()), []
    known = _same_lines(lines, former)
    notes = [note for n, line in known.items() if (note := _changed(line, lines[n], former))]
    unclaimed = [line for line in former.lines if line.id not in {x.id for x in known.values()}]
    new = [line for n, line in enumerate(lines) if n not in known]
    notes += [_counted_for_none(line, new, former) for line in unclaimed if former.made[line.id]]
    return _numbered(lines, known, former.lines), notes


def _numbered(lines: Sequence[Line], known: Pairs, former: Iterable[FormerLine]) -> list[Line]:
    taken = {line.id for line in former}
    found = []
    for n, line in enumerate(lines):
        part, name, count = line.demand.part, line.id, 1
        while n not in known and name in taken:
            count += 1
            name = f"{line.id}-{count}"
        name = known[n].id if n in known else name
        taken.add(name)
        found.append(replace(line, demand=replace(line.demand, part=replace(part, id=name))))
    return found


def _same_lines(lines: Sequence[Line], former: Former) -> Pairs:
    """Lines that nothing tells apart first, then those of which only the due date is another one."""
    shapes = [shape_sha256(line.demand.part) for line in lines]
    found: Pairs = {}
    for group in _alike(former.lines, dated=True):
        free = [n for n in _candidates(group[0], lines, shapes, found) if lines[n].due == group[0].due]
        found |= _in_turn(group, free, lines, former)
    left = [line for line in former.lines if line.id not in {x.id for x in found.values()} and not line.unclaimed]
    for group in _alike(left, dated=False):
        free = _candidates(group[0], lines, shapes, found)
        if any(former.made[line.id] for line in group):
            alone = sum(_alike_key(x, dated=False) == _alike_key(group[0], dated=False) for x in former.lines) == 1
            alone = alone and len(_candidates(group[0], lines, shapes, {})) == 1
            if free and not (alone and group[0].reference):
                raise JobError(_redated(group, [lines[n] for n in free], former))
        found |= dict(zip(free, group, strict=False))
    return found


def _alike(former: Sequence[FormerLine], *, dated: bool) -> list[list[FormerLine]]:
    groups: dict[tuple[object, ...], list[FormerLine]] = {}
    for line in former:
        # What an earlier plan counted for no line comes back only to a line that says it is the same one.
        if not line.unclaimed or line.reference or line.due is not None:
            groups.setdefault(_alike_key(line, dated=dated), []).append(line)
    return list(groups.values())


def _alike_key(line: FormerLine, *, dated: bool) -> tuple[object, ...]:
    grade = "".join((line.grade or "").split()).casefold()
    return (line.shape or line.name, line.thickness_mm, grade, line.reference, line.due if dated else None)


def _candidates(former: FormerLine, lines: Sequence[Line], shapes: Sequence[str], found: Pairs) -> list[int]:
    """Lines of the same part and reference that are not found yet."""
    return [
        n
        for n, line in enumerate(lines)
        if n not in found and line.reference == former.reference and not _differs(former, line, shapes[n])
    ]


def _differs(former: FormerLine, line: Line, shape: str) -> str:
    """Return what makes a line's part another one, in a word; empty if it is the same."""
    part = line.demand.part
    if former.shape is None:
        return "" if former.name == part.name else "name"
    if former.shape != shape:
        return "drawing"
    mine, its = part.thickness_mm, former.thickness_mm
    if mine != its and (mine is None or its is None or abs(mine - its) > SAME_THICKNESS_MM):
        return "thickness"
    return "" if same_grade(former.grade or "", part.grade or "") else "grade"


def _in_turn(group: Sequence[FormerLine], free: Sequence[int], lines: Sequence[Line], former: Former) -> Pairs:
    """Pair lines of one part, reference and date: those of one name and quantity first, at last in their order.

    As long as none was taken out it makes no difference which is which.
    """
    found: Pairs = {}
    fewer = len(group) > len(free)
    for by_name, by_count in ((True, True), (True, False), (False, True), (False, False)):
        mine: dict[tuple[object, ...], list[FormerLine]] = {}
        for line in group:
            if line not in found.values():
                mine.setdefault((by_name and line.name, by_count and line.wanted), []).append(line)
        for key, alike in mine.items():
            its = [n for n in free if n not in found and key == _by(lines[n], by_name=by_name, by_count=by_count)]
            if fewer and len(alike) > len(its) > 0 and len({former.made[x.id] for x in alike}) > 1:
                raise JobError(_which(alike, len(its), former))
            found |= dict(zip(its, alike, strict=False))
    return found


def _by(line: Line, *, by_name: bool, by_count: bool) -> tuple[object, ...]:
    return (by_name and line.demand.part.name, by_count and line.quantity)


# Words


def _which(group: Sequence[FormerLine], now: int, former: Former) -> str:
    made = ", ".join(str(former.made[line.id]) for line in group)
    return (
        f"{_told(group[0])}: the plan has {len(group)} lines of it, {made} cut, and the order has only {now}: which "
        "was taken out cannot be told; put it back (what is cut of it counts), and give each line a reference of its "
        "own in the next order"
    )


def _redated(group: Sequence[FormerLine], free: Sequence[Line], former: Former) -> str:
    cut = next(line for line in group if former.made[line.id])
    made = former.made[cut.id]
    now = ", ".join(dict.fromkeys(_due(line.due) for line in free))
    return (
        f"{_told(cut)}: {made} cut, and the order has such a line only {now}: whether it is the same one cannot be "
        "told; give it its former date, or put what is cut back as a line of its own "
        f"(quantity = {made}, {_due(cut.due)})"
    )


def _changed(was: FormerLine, line: Line, former: Former) -> str:
    made = former.made[was.id]
    if not made or (was.due == line.due and not was.unclaimed):
        return ""
    if was.unclaimed:
        return f"{_told(was)}: counted again: {made} cut, for which the earlier plan had no line"
    return f"{_told(was)}: is {_due(line.due)} now; counted for it: {made} cut"


def _counted_for_none(was: FormerLine, new: Sequence[Line], former: Former) -> str:
    on = [p.id for p in former.cut if p.layout.placed(was.id)]
    by_name = [x for x in new if x.demand.part.name == was.name and x.reference == was.reference]
    other = [what for x in by_name if (what := _differs(was, x, shape_sha256(x.demand.part)))]
    why = f"its line has another {other[0]} now" if other else "the order has no line of this part and reference"
    return f"{_told(was)}: counted for no line: {former.made[was.id]} cut on {', '.join(on)}; {why}"


def _told(line: FormerLine) -> str:
    return f"{line.name} ({f'reference {line.reference}' if line.reference else 'no reference'}, {_due(line.due)})"


def _due(day: date | None) -> str:
    return f"due {day.isoformat()}" if day is not None else "without due date"

"""Makes one report of many cuts: rows in order of time, sums by material and by time, lines of the order."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

from nesting.report.facts import PartRow
from nesting.report.matter import AREA_DIGITS, MASS_DIGITS
from nesting.report.yields.amounts import MONEY, amounts_of, is_leftover, total, utilisation
from nesting.report.yields.facts import By, CutFact, CutPartRow, CutRow, LineRow, SumRow, Wanted, YieldsReport
from nesting.report.yields.figures import figures_of

SCHEMA: Final = "oddplate-yields/1"
NO_DATE: Final = "date unknown"


def gathered(
    facts: Sequence[CutFact],
    *,
    title: str,
    by: By = "day",
    since: date | None = None,
    until: date | None = None,
    wanted: Sequence[Wanted] = (),
    notes: Sequence[str] = (),
) -> YieldsReport:
    """Return the report of several cuts.

    `wanted` are the lines of the order where somebody says so, those without a place in any layout too; of a line in
    one layout only, the layout says it.  Prices in more than
    one currency are not added up: costs are unknown then.
    """
    ordered = sorted(facts, key=moment)
    currency, told = _currency(ordered)
    cuts = tuple(_cut_row(number, fact, currency) for number, fact in enumerate(ordered, start=1))
    whole = _sum_row("all", cuts)
    planned = sum(f.report.balance_mm2["parts_mm2"] for f in ordered)
    return YieldsReport(
        schema=SCHEMA,
        title=title,
        shop=_one([f.report.shop for f in ordered]),
        since=None if since is None else since.isoformat(),
        until=None if until is None else until.isoformat(),
        currency=currency or "",
        figures=figures_of(whole, currency=currency, planned_mm2=round(planned, AREA_DIGITS)),
        cuts=cuts,
        total=whole,
        by_material=_by_material(cuts),
        by=by,
        by_time=tuple(_sum_row(label, rows) for label, rows in _grouped(cuts, lambda c: _moment(c, by))),
        lines=_lines(ordered, cuts, wanted),
        mass_notes=tuple(dict.fromkeys(f.report.density_note for f in ordered)),
        notes=(*_basis_notes(cuts), *told, *notes),
    )


def moment(fact: CutFact) -> tuple[bool, float, str]:
    """What cuts are ordered by: time, those without a date last, then the layout."""
    return fact.when is None, 0.0 if fact.when is None else fact.when.timestamp(), fact.report.layout_id


def _cut_row(number: int, fact: CutFact, currency: str | None) -> CutRow:
    report, plate = fact.report, fact.report.plate
    amounts = amounts_of(fact)
    if currency is None:
        amounts = replace(amounts, **dict.fromkeys(MONEY))
    return CutRow(
        number=number,
        when=None if fact.when is None else fact.when.isoformat(timespec="minutes"),
        layout_id=report.layout_id,
        plate=plate.name,
        piece_id=fact.piece_id,
        parent=plate.parent,
        grade=plate.grade,
        thickness_mm=plate.thickness_mm,
        leftover=is_leftover(report),
        basis="planned" if fact.outcome is None else "made",
        mass_by=report.mass_by,
        parts=tuple(_part_row(fact, row) for row in report.parts),
        amounts=amounts,
        utilisation_percent=utilisation(amounts),
        utilisation_with_leftover_credit_percent=utilisation(amounts, credit=True),
        source=fact.source,
    )


def _sum_row(label: str, cuts: Sequence[CutRow]) -> SumRow:
    amounts, not_known = total([c.amounts for c in cuts])
    return SumRow(
        label=label,
        cuts=tuple(c.number for c in cuts),
        amounts=amounts,
        not_known=not_known,
        utilisation_percent=utilisation(amounts),
        utilisation_with_leftover_credit_percent=utilisation(amounts, credit=True),
    )


def _by_material(cuts: Sequence[CutRow]) -> tuple[SumRow, ...]:
    """Sums by grade and thickness, thin before thick; what is not known comes last and is a group of its own."""
    found = []
    for _, rows in _grouped(cuts, lambda c: f"{c.grade or ''}|{c.thickness_mm}"):
        grade, thickness = rows[0].grade, rows[0].thickness_mm
        label = (
            f"{grade or 'grade unknown'}, {'thickness unknown' if thickness is None else f'{round(thickness, 3):g} mm'}"
        )
        found.append(replace(_sum_row(label, rows), grade=grade, thickness_mm=thickness))
    return tuple(sorted(found, key=lambda r: (r.thickness_mm is None, r.thickness_mm, r.grade is None, r.grade)))


def _grouped(cuts: Iterable[CutRow], key: Callable[[CutRow], str]) -> list[tuple[str, list[CutRow]]]:
    groups: dict[str, list[CutRow]] = {}
    for cut in cuts:
        groups.setdefault(key(cut), []).append(cut)
    return list(groups.items())


def _moment(cut: CutRow, by: By) -> str:
    """The day, the week as ISO 8601 counts them, or the month of a cut."""
    if cut.when is None:
        return NO_DATE
    day = date.fromisoformat(cut.when[:10])
    if by == "week":
        year, week, _ = day.isocalendar()
        return f"{year}-W{week:02d}"
    return day.isoformat() if by == "day" else day.isoformat()[:7]


def _part_row(fact: CutFact, row: PartRow) -> CutPartRow:
    made, failed, not_reached = _counts(fact, row)
    return CutPartRow(
        part_id=row.part_id,
        name=row.name,
        placed=row.placed,
        made=made,
        failed=failed,
        not_reached=not_reached,
        area_mm2=row.area_mm2,
        mass_kg=row.mass_kg,
        cut_length_mm=row.cut_length_mm,
    )


Found = tuple[int, PartRow, CutPartRow]


def _lines(facts: Sequence[CutFact], cuts: Sequence[CutRow], wanted: Sequence[Wanted]) -> tuple[LineRow, ...]:
    groups: dict[tuple[str | None, str, str, str, str], list[Found]] = {}
    for fact, cut in zip(facts, cuts, strict=True):
        for row, part in zip(fact.report.parts, cut.parts, strict=True):
            key = (row.reference, row.part_id, row.name, row.source, row.source_sha256)
            groups.setdefault(key, []).append((cut.number, row, part))
    quantities = {w.part_id: w.quantity for w in wanted}
    found = tuple(_line(rows, quantities) for rows in groups.values())
    there = {line.part_id for line in found}
    return (*found, *(_without_a_place(w) for w in wanted if w.part_id not in there))


def _without_a_place(line: Wanted) -> LineRow:
    return LineRow(
        part_id=line.part_id,
        name=line.name,
        reference=line.reference,
        source="",
        source_sha256="",
        wanted=line.quantity,
        placed=0,
        made=0,
        failed=0,
        not_reached=0,
        area_mm2=0.0,
        mass_kg=0.0,
        cuts=(),
    )


def _line(rows: Sequence[Found], wanted: Mapping[str, int]) -> LineRow:
    first, parts = rows[0][1], [part for _, _, part in rows]
    known = [part.made * part.mass_kg for part in parts if part.mass_kg is not None]
    return LineRow(
        part_id=first.part_id,
        name=first.name,
        reference=first.reference,
        source=first.source,
        source_sha256=first.source_sha256,
        wanted=wanted.get(first.part_id, first.wanted if len(rows) == 1 else None),
        placed=sum(part.placed for part in parts),
        made=sum(part.made for part in parts),
        failed=sum(part.failed for part in parts),
        not_reached=sum(part.not_reached for part in parts),
        area_mm2=round(sum(part.made * part.area_mm2 for part in parts), AREA_DIGITS),
        mass_kg=round(sum(known), MASS_DIGITS) if len(known) == len(parts) else None,
        cuts=tuple(number for number, _, part in rows if part.placed),
    )


def _counts(fact: CutFact, row: PartRow) -> tuple[int, int, int]:
    """Made, failed and not reached of one line in one cut; as planned where nobody said."""
    if fact.outcome is None:
        return row.placed, 0, 0
    o = fact.outcome
    return o.made.get(row.part_id, 0), o.failed.get(row.part_id, 0), o.not_reached.get(row.part_id, 0)


def _currency(facts: Sequence[CutFact]) -> tuple[str | None, tuple[str, ...]]:
    """The one currency of all prices, None where none or several are named, and a sentence about the latter."""
    named = dict.fromkeys(f.unit for fact in facts for f in fact.report.figures if f.key == "plate_cost")
    if len(named) > 1:
        listed = " and ".join(repr(unit) for unit in named)
        return None, (f"prices are in {listed}: costs are not added up; give one shop file for all (--shop)",)
    return next(iter(named), None), ()


def _basis_notes(cuts: Sequence[CutRow]) -> tuple[str, ...]:
    planned = sum(c.basis == "planned" for c in cuts)
    if not planned:
        return ()
    whose = "all" if planned == len(cuts) else f"{planned} of {len(cuts)}"
    return (f"{whose} layouts count as planned: nobody has told what was made of them",)


def _one(names: Sequence[str]) -> str:
    """The name that all share, or none."""
    return names[0] if len(set(names)) == 1 else ""

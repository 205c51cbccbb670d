"""Tables over several cuts, in the units of the page; every total is the sum of the values as shown, whichever way the
cuts are grouped."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from nesting.report.tables import Table
from nesting.report.wording import UNKNOWN, Measure, clock, duration, measures
from nesting.report.yields.amounts import added
from nesting.report.yields.facts import Amounts, CutPartRow, CutRow, LineRow, SumRow, YieldsReport
from nesting.units import Unit

Shown = Mapping[str, float | None]

PART_KNOWN: Final = " *"
"""Stands behind a sum that leaves out cuts for which the amount is not known."""

_AREAS: Final = {
    "plate_mm2": "plate",
    "parts_mm2": "parts",
    "failed_mm2": "failed parts",
    "kerf_mm2": "kerf",
    "kept_mm2": "kept",
    "scrap_mm2": "scrap",
}
_REST: Final = {
    "placed": "parts laid out",
    "made": "parts made",
    "plate_kg": "plate",
    "parts_kg": "parts",
    "kerf_kg": "kerf",
    "kept_kg": "kept",
    "scrap_kg": "scrap",
    "cut_length_mm": "cut",
    "pierces": "pierces",
    "cut_time_s": "time",
    "material_cost": "material cost",
    "saved_by_leftover": "saved by leftover",
}
_SUMMED: Final = (
    "made",
    "plate_mm2",
    "parts_mm2",
    "kept_mm2",
    "scrap_mm2",
    "plate_kg",
    "parts_kg",
    "scrap_kg",
    "cut_length_mm",
    "cut_time_s",
)
_CLOCK: Final = "h:mm:ss"
_MONEY: Final = ("material_cost", "saved_by_leftover")


class Amounter:
    """Amounts as the page shows them: rounded in its units, added up as shown, written with its digits."""

    def __init__(self, report: YieldsReport, unit: Unit) -> None:
        m = measures(unit)
        money = Measure(unit=report.currency, size=1.0, digits=2)
        count, second = Measure(unit="", size=1.0, digits=0), Measure(unit=_CLOCK, size=1.0, digits=0)
        kinds = {"mm2": m["area"], "kg": m["mass"], "mm": m["travel"], "s": second}
        kinds |= dict.fromkeys(("cost", "value", "leftover"), money)
        names = Amounts.__dataclass_fields__
        self._measures = {name: kinds.get(name.rpartition("_")[2], count) for name in names}
        self._shown = {cut.number: self._of(cut) for cut in report.cuts}

    def _of(self, cut: CutRow) -> Shown:
        """Amounts of a cut; those of its parts are pieces times what one shows, as in its own report."""
        shown = {name: self._measures[name].shown(value) for name, value in cut.amounts.each.items()}
        return shown | {
            "parts_mm2": self._pieces(cut, "parts_mm2", lambda p: (p.made, p.area_mm2)),
            "failed_mm2": self._pieces(cut, "failed_mm2", lambda p: (p.failed, p.area_mm2)),
            "parts_kg": self._pieces(cut, "parts_kg", lambda p: (p.made, p.mass_kg)),
            "failed_kg": self._pieces(cut, "failed_kg", lambda p: (p.failed, p.mass_kg)),
            "cut_length_mm": self._pieces(cut, "cut_length_mm", lambda p: (p.made + p.failed, p.cut_length_mm)),
        }

    def _pieces(self, cut: CutRow, name: str, of: Callable[[CutPartRow], tuple[int, float | None]]) -> float | None:
        each = [(count, self._measures[name].shown(value)) for count, value in map(of, cut.parts)]
        known = [count * value for count, value in each if value is not None]
        return math.fsum(known) if len(known) == len(each) else None

    def of_line(self, report: YieldsReport, line: LineRow, name: str) -> str:
        """Area or mass of what was made of a line, as shown."""
        total: float | None = 0.0
        for cut in report.cuts:
            for part in cut.parts:
                if part.part_id == line.part_id and cut.number in line.cuts:
                    value = self._measures[name].shown(part.area_mm2 if name == "parts_mm2" else part.mass_kg)
                    total = None if total is None or value is None else total + part.made * value
        return self._text(name, total)

    def laid_out(self, report: YieldsReport) -> str:
        """The area of all parts laid out, made or not, with its unit."""
        area = self._measures["parts_mm2"]
        each = [self._pieces(cut, "parts_mm2", lambda p: (p.placed, p.area_mm2)) for cut in report.cuts]
        return f"{self._text('parts_mm2', math.fsum(v or 0.0 for v in each))} {area.unit}"

    def heading(self, name: str, title: str) -> str:
        """A heading with its unit."""
        unit = self._measures[name].unit
        return f"{title}, {unit}" if unit else title

    def cells(self, cuts: Sequence[int], names: Sequence[str]) -> tuple[str, ...]:
        """The sums over some cuts, marked where a cut does not know its own."""
        sums, not_known = added(self._shown[number] for number in cuts)
        return tuple(
            self._text(name, sums[name]) + (PART_KNOWN if self._partly(name, sums, not_known) else "") for name in names
        )

    def _partly(self, name: str, sums: Shown, not_known: Mapping[str, int]) -> bool:
        return name in not_known and sums[name] is not None

    def _text(self, name: str, value: float | None) -> str:
        measure = self._measures[name]
        if measure.unit == _CLOCK:
            return clock(value)
        return measure.text(None if value is None else round(value, measure.digits) + 0.0)

    def full(self, name: str, cuts: Sequence[int]) -> str:
        """A sum with its unit; a time in words."""
        unit = self._measures[name].unit
        value = added(self._shown[number] for number in cuts)[0][name]
        if value is None:
            return UNKNOWN
        return duration(value) if unit == _CLOCK else f"{self._text(name, value)} {unit}".rstrip()


def where_table(report: YieldsReport, unit: Unit) -> Table:
    """Where the area of each plate went."""
    amounter, names = Amounter(report, unit), _shown_areas(report)
    heads = ("no.", "when", "layout", "plate", "grade", _thickness_head(unit))
    rows = tuple(
        (
            *(str(c.number), _day(c), c.layout_id, c.piece_id or c.plate, c.grade or UNKNOWN, _thickness(c, unit)),
            *amounter.cells([c.number], names),
            *_uses(c),
        )
        for c in report.cuts
    )
    numbers = [c.number for c in report.cuts]
    return Table(
        headings=(*heads, *(amounter.heading(n, _AREAS[n]) for n in names), "used, %", "with credit, %"),
        rows=rows,
        total=("", "all", "", "", "", "", *amounter.cells(numbers, names), *_uses(report.total)),
        words=(0, 1, 2, 3, 4),
    )


def work_table(report: YieldsReport, unit: Unit) -> Table:
    """Parts, mass, cutting and cost of each layout."""
    amounter, names = Amounter(report, unit), _shown_rest(report)
    rows = tuple((str(c.number), c.layout_id, c.basis, *amounter.cells([c.number], names)) for c in report.cuts)
    return Table(
        headings=("no.", "layout", "counted as", *(amounter.heading(n, _REST[n]) for n in names)),
        rows=rows,
        total=("", "all", "", *amounter.cells([c.number for c in report.cuts], names)),
        words=(0, 1, 2),
    )


def material_table(report: YieldsReport, unit: Unit) -> Table:
    """Sums by grade and thickness."""
    labels = [(r.grade or UNKNOWN, _thickness(r, unit)) for r in report.by_material]
    return _sums_table(report, unit, ("grade", _thickness_head(unit)), labels, report.by_material)


def time_table(report: YieldsReport, unit: Unit) -> Table:
    """Sums by day, week or month."""
    return _sums_table(report, unit, (report.by,), [(r.label,) for r in report.by_time], report.by_time)


def _sums_table(
    report: YieldsReport, unit: Unit, heads: tuple[str, ...], labels: Sequence[tuple[str, ...]], sums: Sequence[SumRow]
) -> Table:
    amounter = Amounter(report, unit)
    names = (*_SUMMED, *(n for n in _MONEY if report.currency))
    titles = [amounter.heading(n, (_AREAS | _REST)[n]) for n in names]
    rows = tuple(
        (*label, str(len(r.cuts)), *amounter.cells(r.cuts, names), *_uses(r))
        for label, r in zip(labels, sums, strict=True)
    )
    everything = amounter.cells([c.number for c in report.cuts], names)
    blank = ("",) * (len(heads) - 1)
    return Table(
        headings=(*heads, "layouts", *titles, "used, %", "with credit, %"),
        rows=rows,
        total=("all", *blank, str(len(report.cuts)), *everything, *_uses(report.total)),
        words=(0,),
    )


def lines_table(report: YieldsReport, unit: Unit) -> Table:
    """What was made of each line of the order."""
    amounter = Amounter(report, unit)
    names = ("parts_mm2", "parts_kg")
    columns: list[tuple[str, Sequence[str], str]] = [
        ("line", [r.reference or "" for r in report.lines], ""),
        ("part", [r.name for r in report.lines], "all lines"),
        ("drawing", [r.source for r in report.lines], ""),
        ("wanted", ["" if r.wanted is None else str(r.wanted) for r in report.lines], ""),
        *(_counted(report.lines, title, of) for title, of in _COUNTS),
        ("layouts", [str(len(r.cuts)) for r in report.lines], ""),
    ]
    everything = amounter.cells([c.number for c in report.cuts], names)
    for name, total in zip(names, everything, strict=True):
        each = [amounter.of_line(report, r, name) for r in report.lines]
        columns.append((amounter.heading(name, "made"), each, total))
    # What nobody said of any line has no column.
    kept = [c for c in columns if any(c[1])]
    return Table(
        headings=tuple(head for head, _, _ in kept),
        rows=tuple(zip(*(cells for _, cells, _ in kept), strict=True)),
        total=tuple(total for _, _, total in kept),
        words=tuple(i for i, (head, _, _) in enumerate(kept) if head in ("line", "part", "drawing")),
    )


_COUNTS: Final[tuple[tuple[str, Callable[[LineRow], int]], ...]] = (
    ("laid out", lambda r: r.placed),
    ("made", lambda r: r.made),
    ("failed", lambda r: r.failed),
    ("not reached", lambda r: r.not_reached),
)


def _counted(lines: Sequence[LineRow], title: str, of: Callable[[LineRow], int]) -> tuple[str, Sequence[str], str]:
    return title, [str(of(r)) for r in lines], str(sum(map(of, lines)))


def _shown_areas(report: YieldsReport) -> tuple[str, ...]:
    """Failed parts have a column only where there are any."""
    return tuple(n for n in _AREAS if n != "failed_mm2" or report.total.amounts.failed)


def _shown_rest(report: YieldsReport) -> tuple[str, ...]:
    return tuple(n for n in _REST if n not in _MONEY or report.currency)


def _uses(row: CutRow | SumRow) -> tuple[str, str]:
    used, credit = row.utilisation_percent, row.utilisation_with_leftover_credit_percent
    return UNKNOWN if used is None else f"{used:.2f}", UNKNOWN if credit is None else f"{credit:.2f}"


def _day(cut: CutRow) -> str:
    return UNKNOWN if cut.when is None else cut.when[:10]


def _thickness_head(unit: Unit) -> str:
    return f"thick, {measures(unit)['length'].unit}"


def _thickness(row: CutRow | SumRow, unit: Unit) -> str:
    length = measures(unit)["length"]
    if row.thickness_mm is None:
        return UNKNOWN
    return f"{row.thickness_mm / length.size:.{length.digits}f}"

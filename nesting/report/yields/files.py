"""Writes everything of a report over several cuts into a folder: page, PDF, tables, JSON."""

import csv
import io
import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from nesting.report.scene import Scene
from nesting.report.yields.amounts import NAMES
from nesting.report.yields.facts import CutRow, LineRow, SumRow, YieldsReport
from nesting.report.yields.html import yields_page
from nesting.report.yields.pdf import yields_pdf
from nesting.shop import Paper
from nesting.units import Unit

FILES: Final = ("yield.html", "yield.pdf", "yield.json", "layouts.csv", "lines.csv", "sums.csv")
"""All that the folder of a report holds."""

_USES: Final = ("utilisation_percent", "utilisation_with_leftover_credit_percent")
_OF_A_CUT: Final = (
    *("number", "when", "layout_id", "plate", "piece_id", "parent", "grade", "thickness_mm", "leftover", "basis"),
    "mass_by",
)
_OF_A_LINE: Final = (
    *("part_id", "name", "reference", "source", "source_sha256", "wanted", "placed", "made", "failed", "not_reached"),
    *("area_mm2", "mass_kg"),
)


def write_yields(
    report: YieldsReport, folder: Path, *, unit: Unit, paper: Paper, drawn: Sequence[tuple[str, Scene]] = ()
) -> None:
    """Write all files of a report; `drawn` are pictures for the page, with what to write under each."""
    (folder / "yield.html").write_text(yields_page(report, drawn, unit=unit, paper=paper), encoding="utf-8")
    (folder / "yield.pdf").write_bytes(yields_pdf(report, unit=unit, paper=paper))
    document = json.dumps(report.as_json(), ensure_ascii=False, indent=1, allow_nan=False)
    (folder / "yield.json").write_text(document + "\n", encoding="utf-8")
    for name, text in zip(FILES[3:], (layouts_csv(report), lines_csv(report), sums_csv(report)), strict=True):
        (folder / name).write_text(text, encoding="utf-8", newline="")


def layouts_csv(report: YieldsReport) -> str:
    """Return one row for each cut; CSV as in RFC 4180, an empty cell is not known."""
    heads = (*_OF_A_CUT, *NAMES, *_USES, "currency")
    return _csv(heads, (_cut_cells(cut, report.currency) for cut in report.cuts))


def _cut_cells(cut: CutRow, currency: str) -> list[object]:
    own = [getattr(cut, name) for name in _OF_A_CUT]
    return [*own, *cut.amounts.each.values(), *(getattr(cut, name) for name in _USES), currency]


def lines_csv(report: YieldsReport) -> str:
    """Return one row for each line of the order."""
    return _csv((*_OF_A_LINE, "numbers_of_layouts"), (_line_cells(line) for line in report.lines))


def _line_cells(line: LineRow) -> list[object]:
    return [*(getattr(line, name) for name in _OF_A_LINE), " ".join(map(str, line.cuts))]


def sums_csv(report: YieldsReport) -> str:
    """Return the sums by grade and thickness, by time and over all, one row each."""
    groups = (("material", report.by_material), (report.by, report.by_time), ("all", (report.total,)))
    rows = (_sum_cells(kind, row) for kind, sums in groups for row in sums)
    return _csv(("by", "label", "grade", "thickness_mm", "layouts", *NAMES, *_USES), rows)


def _sum_cells(kind: str, row: SumRow) -> list[object]:
    amounts = row.amounts.each.values()
    return [
        *(kind, row.label, row.grade, row.thickness_mm, len(row.cuts)),
        *amounts,
        *(getattr(row, name) for name in _USES),
    ]


def _csv(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(heads)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
    return out.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else value

"""From what people have to a yield report over several cuts: result folders, layouts, reports, a rack's history."""

import json
import shutil
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pydantic import TypeAdapter, ValidationError

from nesting.errors import InputError
from nesting.files.layout_file import SCHEMA as LAYOUT_SCHEMA
from nesting.files.layout_file import layout_of
from nesting.files.release import LAYOUT, MADE_WITH, recover, refuse_taken, release, stage
from nesting.layout import Layout
from nesting.remnant import balance
from nesting.report.facts import YieldReport
from nesting.report.figures import SCHEMA as REPORT_SCHEMA
from nesting.report.figures import figures
from nesting.report.matter import AREA_DIGITS
from nesting.report.plan_facts import SCHEMA as PLAN_SCHEMA
from nesting.report.scene import Scene, scene
from nesting.report.yields.facts import CutFact, Outcome, Wanted, YieldsReport
from nesting.report.yields.files import FILES, write_yields
from nesting.report.yields.gathered import moment
from nesting.shop import Paper, Shop
from nesting.steps.made_with import load_made_with
from nesting.units import Unit

if TYPE_CHECKING:
    from nesting.rack.piece import CutRecord
    from nesting.rack.store import Rack

REPORT: Final = "report.json"
PLAN: Final = "plan.json"
MOST_PICTURES: Final = 12
"""A page shows the layouts themselves up to so many; beyond, each one's own report has its picture."""


@dataclass(frozen=True, kw_only=True)
class Read:
    """One cut as read: what the report takes of it, and, for the picture, its layout and the shop it was made for."""

    fact: CutFact
    layout: Layout | None = None
    shop: Shop | None = None


def read_cuts(path: Path, shop: Shop, *, anew: bool = False, dated_by_file: bool = False) -> tuple[Read, ...]:
    """Read what a path holds: a result folder, a folder of result folders, a layout or a report.

    A layout's own report counts, with the prices of its day; `anew`, or where it has none, it is worked out for the
    shop.  `dated_by_file` takes the day on which a file was written as the day of the cut; else no date is known.
    Raises `InputError` for anything else, and as `load_layout`.
    """
    if path.is_dir():
        folders = [path] if _is_result(path) else sorted(p for p in path.iterdir() if p.is_dir() and _is_result(p))
        if not folders:
            raise InputError(
                f"{path}: holds no {LAYOUT} and no {REPORT}, nor does any folder in it; give the result folders of "
                "'oddplate nest'"
            )
        found = tuple(_of_folder(folder, shop, anew, dated_by_file) for folder in folders)
        return _as_cut(found, path / PLAN)
    return (_of_file(path, shop, anew, dated_by_file),)


def wanted_of(folder: Path) -> tuple[Wanted, ...]:
    """Return the lines of the order that a planned batch is for; nothing for any other path."""
    plan = folder / PLAN
    with _told_of(plan):
        return tuple(
            Wanted(part_id=x["line"], name=x["name"], reference=x["reference"] or None, quantity=x["wanted"])
            for x in _plan(plan)["lines"]
        )


def _plan(path: Path) -> dict[str, Any]:
    """The plan of a batch; one without lines and pieces where there is none."""
    if not path.is_file():
        return {"lines": [], "pieces": []}
    text = _text(path)
    if _schema(text, path) != PLAN_SCHEMA:
        raise InputError(f"{path}: is no plan of this version, expected schema {PLAN_SCHEMA!r}; plan the batch again")
    found: dict[str, Any] = json.loads(text)
    return found


@contextmanager
def _told_of(plan: Path) -> Iterator[None]:
    try:
        yield
    except (KeyError, TypeError) as error:
        raise InputError(f"{plan}: {error} is missing or of the wrong kind; plan the batch again") from None


def _as_cut(found: tuple[Read, ...], plan: Path) -> tuple[Read, ...]:
    """What a plan says is cut counts as made, but for what it says failed: it does not say on which piece, so that
    the first pieces to be cut are taken to have them."""
    with _told_of(plan):
        told = _plan(plan)
        # Of parts whose line has left the order some may have failed as well.
        lines = (*told["lines"], *told.get("unclaimed", ()))
        failed = Counter({x["line"]: x["failed"] for x in lines})
        pieces = [x["folder"] for x in told["pieces"] if x["state"] == "cut"]
    came = {}
    for folder in pieces:
        for read in found:
            if Path(read.fact.source).name == folder:
                placed = Counter({row.part_id: row.placed for row in read.fact.report.parts})
                came[read.fact.source] = _outcome(read.fact.report, placed, failed & placed)
                failed -= placed
    return tuple(
        replace(r, fact=replace(r.fact, outcome=came[r.fact.source])) if r.fact.source in came else r for r in found
    )


def _outcome(report: YieldReport, placed: Counter[str], failed: Counter[str]) -> Outcome:
    balance = report.balance_mm2
    return Outcome(
        made=placed - failed,
        failed=failed,
        kerf_mm2=balance["kerf_mm2"],
        kept_mm2=balance["kept_remnants_mm2"],
        scrap_mm2=balance["scrap_mm2"],
    )


def _is_result(folder: Path) -> bool:
    return (folder / LAYOUT).is_file() or (folder / REPORT).is_file()


def _of_folder(folder: Path, shop: Shop, anew: bool, dated: bool) -> Read:
    layout_file, report_file = folder / LAYOUT, folder / REPORT
    if not layout_file.is_file():
        return _of_file(report_file, shop, anew, dated)
    layout = layout_of(_text(layout_file), layout_file)
    made = load_made_with(folder / MADE_WITH, layout.id)
    if made is not None:
        # Prices and sizes to keep are asked anew; how it was cut is the layout's own.
        shop = replace(shop, process=made.shop.process, amps=made.shop.amps) if anew else made.shop
    told = report_file.is_file() and not anew
    report = _report_of(_text(report_file), report_file) if told else figures(layout, shop)
    if report.layout_id != layout.id:
        raise InputError(
            f"{report_file}: is of layout {report.layout_id}, and {LAYOUT} beside it is {layout.id}; run "
            "'oddplate nest' again, or give one of the two files"
        )
    return Read(fact=_planned(report, folder, layout_file if dated else None), layout=layout, shop=shop)


def _of_file(path: Path, shop: Shop, anew: bool, dated: bool) -> Read:
    text = _text(path)
    schema = _schema(text, path)
    when = path if dated else None
    if schema == LAYOUT_SCHEMA:
        layout = layout_of(text, path)
        return Read(fact=_planned(figures(layout, shop), path, when), layout=layout)
    if schema != REPORT_SCHEMA:
        raise InputError(
            f"{path}: schema is {schema!r}, expected {LAYOUT_SCHEMA!r} or {REPORT_SCHEMA!r}; give a result folder of "
            f"'oddplate nest', its {LAYOUT} or its {REPORT}"
        )
    if anew:
        raise InputError(
            f"{path}: a report cannot be worked out anew; with --shop or --mass give the layout ({LAYOUT})"
        )
    return Read(fact=_planned(_report_of(text, path), path, when))


def _planned(report: YieldReport, source: Path, dated: Path | None) -> CutFact:
    when = None if dated is None else datetime.fromtimestamp(dated.stat().st_mtime).astimezone()
    return CutFact(report=report, when=when, source=str(source))


def rack_cuts(
    rack: "Rack", shop: Shop, *, anew: bool = False, since: date | None = None, until: date | None = None
) -> tuple[Read, ...]:
    """Return what was really cut from a rack's pieces, from the day `since` on and before the day `until`."""
    records = rack.cuts(_start(since), _start(until))
    return tuple(_of_record(record, rack, shop, anew) for record in records)


def _start(day: date | None) -> datetime | None:
    """The first moment of a day where the program runs."""
    return None if day is None else datetime.combine(day, time()).astimezone()


def _of_record(record: "CutRecord", rack: "Rack", shop: Shop, anew: bool) -> Read:
    source = f"cut {record.act} of the rack"
    layout = layout_of(record.layout_json, source)
    told = None if anew else record.yield_json
    report = figures(layout, shop) if told is None else _report_of(told, source)
    kept = round(sum(rack.piece(id).plate.area_mm2 for id in record.remnants), AREA_DIGITS)
    outcome = Outcome(
        made=Counter(p.part_id for p in record.made),
        failed=Counter(p.part_id for p in record.failed),
        not_reached=Counter(p.part_id for p in record.not_reached),
        kerf_mm2=record.areas["kerf_mm2"],
        kept_mm2=kept,
        # What was worth keeping and did not come back to the rack is scrap.
        scrap_mm2=record.areas["scrap_mm2"] + record.areas["kept_mm2"] - kept,
    )
    fact = CutFact(
        report=report, when=record.when.astimezone(), piece_id=record.piece_id, outcome=outcome, source=source
    )
    return Read(fact=fact, layout=layout)


def once_each(planned: Iterable[Read], cut: Iterable[Read]) -> tuple[tuple[Read, ...], tuple[str, ...]]:
    """Return every layout once, and notes: one that was cut counts as cut, and one given twice counts once.

    The same layout in two places is two sheets alike, and both count.
    """
    done = list(cut)
    awaited = Counter(c.fact.report.layout_id for c in done)
    found: dict[str, Read] = {}
    notes: list[str] = []
    for one in planned:
        source, id = str(Path(one.fact.source).resolve()), one.fact.report.layout_id
        if source in found:
            notes.append(f"{one.fact.source} was given more than once; it counts once")
        elif awaited[id]:
            awaited[id] -= 1
            notes.append(f"layout {id} counts as the rack tells it was cut")
        else:
            found[source] = one
    alike = [id for id, n in Counter(c.fact.report.layout_id for c in found.values()).items() if n > 1]
    notes += [f"layout {id} lies in more than one place and counts each time" for id in alike]
    return (*done, *found.values()), tuple(dict.fromkeys(notes))


def release_yields(
    report: YieldsReport,
    cuts: Sequence[Read],
    folder: Path,
    *,
    shop: Shop,
    unit: Unit,
    paper: Paper,
    force: bool = False,
) -> str:
    """Write all files of a report into a folder that appears whole; return a sentence on what a crash had left.

    Raises `InputError` where the folder may not be written.
    """
    folder = folder.resolve()
    told = recover(folder)
    refuse_taken(folder, force=force, ours=FILES)
    staged = stage(folder)
    try:
        write_yields(report, staged, unit=unit, paper=paper, drawn=_pictures(cuts, shop))
        refuse_taken(folder, force=force, ours=FILES)
        release(staged, folder)
    finally:
        shutil.rmtree(staged, ignore_errors=True)
    return told


def _pictures(cuts: Sequence[Read], shop: Shop) -> tuple[tuple[str, Scene], ...]:
    """The layouts in the order of the report, as planned, with what to write under each."""
    if len(cuts) > MOST_PICTURES:
        return ()
    ordered = enumerate(sorted(cuts, key=lambda c: moment(c.fact)), start=1)
    return tuple(
        (_caption(cut, number), _scene(cut, cut.shop or shop)) for number, cut in ordered if cut.layout is not None
    )


def _caption(cut: Read, number: int) -> str:
    plate = cut.fact.report.plate.name
    piece = f", piece {cut.fact.piece_id}" if cut.fact.piece_id not in (None, plate) else ""
    return f"No. {number}: layout {cut.fact.report.layout_id} as planned, plate {plate}{piece}"


def _scene(cut: Read, shop: Shop) -> Scene:
    """The picture, with what is kept only where it is what the report says: a report's keep sizes are not in it."""
    assert cut.layout is not None
    areas = balance(cut.layout, shop)
    told = cut.fact.report.balance_mm2["kept_remnants_mm2"]
    if abs(sum(round(r.area_mm2, AREA_DIGITS) for r in areas.kept) - told) > 1.0:
        areas = replace(areas, kept=())
    return scene(cut.layout, areas)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: is not UTF-8 text (byte {error.start}); expected JSON") from None


def _schema(text: str, path: Path) -> object:
    try:
        data = json.loads(text)
    except (json.JSONDecodeError, RecursionError) as error:
        raise InputError(f"{path}: not JSON: {getattr(error, 'msg', 'nested too deeply')}") from None
    return data.get("schema") if isinstance(data, dict) else None


def _report_of(text: str, path: Path | str) -> YieldReport:
    try:
        report = _reports()(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = ".".join(map(str, first["loc"])) or "the document"
        raise InputError(f"{path}: {key}: {first['msg']}; expected a report of 'oddplate nest'") from None
    if report.schema != REPORT_SCHEMA:
        raise InputError(f"{path}: schema is {report.schema!r}, expected {REPORT_SCHEMA!r}")
    return report


@cache
def _reports() -> Callable[[str], YieldReport]:
    return TypeAdapter(YieldReport).validate_json

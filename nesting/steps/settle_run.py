"""The whole way of a crooked plate: readouts, turn and shift, the layout as it lies, checked and written whole."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

from nesting.check import check_drawing, check_layout
from nesting.checking.findings import CheckReport
from nesting.corner_names import named_corners
from nesting.drawing.cut_order import cut_order
from nesting.drawing.writer import write_drawing
from nesting.errors import CheckFailed, InputError
from nesting.files.layout_file import identified, load_layout, save_layout
from nesting.files.release import (
    DRAWING,
    DRY_RUN_TABLE,
    DRY_RUN_TEXT,
    LAYOUT,
    MADE_WITH,
    SETTLED,
    SETTLED_PICTURE,
    recover,
    refuse_taken,
    release,
    stage,
)
from nesting.layout import Layout
from nesting.leads import Leads, leads_of
from nesting.settle.margin import better_corners, margin_use, plate_added_mm
from nesting.settle.outcome import Choices, NestAgain, Outcome
from nesting.settle.reading import Reading
from nesting.settle.settling import Settled, settle
from nesting.settle.table import (
    around,
    beyond,
    cut_boxes,
    cut_reach_mm,
    dry_run,
    outside_travel,
    plate_box,
)
from nesting.settle.told import Told
from nesting.settle.turned import laid_by, turned, turned_demands, turned_plate
from nesting.steps.made_with import MadeWith, load_made_with, save_made_with


def open_layout(path: Path) -> tuple[Layout, MadeWith | None]:
    """Read a layout by its file or its result folder, and what its run was made with where that lies beside it.

    Raise `InputError` where there is no layout.
    """
    file = path / LAYOUT if path.is_dir() else path
    if not file.is_file():
        raise InputError(f"{file}: no such file; give a result folder, or its {LAYOUT}")
    if file.suffix.lower() != ".json":
        raise InputError(f"{file}: is no layout; give the {LAYOUT} of a result folder")
    layout = identified(load_layout(file))
    return layout, load_made_with(file.with_name(MADE_WITH), layout.id)


def settle_layout(source: Layout, readings: tuple[Reading, ...], choices: Choices) -> Outcome:
    """Find where the plate lies and lay its layout there.

    Raise `InputError` where the readouts give no turn, `CheckFailed` where the layout itself breaks a clearance.
    """
    settled = settle(source.plate, readings, sigma_mm=choices.sigma_mm, limit_mm=choices.limit_mm)
    outcome = Outcome(source=source, settled=settled, choices=choices, laid_by=laid_by(source.plate))
    if settled.verdict == "does not fit":
        return outcome
    before = _require(check_layout(source), "the layout breaks a clearance and is not settled")
    closest = before.worst_margin.found_mm if before.worst_margin else None
    use = margin_use(source, settled.spread, settled.symmetries, closest_mm=closest)
    anywhere_mm = plate_added_mm(source.plate, settled.spread, settled.symmetries)
    if choices.again is not None:
        layout = _nested_again(source, settled, anywhere_mm, choices, choices.again)
        use_left, added_mm = None, anywhere_mm
    else:
        layout = turned(source, settled.pose, _note(source, settled))
        layout = replace(layout, plate=replace(layout.plate, settling_mm=anywhere_mm))
        use_left, added_mm = use, use.added_mm
    layout = identified(layout)
    after = _require(check_layout(layout), "the layout as it lies breaks a clearance and is not released")
    better = better_corners(source, settled.spread, named_corners(source.plate))
    return _on_table(replace(outcome, layout=layout, use=use_left, added_mm=added_mm, better=better, check=after))


def _on_table(outcome: Outcome) -> Outcome:
    """Add leads, dry run, and what lies beyond the travel."""
    layout, choices = outcome.layout, outcome.choices
    assert layout is not None
    marked = choices.mark_leads
    if marked and layout.clearances.lead_in_mm <= 0.0:
        raise InputError("lead-ins are to be marked and the layout's lead-in is 0 mm long; leave --mark-leads out")
    leads = leads_of(layout) if marked else Leads()
    boxes = cut_boxes(layout, leads, cut_reach_mm(layout, leads_marked=marked))
    cuts = around([box for _, box in boxes])
    travel = choices.travel
    return replace(
        outcome,
        leads=leads,
        cuts=cuts,
        dry_run=dry_run(layout, cuts),
        beyond=beyond(boxes, travel) if travel else (),
        plate_beyond=beyond([("the plate", plate_box(layout.plate))], travel) if travel else (),
    )


def _nested_again(source: Layout, settled: Settled, added_mm: float, choices: Choices, again: NestAgain) -> Layout:
    """Lay the parts out on the plate as it lies; what turn and shift add to the uncertainty goes to the margin."""
    plate = turned_plate(source.plate, settled.pose, _note(source, settled))
    plate = replace(plate, uncertainty_mm=plate.uncertainty_mm + added_mm, settling_mm=0.0)
    if choices.travel is not None:
        reach = cut_reach_mm(source, leads_marked=choices.mark_leads)
        inset = max(0.0, reach - source.clearances.edge_mm(plate.uncertainty_mm))
        plate = replace(plate, keep_outs=(*plate.keep_outs, *outside_travel(plate, choices.travel, inset)))
    return replace(again(plate, turned_demands(source.demands, settled.pose), source), id="")


def _note(source: Layout, settled: Settled) -> str:
    by = ", ".join(c.name for c in settled.corners)
    pose = settled.pose
    return (
        f"settled on the table by {by}: layout {source.id} turned by {pose.turn_deg:.4f} degrees, shifted by "
        f"({pose.x_mm:.2f}, {pose.y_mm:.2f}) mm"
    )


def _require(check: CheckReport, why: str) -> CheckReport:
    if not check.passed:
        raise CheckFailed(f"{why}:\n{check.message}")
    return check


def write_settled(
    outcome: Outcome, told: Told, folder: Path, *, made: MadeWith | None = None, force: bool = False
) -> tuple[str, CheckReport]:
    """Write drawing, layout, picture and dry run into a folder that appears whole; return what was put right before.

    `told` is what people and programs read of it, `made` what a sheet of it is to be made with.  The drawing is read
    back and checked first: `CheckFailed` then leaves nothing written.  Raise `InputError` where the folder may not be
    replaced.
    """
    from nesting.report.table_picture import draw_on_table  # matplotlib, which settling alone does without

    assert outcome.layout is not None and outcome.released
    target = folder.resolve()
    recovered = recover(target)
    refuse_taken(target, force=force)
    staged = stage(target)
    try:
        save_layout(outcome.layout, staged / LAYOUT)
        if made is not None:
            save_made_with(replace(made, layout_id=outcome.layout.id), staged / MADE_WITH)
        order = cut_order(outcome.layout, outcome.leads, same_inside=outcome.choices.writing.blocks)
        write_drawing(outcome.layout, staged / DRAWING, outcome.choices.writing, order=order, leads=outcome.leads)
        check = _require(
            check_drawing(staged / DRAWING, layout=outcome.layout), "the drawing does not read back right, not released"
        )
        draw_on_table(
            outcome.layout,
            staged / SETTLED_PICTURE,
            read=[(c.name, c.at) for c in outcome.settled.corners],
            travel=outcome.choices.travel.box if outcome.choices.travel else None,
            cuts=outcome.cuts,
            title=told.title,
            unit=outcome.choices.unit,
        )
        (staged / DRY_RUN_TEXT).write_text(told.dry_run_text, encoding="utf-8")
        (staged / DRY_RUN_TABLE).write_text(told.dry_run_table, encoding="utf-8")
        document = json.dumps(told.document, indent=1, ensure_ascii=False, allow_nan=False)
        (staged / SETTLED).write_text(document + "\n", encoding="utf-8")
        refuse_taken(target, force=force)
        release(staged, target)
    finally:
        shutil.rmtree(staged, ignore_errors=True)
    return recovered, check

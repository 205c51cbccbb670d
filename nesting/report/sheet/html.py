"""The cut sheet as one HTML document: self-contained, works offline, prints in the size of its paper."""

from markupsafe import Markup

from nesting.report.pages import template
from nesting.report.sheet.cut_sheet import HEAVY, TICK, CutSheet
from nesting.report.sheet.draw import inline_svg
from nesting.report.sheet.forms import Form
from nesting.report.sheet.pdf import Drawn


def cut_sheet_html(sheet: CutSheet, drawn: Drawn) -> str:
    """Return the sheet as a page; all texts from outside are escaped."""
    form, name = drawn.form, f"plate {sheet.plate} with its parts"
    return template("cut_sheet.html.j2").render(
        s=sheet,
        form=form,
        grid=Markup(_grid(form)),
        facts_columns=sum(c.story == "facts" for c in form.columns),
        picture=Markup(inline_svg(drawn.front, name=name)),
        tapes=Markup(inline_svg(drawn.tapes, name="what to tape before cutting")),
        large_form=drawn.large_form,
        large="" if drawn.large is None else Markup(inline_svg(drawn.large, name=name)),
        tick=TICK,
        heavy=HEAVY,
    )


def _grid(form: Form) -> str:
    """Return how picture, parts and facts lie beside and below one another, as CSS has it."""
    parts, facts = form.columns[0], form.columns[-1]
    widths = f"{parts.width_mm:.1f}mm 1fr"
    if facts.below:
        return f'"picture picture" "parts facts" / {widths}'
    if parts.below:
        return f'"picture facts" auto "parts facts" 1fr / {widths}'
    return f'"picture parts facts" / {form.picture_mm[0]:.1f}mm {widths}'

"""The cut sheet as one HTML document: self-contained, works offline, prints in the size of its paper."""

from markupsafe import Markup

from nesting.report.cut_sheet import HEAVY, TICK, CutSheet
from nesting.report.cut_sheet_draw import inline_svg
from nesting.report.cut_sheet_forms import Form
from nesting.report.cut_sheet_picture import Picture
from nesting.report.pages import template


def cut_sheet_html(sheet: CutSheet, form: Form, picture: Picture, tapes: Picture) -> str:
    """Return the sheet as a page; all texts from outside are escaped."""
    return template("cut_sheet.html.j2").render(
        s=sheet,
        form=form,
        columns=_grid(form),
        facts_columns=sum(c.story == "facts" for c in form.columns),
        picture=Markup(inline_svg(picture, name=f"plate {sheet.plate} with its parts")),
        tapes=Markup(inline_svg(tapes, name="what to tape before cutting")),
        tick=TICK,
        heavy=HEAVY,
    )


def _grid(form: Form) -> str:
    """Return the widths of the columns beside one another as CSS has them."""
    picture = [] if form.on_top else [f"{form.picture_mm[0]:.1f}mm"]
    return " ".join([*picture, f"{form.widths_mm['parts']:.1f}mm", "1fr"])

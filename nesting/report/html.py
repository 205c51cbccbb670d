"""The yield report as one page for people: self-contained, works offline, prints on A4 and Letter."""

from markupsafe import Markup

from nesting.report.content import content
from nesting.report.facts import YieldReport
from nesting.report.pages import template
from nesting.report.scene import Scene
from nesting.report.svg import inline_svg
from nesting.report.tables import LIFT_MARK
from nesting.report.wording import measures
from nesting.shop import Paper
from nesting.units import Unit


def page(report: YieldReport, drawn: Scene, *, title: str, unit: Unit = "mm", paper: Paper = "A4") -> str:
    """Return the report as one HTML document in the page's units; all texts from outside are escaped."""
    return template("report.html.j2").render(
        r=report,
        c=content(report, unit),
        title=title,
        paper=paper,
        picture=Markup(inline_svg(drawn, unit, measures(unit)["area"])),
        lift_mark=LIFT_MARK.strip(),
    )

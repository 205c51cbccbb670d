"""The report over several cuts as one page for people: self-contained, works offline, prints on A4 and Letter."""

import base64
from collections.abc import Sequence

from markupsafe import Markup

from nesting.report.pages import template
from nesting.report.scene import Scene
from nesting.report.svg import inline_svg
from nesting.report.wording import measures
from nesting.report.yields.charts import material_chart, time_chart
from nesting.report.yields.facts import YieldsReport
from nesting.report.yields.words import COLOURS, PLAIN_WORDS, words
from nesting.shop import Paper
from nesting.units import Unit


def yields_page(
    report: YieldsReport, drawn: Sequence[tuple[str, Scene]] = (), *, unit: Unit = "mm", paper: Paper = "A4"
) -> str:
    """Return the report as one HTML document; `drawn` are pictures of layouts with what to write under each."""
    area = measures(unit)["area"]
    return template("yields.html.j2").render(
        r=report,
        w=words(report, unit),
        title=report.title,
        paper=paper,
        plain_words=PLAIN_WORDS,
        colours=COLOURS,
        material_chart=_data(material_chart(report, "svg", unit)),
        time_chart=_data(time_chart(report, "svg")),
        pictures=[(name, Markup(inline_svg(one, unit, area, prefix=f"p{i}"))) for i, (name, one) in enumerate(drawn)],
    )


def _data(picture: bytes | None) -> str:
    return "" if picture is None else base64.b64encode(picture).decode("ascii")

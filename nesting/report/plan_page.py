"""A plan on one page: what to cut from what, in which order, what to buy, and how every line stands."""

from nesting.report.pages import template
from nesting.report.plan_facts import PlanFacts
from nesting.report.sheet.words import Lengths
from nesting.shop import Paper
from nesting.units import Unit


def plan_page(facts: PlanFacts, *, paper: Paper, unit: Unit = "mm") -> str:
    """Return the page; pictures and sheets are linked from the pieces' folders beside it."""
    return template("plan.html.j2").render(
        p=facts,
        paper=paper,
        size=Lengths(unit=unit),
        by_state=[("to cut", [x for x in facts.pieces if x.state == "to cut"]),
                  ("cut already", [x for x in facts.pieces if x.state == "cut"])],
        trouble=[x for x in facts.lines if x.status in ("late", "left over", "impossible")],
    )  # fmt: skip

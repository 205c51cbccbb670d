"""From curves to contours: every step of chaining, in order, and nothing done that is not needed."""

from collections.abc import Sequence

from nesting.drawing.chain import Chained, bridge, follow
from nesting.drawing.doubles import distinct_chains, distinct_loops
from nesting.drawing.entities import Drawn
from nesting.drawing.faces import split_at_joints
from nesting.drawing.findings import Finding
from nesting.tolerances import JOIN_SILENT_MM


def contours_of(drawn: Sequence[Drawn], join_mm: float) -> Chained:
    """Return the closed contours of curves, the chains left open, and what was mended on the way."""
    chained = follow(drawn)
    loops, chains = list(chained.loops), chained.chains
    findings: list[Finding] = list(chained.findings)
    if chains:
        chains, said = distinct_chains(chains, loops)
        findings += said
        again = follow([d for chain in chains for d in chain.drawn])
        silent = bridge(again.chains, min(JOIN_SILENT_MM, join_mm))
        loops += [*again.loops, *silent.loops]
        whole, chains, said = split_at_joints(loops, silent.chains)
        findings += [*again.findings, *silent.findings, *said]
        joined = bridge(chains, join_mm)
        loops, chains = [*whole, *joined.loops], joined.chains
        findings += joined.findings
    distinct, said = distinct_loops(loops)
    return Chained(loops=distinct, chains=tuple(chains), findings=(*findings, *said))

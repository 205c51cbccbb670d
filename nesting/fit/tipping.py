"""Parts that may tip up or drop between the slats once they are cut free."""

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting.fit.finding import Cutting, FitFinding, mm
from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.tolerances import FIT_MM

_SLATS = 3
_SOURCE = (
    f"slat pitch of the shop file; fewer than {_SLATS} slats under a part: common practice, no source (size and shape "
    "against the slats are the chief cause of tip-ups: The Fabricator, article on tip-ups); "
    "tabs: newayprecision.com, plasma cutting design table"
)
_TABS = "2 to 4 tabs of 3 to 5 mm would hold it"


def tipping_findings(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    """Compare a part with the slats: it may be laid at any turn and anywhere along them."""
    pitch = cutting.slat_pitch_mm
    if pitch is None:
        return
    hull = shapely.convex_hull(part.fine_polygon)
    if hull.is_empty:
        return
    narrow, long = extents(hull)
    place: Point = (float(part.fine_polygon.centroid.x), float(part.fine_polygon.centroid.y))
    if long < pitch - FIT_MM:
        value, limit, severity = long, pitch, "warning"
        what = f"is at most {mm(long)} long and may drop between two slats"
    elif narrow < pitch - FIT_MM:
        value, limit, severity = narrow, pitch, "warning"
        what = f"is {mm(narrow)} wide: along the slats it may rest on one or none and tip up"
    elif long < _SLATS * pitch - FIT_MM:
        value, limit, severity = long, _SLATS * pitch, "note"
        what = f"is at most {mm(long)} long: it may rest on fewer than {_SLATS} slats and tip up"
    else:
        return
    yield FitFinding(
        part_id=part.id,
        kind="may tip",
        severity="warning" if severity == "warning" else "note",
        message=f"the part {what} (slats every {mm(pitch)}); {_TABS}; keep rapids off freed parts",
        places=(place,),
        value_mm=round(value, 2),
        limit_mm=limit,
        source=_SOURCE,
        question=f"This part {what} while it is cut. May we leave 2 to 4 tabs of 3 to 5 mm, to be ground off "
        "afterwards, and is there an edge where they must not be?",
    )


def extents(hull: Polygon) -> tuple[float, float]:
    """Return the least and the largest width of a convex shape over all turns; 0 for one that has no area."""
    xy = shapely.get_coordinates(hull)
    steps = np.diff(xy, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    normals = np.column_stack([-steps[:, 1], steps[:, 0]])[lengths > 1e-9] / lengths[lengths > 1e-9][:, None]
    if not len(normals):
        return 0.0, 0.0
    # The least width of a convex shape is across one of its edges.
    widths = [float(np.ptp(xy @ n)) for n in normals]
    largest = max(float(np.hypot(*(xy - p).T).max()) for p in xy)
    return min(widths), largest

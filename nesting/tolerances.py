"""Every tolerance of the project, in one place, with its unit, meaning and where it comes from."""

from typing import Final

NODE_MM: Final = 0.001
"""Ends nearer than this are one point whatever else meets there: coordinates rounded to three decimals, no more."""

JOIN_SILENT_MM: Final = 0.02
"""Ends nearer than this are one point.  True micro gaps in a survey of 245 real drawings lie at or below 0.005 mm."""

JOIN_WARN_MM: Final = 0.5
"""Up to here two open ends that are each other's nearest are joined, and a finding says where."""

PLACING_CHORD_MM: Final = 0.05
"""Chord error of the polygons the search places; always on the safe side (parts outward, plates inward)."""

FINE_CHORD_MM: Final = 0.0005
"""Chord error of the polygons the check and the area balance measure, half of `CHECK_MM`."""

R12_ARC_MM: Final = 0.0005
"""Splines and ellipses written as arcs, for drawings that know neither, stay within this; half of `CHECK_MM`."""

NESTING_CHORD_MM: Final = 0.01
"""Chord error of the polygons that tell which contour of a drawing lies in which."""

CHECK_MM: Final = 0.001
"""A clearance may fall short by this much and still count as kept: rounding of coordinates in files, no more."""

PLACING_SLACK_MM: Final = 1e-4
"""The search may lay a part this much too near, so that sums of exact fits do not fail in their last digit; two of it
are a fifth of `CHECK_MM`."""

FIT_MM: Final = 0.01
"""A feature may fall short of a fit limit by this much: chords and rounding, no more; limits are rules of thumb."""

TINY_SEGMENT_MM: Final = 1e-6
"""Pieces of a contour shorter than this have no length and are dropped."""

BALANCE_RELATIVE: Final = 1e-4
"""Parts + kerf + kept remnants + scrap must equal the plate to this fraction (0.01 %)."""

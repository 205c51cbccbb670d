"""Shapes in the plane, in mm, y up, counter-clockwise positive: shared by every room, knows none of them."""

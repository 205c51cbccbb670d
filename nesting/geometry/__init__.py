"""Shapes in the plane, in millimetres, y up, counter-clockwise positive: shared by every room, knows none of them."""

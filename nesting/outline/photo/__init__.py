"""A plate's outline out of one picture; OpenCV is imported in this folder only, and only when it is used."""

"""Drawings: files to contours to parts, and layouts to files."""

"""Figures, tables and pictures of one layout, for people and for other programs."""

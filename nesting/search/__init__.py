"""Placing parts on a plate: arrays and compiled loops inside, shapely at the door; knows nothing of files."""

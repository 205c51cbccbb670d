"""Flat parts on odd-shaped leftover plate: the nouns, and one package for each step of the work."""

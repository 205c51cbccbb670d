"""Compiled loops on plain arrays; the only place that imports numba."""

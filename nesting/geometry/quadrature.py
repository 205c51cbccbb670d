"""Integrals of smooth functions over consecutive spans, by Gauss quadrature."""

from typing import Protocol

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_GAUSS = leggauss(12)
_MAX_SPANS = 2_000


class Integrand(Protocol):
    def __call__(self, t: Floats) -> Floats: ...  # pragma: no cover - typing only


def integral(function: Integrand, edges: Floats) -> float:
    """Integrate over consecutive spans."""
    return float(np.sum(integrals(function, edges)))


def settled_integral(function: Integrand, edges: Floats) -> float:
    """Integrate over consecutive spans, halved until that changes nothing; near a cusp it may take many."""
    while True:
        middles = (edges[1:] + edges[:-1]) / 2
        coarse = integrals(function, edges)
        fine = integrals(function, np.sort(np.append(edges, middles))).reshape(-1, 2).sum(axis=1)
        unsure = np.abs(fine - coarse) > 1e-10 * np.abs(fine).sum()
        if not unsure.any() or len(edges) > _MAX_SPANS:
            return float(fine.sum())
        edges = np.sort(np.append(edges, middles[unsure]))


def integrals(function: Integrand, edges: Floats) -> Floats:
    """Integrate over each of consecutive spans with 12 Gauss points."""
    nodes, weights = _GAUSS
    middle, half = (edges[1:] + edges[:-1]) / 2, (edges[1:] - edges[:-1]) / 2
    t = (middle[:, None] + half[:, None] * nodes[None, :]).ravel()
    values = function(t).reshape(len(middle), len(nodes))
    spans: Floats = (values @ weights) * half
    return spans

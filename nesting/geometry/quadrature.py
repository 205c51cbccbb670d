"""Integrals of smooth functions over consecutive spans, by Gauss quadrature."""

from typing import Protocol

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_GAUSS = leggauss(12)


class Integrand(Protocol):
    def __call__(self, t: Floats) -> Floats: ...  # pragma: no cover - typing only


def integral(function: Integrand, edges: Floats) -> float:
    """Integrate over consecutive spans."""
    return float(np.sum(integrals(function, edges)))


def integrals(function: Integrand, edges: Floats) -> Floats:
    """Integrate over each of consecutive spans with 12 Gauss points."""
    nodes, weights = _GAUSS
    middle, half = (edges[1:] + edges[:-1]) / 2, (edges[1:] - edges[:-1]) / 2
    t = (middle[:, None] + half[:, None] * nodes[None, :]).ravel()
    values = function(t).reshape(len(middle), len(nodes))
    spans: Floats = (values @ weights) * half
    return spans

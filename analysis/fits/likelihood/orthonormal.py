"""Columns made orthonormal before a likelihood is climbed, and the way back."""

from __future__ import annotations

import numpy as np
from scipy import linalg

from doe.study.settings import FloatArray


def orthonormal(X: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give Q of X = QR, shape (n, p), and R⁻¹, which takes coefficients of Q to those of X."""
    Q, R = linalg.qr(X, mode="economic")
    back = linalg.solve_triangular(R, np.eye(len(R)))
    return Q.astype(np.float64), back.astype(np.float64)

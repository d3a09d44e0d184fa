import numpy as np
from dataclasses import dataclass


@dataclass(frozen=True, eq=False)
class Solution:
    x: object
    residual: object
    row_variance: object
    free: object
    C: object


def solve(A, y, u, position):
    D = A.toarray() / u[:, None]
    s = np.linalg.norm(D, axis=0)
    D = D / s
    U, S, V = np.linalg.svd(D, full_matrices=True)
    r = int((S > 1e-9 * S[0]).sum())
    P = (V[:r].T / S[:r]) @ U[:, :r].T
    x = P @ (y / u) / s
    C = (V[:r].T / S[:r] ** 2) @ V[:r] / np.outer(s, s)
    F = V[r:].T / s[:, None]
    F = F / np.maximum(np.abs(F).max(axis=0), 1e-300) if F.size else F
    AA = A.toarray()
    return Solution(x, y - AA @ x, np.einsum("ij,jk,ik->i", AA, C, AA), F, C)


def covariance(sol):
    return sol.C

"""Ordinary least squares with the diagnostics that the trial's fits need."""

import numpy as np

from onboard.block import FloatArray


class LeastSquares:
    """A least-squares fit; a rank-deficient design matrix gets the minimum-norm solution.

    Parameters
    ----------
    rows
        Design matrix, shape (n, k).
    value
        Observations, shape (n,).

    Attributes
    ----------
    solution, inverse, weights
        Coefficients (k,), (X' X) inverse (k, k), and the matrix that maps values to coefficients
        (k, n).
    residual, leverage
        Of each observation, shape (n,).
    squares, rank, freedom, sd
        Sum of squared residuals, rank of X, degrees of freedom, residual standard deviation.
    """

    def __init__(self, rows: FloatArray, value: FloatArray) -> None:
        self.inverse: FloatArray = np.asarray(
            np.linalg.pinv(rows.T @ rows, rcond=1e-9, hermitian=True), np.float64
        )
        self.weights = self.inverse @ rows.T
        self.solution = self.weights @ value
        self.residual = value - rows @ self.solution
        self.squares = float(self.residual @ self.residual)
        self.rank = int(np.linalg.matrix_rank(rows, tol=1e-6))
        self.freedom = len(value) - self.rank
        self.sd = float(np.sqrt(self.squares / self.freedom)) if self.freedom > 0 else float("nan")
        self.leverage = np.einsum("ij,jk,ik->i", rows, self.inverse, rows)

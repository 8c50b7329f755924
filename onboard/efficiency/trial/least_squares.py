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
    prior
        What is known of the coefficients beforehand: the variance of an observation over that of
        each coefficient about zero, shape (k,); 0 where nothing is known, None for nothing at all.

    Attributes
    ----------
    solution, inverse, weights
        Coefficients (k,), (X' X) inverse (k, k), and the matrix that maps values to coefficients
        (k, n).
    residual, leverage
        Of each observation, shape (n,).
    squares, rank, freedom, sd
        Sum of squared residuals, rank of X, degrees of freedom, residual standard deviation.
    terms
        Coefficients that the observations determine: the rank of X, less what the prior gives.
    """

    def __init__(
        self, rows: FloatArray, value: FloatArray, prior: FloatArray | None = None
    ) -> None:
        square = rows.T @ rows
        if prior is not None:
            square += np.diag(prior)
        self.inverse: FloatArray = np.asarray(
            np.linalg.pinv(square, rcond=1e-9, hermitian=True), np.float64
        )
        self.weights = self.inverse @ rows.T
        self.solution = self.weights @ value
        self.residual = value - rows @ self.solution
        self.squares = float(self.residual @ self.residual)
        self.rank = int(np.linalg.matrix_rank(rows, tol=1e-6))
        self.freedom = len(value) - self.rank
        self.sd = float(np.sqrt(self.squares / self.freedom)) if self.freedom > 0 else float("nan")
        self.leverage = np.einsum("ij,jk,ik->i", rows, self.inverse, rows)
        self.terms = round(float(self.leverage.sum()), 9)

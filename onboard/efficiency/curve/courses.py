"""Similar courses merged into one line, so that course noise yields no estimate of the water.

Waves, steering and noise turn the course of a steady block by a few degrees. Taken at face value,
such differences would determine the water across the course, though they carry no information on
it.
"""

import itertools
import math
from collections.abc import Iterator

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.common_practice import LINE_GAP_DEG, LINE_PIECE_DEG, LINE_WIDEST_DEG


def line_directions(velocity_mps: FloatArray) -> FloatArray:
    """Return the direction of each velocity (east, north) along the line of similar courses.

    Parameters
    ----------
    velocity_mps
        Shape (n, 2), n at least 1.

    Returns
    -------
    array
        Unit vectors, shape (n, 2): equal or opposite within a line.

    Examples
    --------
    >>> line_directions(np.array([[2.0, 0.0], [-1.0, 0.0], [0.01, 3.0]])).round(2).tolist()
    [[1.0, 0.0], [-1.0, -0.0], [0.0, 1.0]]
    """
    axis_deg = np.degrees(np.arctan2(velocity_mps[:, 0], velocity_mps[:, 1])) % 180.0
    order = np.argsort(axis_deg, kind="stable")
    rising = axis_deg[order]
    # The circle of directions is cut at its widest gap.
    gaps = np.diff(rising, append=rising[0] + 180.0)
    first = (int(np.argmax(gaps)) + 1) % len(rising)
    order = np.roll(order, -first)
    turned = np.roll(rising, -first)
    turned = np.where(turned < turned[0], turned + 180.0, turned)
    middle = np.empty(len(turned))
    for begin, end in _pieces(turned):
        middle[order[begin:end]] = turned[begin:end].mean()
    angle = np.radians(middle)
    line = np.stack([np.sin(angle), np.cos(angle)], axis=1)
    way: FloatArray = np.where((line * velocity_mps).sum(axis=1) < 0.0, -1.0, 1.0)
    return np.asarray(line * way[:, None], np.float64)


def _pieces(rising_deg: FloatArray) -> Iterator[tuple[int, int]]:
    """Yield the begin and end index of each line among sorted directions."""
    inner = (np.flatnonzero(np.diff(rising_deg) > LINE_GAP_DEG) + 1).tolist()
    for begin, end in itertools.pairwise([0, *inner, len(rising_deg)]):
        chain = rising_deg[begin:end]
        span = float(chain[-1] - chain[0])
        parts = 1 if span <= LINE_WIDEST_DEG else math.ceil(span / LINE_PIECE_DEG)
        edges = np.searchsorted(chain, chain[0] + span / parts * np.arange(1, parts))
        cuts = [begin, *(begin + edges).tolist(), end]
        yield from ((first, last) for first, last in itertools.pairwise(cuts) if last > first)

"""An interrogation written from its definition, on scipy alone: what the checks compare the
program's evaluator and pairs with.
"""

import numpy as np
from scipy.signal import correlate


def plane(a, b):
    """The linear cross-correlation of two windows without their means, lags -(D-1)..(D-1) on each
    axis: at the lag (j, i) the sum of a[y, x] b[y + j, x + i], so the peak lies at the displacement
    from A to B."""
    return correlate(b - b.mean(), a - a.mean(), mode="full", method="fft")


def triangle(shape):
    """How many pixels two windows share at each lag: D - |lag| on each axis."""
    along = [n - np.abs(np.arange(1 - n, n)) for n in shape]
    return np.outer(*along)


def peak(values, shape, reach=None):
    """(dx, dy) of the highest value within `reach` of lag 0, to a fraction by a Gaussian through
    three points on each axis.
    """
    limit = [n - 2 if reach is None else reach for n in shape]
    middle = [n - 1 for n in shape]
    near = values[tuple(slice(m - r, m + r + 1) for m, r in zip(middle, limit))]
    top = np.unravel_index(np.argmax(near), near.shape)
    y, x = (m - r + t for m, r, t in zip(middle, limit, top))

    def fraction(left, centre, right):
        left, centre, right = np.log([left, centre, right])
        return (left - right) / (2 * (left - 2 * centre + right))

    dx = x - middle[1] + fraction(values[y, x - 1], values[y, x], values[y, x + 1])
    dy = y - middle[0] + fraction(values[y - 1, x], values[y, x], values[y + 1, x])
    return dx, dy


def windows(frame_a, frame_b, side):
    """The windows of both frames, side by side without overlap."""
    height, width = frame_a.shape
    for y in range(0, height - side + 1, side):
        for x in range(0, width - side + 1, side):
            place = np.s_[y : y + side, x : x + side]
            yield frame_a[place], frame_b[place]

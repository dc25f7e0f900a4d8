"""Shares of independent normal vectors that fail the normalised median test, by numerical
quadrature.

r0 = |u - m| / (r + epsilon) with m the median of the 8 neighbours and r the median of |u_i - m|
(Westerweel & Scarano 2005); all values normal with standard deviation 1. Run it to print the values
that evaluator/tests/suite/reference/normalised_median.json holds.

Of the sorted neighbours the 4th and 5th, a and b, give m = (a + b)/2, and their own deviations h =
(b - a)/2 are the two smallest. The other six, three below a and three above b, are independent
given a and b; r is the mean of the second and third smallest of their deviations s < t. Four
integrals: over a, b, s, t. Given m and r the vector itself fails with a probability in closed form.
"""

import itertools
import json

import numpy as np
from scipy.special import ndtr, ndtri

NODES = 20  # 28 and 36 give the same five digits


def legendre(nodes):
    """Nodes and weights of Gauss and Legendre on 0..1."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    return 0.5 * (x + 1), 0.5 * w


def density(x):
    return np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi)


def neighbourhoods():
    """Medians m, their deviations r, and the probability of each node."""
    x, w = legendre(NODES)
    p, v, y, z = np.meshgrid(x, x, x, x, indexing="ij", sparse=True)
    weight = np.einsum("i,j,k,l->ijkl", w, w, w, w)
    # a and b by their probabilities p and q; s and t from h and s upward.
    q = p + (1 - p) * v
    a, b = ndtri(p), ndtri(q)
    pair = 40 * 28 * p**3 * (1 - q) ** 3 * (1 - p)  # 8!/(3! 3!) = 1120
    m, h = 0.5 * (a + b), 0.5 * (b - a)
    s = h + y / (1 - y)
    t = s + z / (1 - z)
    stretch = 1 / ((1 - y) * (1 - z)) ** 2
    # Deviations of those below a and of those above b: cumulative probability at s, densities, and
    # what remains beyond t.
    groups = [
        lambda d: (ndtr(m - d) / p, density(m - d) / p),
        lambda d: (ndtr(-m - d) / (1 - q), density(m + d) / (1 - q)),
    ]
    at_s, at_t = [[g(d) for g in groups] for d in (s, t)]
    joint = 0
    for smallest, second, third in itertools.product((0, 1), repeat=3):
        left, ways = [3, 3], 1
        for group in (smallest, second, third):
            ways *= left[group]
            left[group] -= 1
        if ways > 0:
            joint = joint + (
                ways
                * (1 - at_s[smallest][0])
                * at_s[second][1]
                * at_t[third][1]
                * at_t[0][0] ** left[0]
                * at_t[1][0] ** left[1]
            )
    r = 0.5 * (s + t)
    m, r, weight = np.broadcast_arrays(m, r, weight * pair * joint * stretch)
    return m.ravel(), r.ravel(), weight.ravel()


def shares(epsilons, threshold=2.0):
    """For each epsilon: share above the threshold of one component, and of two as the sides of a
    right angle.
    """
    m, r, weight = neighbourhoods()
    keep = weight > 1e-16
    m, r, weight = m[keep], r[keep], weight[keep]
    assert abs(weight.sum() - 1) < 1e-4, weight.sum()
    found = []
    for epsilon in epsilons:

        def above(limit):
            reach = limit * (r + epsilon)
            return np.sum(weight * (ndtr(m - reach) + ndtr(-m - reach))) / weight.sum()

        # hypot(x, y) > threshold: x alone, or x = threshold sin f (tabulated in f) and y above
        # threshold cos f.
        edges = np.linspace(0, 0.5 * np.pi, 200)
        table = np.array([above(threshold * np.sin(e)) for e in edges])
        lost = -np.diff(table)
        middle = 0.5 * (edges[1:] + edges[:-1])
        other = np.interp(np.cos(middle), np.sin(edges), table)
        found.append((above(threshold), table[-1] + np.sum(lost * other)))
    return found


if __name__ == "__main__":
    cases = [0.0, 0.2, 1.0]
    values = [
        {"epsilon": e, "one_component": round(one, 5), "two_components": round(two, 5)}
        for e, (one, two) in zip(cases, shares(cases))
    ]
    print(json.dumps(values, indent=1))

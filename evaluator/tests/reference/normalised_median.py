"""Share of independent normal vectors that fail the normalised median test (threshold 2, epsilon 0).

Westerweel & Scarano (2005): r0 = |u - median| / median |u_i - median| over the 8 neighbours. Independent of the crate: the
standard library's random, statistics and math. Prints the shares for one component, and for two as the sides of a right angle.
"""
import math
import random
from statistics import median

random.seed(20051)
N = 2_000_000


def residual():
    neighbours = [random.gauss(0, 1) for _ in range(8)]
    m = median(neighbours)
    return abs(random.gauss(0, 1) - m) / median(abs(u - m) for u in neighbours)


one = two = 0
for _ in range(N):
    x, y = residual(), residual()
    one += (x > 2) + (y > 2)
    two += math.hypot(x, y) > 2
print(f"{one / (2 * N):.5f} {two / N:.5f}")

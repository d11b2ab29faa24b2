"""Solves stacked systems of the size of a join with numpy and prints the best of several times, in seconds.

Arguments: frequencies, joined ports, outside ports. The matrices are random; only their size matters.
"""
import os
import sys
import time

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"

import numpy

points, joined, outside = map(int, sys.argv[1:4])
rng = numpy.random.default_rng(1)


def draw(*shape):
    return (rng.standard_normal(shape) + 1j * rng.standard_normal(shape)) / joined


matrices = numpy.eye(joined) + draw(points, joined, joined)
sides = draw(points, joined, outside)
best = float("inf")
for _ in range(20):
    start = time.perf_counter()
    numpy.linalg.solve(matrices, sides)
    best = min(best, time.perf_counter() - start)
print(best)

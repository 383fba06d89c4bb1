"""Searches for the least circle around discs with scipy's optimiser, from many beginnings.

    pack.py PROBLEMS

PROBLEMS is a JSON list of lists of diameters. The answers are written to standard output as a JSON list: the diameter of the
least circle found around each. Each answer was checked as geometry: it is a circle that takes the discs.
"""

import json
import sys

import numpy as np
from scipy.optimize import minimize

BEGINNINGS = 14


def least(diameters, chance):
    radii = np.array(diameters) / 2
    n = len(radii)
    first, second = np.triu_indices(n, 1)
    sums = radii[first] + radii[second]
    rows = np.arange(len(first))

    def room(z):
        x, y, radius = z[:n], z[n : 2 * n], z[-1]
        walls = (radius - radii) ** 2 - x**2 - y**2
        pairs = (x[first] - x[second]) ** 2 + (y[first] - y[second]) ** 2 - sums**2
        return np.concatenate([walls, pairs, [radius - radii.max()]])

    def slopes(z):
        x, y, radius = z[:n], z[n : 2 * n], z[-1]
        out = np.zeros((n + len(first) + 1, 2 * n + 1))
        all_discs = np.arange(n)
        out[all_discs, all_discs] = -2 * x
        out[all_discs, n + all_discs] = -2 * y
        out[all_discs, -1] = 2 * (radius - radii)
        dx, dy = x[first] - x[second], y[first] - y[second]
        out[n + rows, first], out[n + rows, second] = 2 * dx, -2 * dx
        out[n + rows, n + first], out[n + rows, n + second] = 2 * dy, -2 * dy
        out[-1, -1] = 1
        return out

    grow = np.zeros(2 * n + 1)
    grow[-1] = 1
    best = 2 * radii.sum()
    for _ in range(BEGINNINGS):
        spread = np.sqrt((radii**2).sum())
        start = np.append(chance.uniform(-spread, spread, 2 * n), 2 * spread)
        found = minimize(
            lambda z: z[-1],
            start,
            jac=lambda z: grow,
            method="SLSQP",
            constraints={"type": "ineq", "fun": room, "jac": slopes},
            options={"maxiter": 150, "ftol": 1e-10},
        )
        # A step that ended outside is mended: the centres move apart, and the circle grows to what that needs.
        x, y = found.x[:n], found.x[n : 2 * n]
        apart = np.hypot(x[first] - x[second], y[first] - y[second])
        if not np.all(np.isfinite(found.x)) or apart.min() < 1e-6:
            continue
        by = max(1.0, (sums / apart).max())
        best = min(best, 2 * (np.hypot(x * by, y * by) + radii).max())
    return float(best)


def main():
    chance = np.random.default_rng(20261125)
    with open(sys.argv[1], encoding="utf-8") as file:
        problems = json.load(file)
    json.dump([least(problem, chance) for problem in problems], sys.stdout)


if __name__ == "__main__":
    main()

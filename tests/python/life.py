"""Fits Weibull laws to sets of lives with lifelines and with scipy, for comparison.

    life.py SETS

SETS is a JSON list of lists of rows [entry, lo, hi, count], hi null where the piece was still whole, lo 0 where it failed at some age
up to hi. The answers are a JSON list of objects: `lifelines` with eta, beta and the log-likelihood; `scipy` with the same from its own
fit of censored data, where none entered late; `limits` with the ends of the likelihood-ratio intervals of beta and of the age by which
one in ten fails, for every third set, by scipy's optimiser and root finder on a likelihood written down here once more.
"""

import json
import sys
import warnings

import numpy as np
from lifelines import WeibullFitter
from scipy import optimize, stats

warnings.filterwarnings("ignore")
HALF = stats.chi2.ppf(0.95, 1) / 2


class Rows:
    def __init__(self, rows):
        self.entry = np.array([row[0] for row in rows], float)
        self.lo = np.array([row[1] for row in rows], float)
        self.hi = np.array([np.inf if row[2] is None else row[2] for row in rows], float)
        self.count = np.array([row[3] for row in rows], float)
        self.exact = self.lo == self.hi

    def loglik(self, eta, beta):
        """As the textbooks write it, row by row."""
        law = stats.weibull_min(beta, scale=eta)
        exact = law.logpdf(np.where(self.exact, self.lo, 1.0))
        inside = np.where(self.exact, 1.0, law.sf(self.lo) - law.sf(self.hi))
        each = np.where(self.exact, exact, np.log(np.maximum(inside, 1e-300))) - law.logsf(self.entry)
        return float(np.sum(self.count * each))


def lifelines_fit(rows):
    fitter = WeibullFitter()
    # It takes the logarithm of every age, also where it multiplies it by nought.
    lower, upper = np.maximum(rows.lo, 1e-9), rows.hi
    fitter._scipy_fit_options = {"ftol": 1e-15, "gtol": 1e-10}
    fitter.fit_interval_censoring(lower, upper, weights=rows.count, entry=np.where(rows.entry > 0, rows.entry, 1e-9))
    return [float(fitter.lambda_), float(fitter.rho_), float(fitter.log_likelihood_)]


def scipy_fit(rows):
    if rows.entry.any():
        return None
    many = lambda which: np.repeat(which, rows.count[mask].astype(int), axis=0)
    parts = {}
    for name, mask, values in [
        ("uncensored", rows.exact, rows.lo),
        ("right", np.isinf(rows.hi), rows.lo),
        ("left", ~rows.exact & (rows.lo == 0) & np.isfinite(rows.hi), rows.hi),
    ]:
        parts[name] = many(values[mask])
    mask = ~rows.exact & (rows.lo > 0) & np.isfinite(rows.hi)
    parts["interval"] = many(np.stack([rows.lo[mask], rows.hi[mask]], axis=1))
    parts = {name: values for name, values in parts.items() if len(values)}
    beta, _, eta = stats.weibull_min.fit(stats.CensoredData(**parts), floc=0)
    return [float(eta), float(beta), rows.loglik(eta, beta)]


def limits(rows, eta, beta):
    loss = lambda z: -rows.loglik(np.exp(z[0]), np.exp(z[1]))
    options = {"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}
    best = optimize.minimize(loss, [np.log(eta), np.log(beta)], method="Nelder-Mead", options=options)
    top, (log_eta, log_beta) = -best.fun, best.x

    def highest(law, around):
        found = optimize.minimize_scalar(
            lambda z: -rows.loglik(*law(z)), bounds=(around - 4, around + 4), method="bounded", options={"xatol": 1e-9}
        )
        return -found.fun - top + HALF

    def ends(profile, at):
        found = []
        for side in (-1, 1):
            step = next((s for s in 0.05 * 1.5 ** np.arange(14) if profile(at + side * s) < 0), None)
            found.append(None if step is None else float(np.exp(optimize.brentq(profile, at, at + side * step, xtol=1e-10))))
        return found

    q = -np.log(0.9)
    of_beta = lambda u: highest(lambda z: (np.exp(z), np.exp(u)), log_eta)
    of_b10 = lambda y: highest(lambda z: (np.exp(y) * q ** (-1 / np.exp(z)), np.exp(z)), log_beta)
    b10 = log_eta + np.log(q) / np.exp(log_beta)
    return {"loglik": top, "eta": float(np.exp(log_eta)), "beta": ends(of_beta, log_beta), "b10": ends(of_b10, b10)}


def answer(at, listed):
    rows = Rows(listed)
    found = lifelines_fit(rows)
    few = limits(rows, found[0], found[1]) if at % 3 == 0 else None
    return {"lifelines": found, "scipy": scipy_fit(rows), "limits": few}


if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8") as file:
        print(json.dumps([answer(at, listed) for at, listed in enumerate(json.load(file))]))

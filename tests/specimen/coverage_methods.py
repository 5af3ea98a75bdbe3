"""Prints refs/coverage.csv: which way to an interval of nodularity holds the truth in 95 of 100.

A specimen is some fields; a field has a Poisson number of particles with log-normal areas, and a
share of nodules that differs between fields (beta law of the stated standard deviation). The
figure is sum over sum of area, its truth the mean share. Written apart from the program, which
test_coverage.c holds against the column "used". Takes half a minute; not run by the tests.
"""

import sys

import numpy as np
from scipy import stats
from scipy.special import betaincinv, expit

RUNS = 4000
RESAMPLES = 199
SPREAD_OF_AREA = 0.7  # standard deviation of ln(area)
METHODS = (
    "delta",
    "fieller",
    "jackknife",
    "logit",
    "bootstrap",
    "joined",
    "prior",
    "switch",
    "used",
)
SOURCE = "4000 specimens a row by tests/specimen/coverage_methods.py; standard error 0.3 points"


def draw(rng, fields, particles, share, between):
    """Nodular area, whole area and sum of squared areas of each field."""
    number = np.maximum(1, rng.poisson(particles, size=(RUNS, fields)))
    here = np.full((RUNS, fields), share)
    if between > 0:
        size = share * (1 - share) / between**2 - 1
        here = rng.beta(share * size, (1 - share) * size, size=(RUNS, fields))
    shape = (RUNS, fields, number.max())
    area = np.exp(SPREAD_OF_AREA * rng.standard_normal(shape))
    area *= np.arange(number.max()) < number[:, :, None]
    nodule = rng.random(shape) < here[:, :, None]
    return (area * nodule).sum(2), area.sum(2), (area * area).sum(2)


def logit_interval(ratio, error, factor):
    """Ends of the interval on the logit; at a bound it has no width."""
    inner = (ratio > 0) & (ratio < 1)
    safe = np.where(inner, ratio, 0.5)
    step = np.minimum(factor * error / (safe * (1 - safe)), 700)
    middle = np.log(safe / (1 - safe))
    return (
        np.where(inner, expit(middle - step), ratio),
        np.where(inner, expit(middle + step), ratio),
    )


def binomial_interval(ratio, trials):
    """Clopper and Pearson, for a number of trials that need not be whole."""
    hits, misses = ratio * trials, (1 - ratio) * trials
    low = np.where(hits > 0, betaincinv(np.maximum(hits, 1e-12), misses + 1, 0.025), 0)
    high = np.where(misses > 0, betaincinv(hits + 1, np.maximum(misses, 1e-12), 0.975), 1)
    return low, high


def fieller_interval(top, bottom, ratio, t):
    """Fieller's set for a ratio of means; NaN where it is not an interval."""
    n = top.shape[1]
    x, y = bottom.mean(1), top.mean(1)
    xx, yy = bottom.var(1, ddof=1) / n, top.var(1, ddof=1) / n
    xy = ((bottom - x[:, None]) * (top - y[:, None])).sum(1) / (n - 1) / n
    a, b, c = x * x - t * t * xx, x * y - t * t * xy, y * y - t * t * yy
    with np.errstate(invalid="ignore"):
        root = np.sqrt(np.maximum(b * b - a * c, 0))
        bounded = a > 0
        return np.where(bounded, (b - root) / a, 0), np.where(bounded, (b + root) / a, 1)


def delta_error(top, bottom):
    n = top.shape[-1]
    ratio = top.sum(-1) / bottom.sum(-1)
    rest = top - ratio[..., None] * bottom
    return np.sqrt((rest**2).sum(-1) / (n - 1) / n) / bottom.mean(-1)


def bootstrap_interval(rng, top, bottom, ratio, error):
    """Bootstrap-t over fields; resamples of one field alone have no error and count as infinite."""
    n = top.shape[1]
    pick = rng.integers(0, n, size=(top.shape[0], RESAMPLES, n))
    some_top = np.take_along_axis(top[:, None, :], pick, 2)
    some_bottom = np.take_along_axis(bottom[:, None, :], pick, 2)
    off = some_top.sum(2) / some_bottom.sum(2) - ratio[:, None]
    some_error = delta_error(some_top, some_bottom)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.where(some_error > 1e-12, off / some_error, np.sign(off) * np.inf)
    t = np.sort(np.nan_to_num(t, nan=0.0), axis=1)
    k = int(0.025 * (RESAMPLES + 1))
    with np.errstate(invalid="ignore"):
        low = ratio - t[:, RESAMPLES - k] * error
        high = ratio - t[:, k - 1] * error
    return np.nan_to_num(low, nan=0.0), np.nan_to_num(high, nan=1.0)


def intervals(rng, top, bottom, squares):
    n = top.shape[1]
    t = stats.t.ppf(0.975, n - 1)
    whole_top, whole = top.sum(1), bottom.sum(1)
    ratio = whole_top / whole
    without = (whole_top[:, None] - top) / (whole[:, None] - bottom)
    error = np.sqrt(((without - without.mean(1)[:, None]) ** 2).sum(1) * (n - 1) / n)
    linear = delta_error(top, bottom)
    trials = whole**2 / squares.sum(1)
    low, high = logit_interval(ratio, error, t)
    exact = binomial_interval(ratio, trials)
    alike = error < 1e-12
    particles = ratio * (1 - ratio) / trials  # variance, were all fields alike
    mixed = np.sqrt(((n - 1) * error**2 + particles) / n)  # one more degree of freedom
    prior = logit_interval(ratio, mixed, stats.t.ppf(0.975, n))
    narrow = error**2 < particles
    return {
        "delta": (ratio - t * linear, ratio + t * linear),
        "fieller": fieller_interval(top, bottom, ratio, t),
        "jackknife": (ratio - t * error, ratio + t * error),
        "logit": (low, high),
        "bootstrap": bootstrap_interval(rng, top, bottom, ratio, linear),
        "joined": (np.minimum(low, exact[0]), np.maximum(high, exact[1])),
        "prior": [np.where(alike, e, p) for e, p in zip(exact, prior)],
        "switch": [np.where(narrow, e, p) for e, p in zip(exact, (low, high))],
        "used": [np.where(alike, e, p) for e, p in zip(exact, (low, high))],
    }


def main():
    rng = np.random.default_rng(20)
    print(
        "fields,particles,share,between,alike," + ",".join(METHODS) + ",half_width,source,status"
    )
    for fields in (3, 5, 8):
        for particles in (25, 60, 150):
            for share, spread in (
                (0.2, 0.06),
                (0.5, 0.06),
                (0.8, 0.06),
                (0.9, 0.03),
                (0.95, 0.03),
                (0.98, 0.015),
            ):
                for between in (0.0, spread):
                    top, bottom, squares = draw(rng, fields, particles, share, between)
                    found = intervals(rng, top, bottom, squares)
                    cells = [f"{fields},{particles},{share},{between:g}"]
                    at_bound = np.mean((top.sum(1) <= 0) | (top.sum(1) >= bottom.sum(1)))
                    cells.append(f"{100 * at_bound:.1f}")
                    for method in METHODS:
                        low, high = found[method]
                        cells.append(f"{100 * np.mean((low <= share) & (share <= high)):.1f}")
                    low, high = found["used"]
                    cells.append(f"{50 * np.median(high - low):.1f}")
                    print(",".join(cells) + f',"{SOURCE}",computed')
                    sys.stdout.flush()


if __name__ == "__main__":
    main()

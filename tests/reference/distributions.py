"""Writes distributions.csv: quantiles, moments and intervals as scipy works them out.

Run by hand, with scipy installed (`pip install scipy`; the version stands in the file's head):

    python3 tests/reference/distributions.py

One line for each value: the kind, its parameters (`;` between them), the value to 17 digits.
"""

import math
import pathlib
import platform

import scipy
from scipy import stats

lines = []


def keep(kind, parameters, value):
    shown = ";".join(repr(float(p)) for p in parameters)
    lines.append(f"{kind},{shown},{float(value):.17g}")


PROBABILITIES = [1e-10, 1e-6, 0.001, 0.005, 0.025, 0.05, 0.1, 0.25, 0.4, 0.5, 0.6,
                 0.75, 0.9, 0.95, 0.975, 0.995, 0.999, 1 - 1e-6]
FREEDOMS = [0.5, 1, 1.504813, 2, 3, 4, 5, 5.808015, 10, 14, 29, 30, 99.5, 197, 499.9,
            500, 501, 1000, 1e5, 1e7]

for p in PROBABILITIES:
    keep("normal", [p], stats.norm.ppf(p))
for df in FREEDOMS:
    for p in [0.001, 0.025, 0.05, 0.1, 0.4, 0.5, 0.6, 0.9, 0.95, 0.975, 0.995, 0.999]:
        keep("student_t", [p, df], stats.t.ppf(p, df))

TRIALS = [(0, 10), (1, 10), (5, 10), (9, 10), (10, 10), (0, 1), (1, 1), (0, 30), (30, 30),
          (29, 30), (3, 29), (80, 100), (97, 100), (1, 1000), (250, 1000), (40000, 50000),
          (1, 1000000), (250000, 1000000)]
for x, n in TRIALS:
    for confidence in [0.80, 0.90, 0.95, 0.99]:
        exact = stats.binomtest(x, n).proportion_ci(confidence, method="exact")
        score = stats.binomtest(x, n).proportion_ci(confidence, method="wilson")
        keep("clopper_pearson_lower", [x, n, confidence], exact.low)
        keep("clopper_pearson_upper", [x, n, confidence], exact.high)
        keep("wilson_lower", [x, n, confidence], score.low)
        keep("wilson_upper", [x, n, confidence], score.high)
    if x in (0, n):
        # Jeffreys prior: the beta distribution with half a success and half a failure added.
        keep("jeffreys_sd", [x, n], stats.beta(x + 0.5, n - x + 0.5).std())


def keep_shape(kind, parameters, distribution):
    keep(f"{kind}_mean", parameters, distribution.mean())
    keep(f"{kind}_sd", parameters, distribution.std())
    for confidence in [0.50, 0.90, 0.95, 0.99]:
        lower, upper = distribution.interval(confidence)
        keep(f"{kind}_lower", [*parameters, confidence], lower)
        keep(f"{kind}_upper", [*parameters, confidence], upper)


# Stated value and bounds of the central share `confidence`.
for stated, lower, upper, confidence in [(300, 100, 900, 0.95), (15.6, 7.9, 31, 0.95),
                                         (4, 1.5, 15, 0.95), (2, 1, 4, 0.90)]:
    z = stats.norm.ppf((1 + confidence) / 2)
    sigma = math.log(upper / lower) / (2 * z)
    keep_shape("lognormal", [stated, lower, upper, confidence], stats.lognorm(sigma, scale=stated))
for stated, lower, upper in [(1, 0, 2), (1, 0, 4), (0, 0, 1), (1, 0, 1), (0.3, 0.1, 0.95)]:
    keep_shape("triangular", [stated, lower, upper],
               stats.triang((stated - lower) / (upper - lower), lower, upper - lower))
for stated, lower, upper in [(0.5, 0, 1), (15.6, 12.5, 20)]:
    keep_shape("uniform", [stated, lower, upper], stats.uniform(lower, upper - lower))
for stated, sigma in [(0, 1), (6.24, 0.3)]:
    keep_shape("normal_shape", [stated, sigma], stats.norm(stated, sigma))
for stated, sigma, lower, upper in [(0, 1, -1, 2), (0.3, 0.2, 0, 1), (0.95, 0.1, 0, 1),
                                    (5, 1, 0, 100), (0, 1, 0, 3), (1, 5, 0.5, 1.5)]:
    keep_shape("truncated_normal", [stated, sigma, lower, upper],
               stats.truncnorm((lower - stated) / sigma, (upper - stated) / sigma, stated, sigma))

for statistic, df in [(0.5, 1), (2.281, 1), (8.2176, 3), (4.5621, 1), (10.6, 9), (27.877, 9),
                      (60, 9), (9, 9)]:
    keep("chi_squared_tail", [statistic, df], stats.chi2.sf(statistic, df))
for a, b in [(0.5, 0.5), (2.5, 7.25), (14.2, 120.8), (1, 29.3), (160.4, 39.6), (85.32, 121.27), (0.03, 2),
             (5.1613, 9.3527)]:
    for p in [0.005, 0.05, 0.5, 0.95, 0.995]:
        keep("beta", [a, b, p], stats.beta.ppf(p, a, b))

# Welch: means, standard errors and degrees of freedom of the two kitchen groups.
before, after = [6.1, 5.4, 7.2, 6.6, 5.9], [3.9, 4.4, 3.5, 4.1, 3.8]
welch = stats.ttest_ind(before, after, equal_var=False)
keep("welch_t", [], welch.statistic)
keep("welch_df", [], welch.df)
keep("mean_se", before, stats.sem(before))

head = [
    "# Written by distributions.py; do not edit.",
    f"# Python {platform.python_version()}; scipy {scipy.__version__}",
    "kind,parameters,value",
]
path = pathlib.Path(__file__).with_name("distributions.csv")
path.write_text("\n".join(head + lines) + "\n")

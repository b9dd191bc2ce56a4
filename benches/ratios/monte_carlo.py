"""The reference of the Monte Carlo part: the same model in numpy, a chunk of draws at a time.

Reads the model as one line of JSON, then one request a line: `DRAWS SEED THREADS`. Answers each
with a line of JSON: the seconds it took, those of the processor, mean, standard deviation, quantiles.
"""

import json
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np

CHUNK = 5_000


def draw(model, seed, size):
    rng = np.random.default_rng(seed)
    normals = rng.standard_normal((len(model["means"]), size))
    normals *= model["deviations"]
    normals += model["means"]
    lognormals = rng.standard_normal((len(model["medians"]), size))
    lognormals *= model["sigmas"]
    lognormals += model["log_medians"]
    np.exp(lognormals, out=lognormals)
    shares = rng.beta(model["a"], model["b"], (len(model["a"]), size))
    total = np.zeros(size)
    product, rest = np.empty(size), np.empty(size)
    for weight, n, before, b, after, c in model["cohorts"]:
        np.multiply(shares[c], 0.3, out=rest)
        np.subtract(lognormals[after], rest, out=rest)
        np.multiply(normals[n], lognormals[before], out=product)
        product *= shares[b]
        product *= rest
        product *= weight
        total += product
    return total


def simulate(model, draws, seed, threads, probabilities):
    sizes = [min(CHUNK, draws - start) for start in range(0, draws, CHUNK)]
    seeds = np.random.SeedSequence(seed).spawn(len(sizes))
    if threads == 1:
        parts = [draw(model, *pair) for pair in zip(seeds, sizes)]
    else:
        with ThreadPoolExecutor(threads) as pool:
            parts = list(pool.map(lambda pair: draw(model, *pair), zip(seeds, sizes)))
    total = np.concatenate(parts)
    return total.mean(), total.std(ddof=1), np.quantile(total, probabilities)


def main():
    model = json.loads(sys.stdin.readline())
    probabilities = model["probabilities"]
    for name in ("means", "deviations", "medians", "sigmas", "a", "b"):
        model[name] = np.array(model[name])[:, None]
    model["log_medians"] = np.log(model["medians"])
    print(json.dumps({"numpy": np.__version__}), flush=True)
    for line in sys.stdin:
        draws, seed, threads = (int(word) for word in line.split())
        began, worked = time.perf_counter(), time.process_time()
        mean, deviation, quantiles = simulate(model, draws, seed, threads, probabilities)
        took, work = time.perf_counter() - began, time.process_time() - worked
        answer = {
            "seconds": took,
            "processor_seconds": work,
            "mean": float(mean),
            "deviation": float(deviation),
            "quantiles": [float(quantile) for quantile in quantiles],
        }
        print(json.dumps(answer), flush=True)


main()

"""The reference of the Monte Carlo part: the same model in numpy, a chunk of draws at a time.

Reads the model as one line of JSON, then one request a line: `DRAWS SEED THREADS GENERATOR`. Answers
each with a line of JSON: the seconds it took, those of the processor, mean, standard deviation,
quantiles.

What was found fastest: chunks of 10,000 draws; arrays that are made once and filled in place; one
call for each beta, because a call with parameters by row looks each of them up for every draw; what
is taken from a cohort computed once for each share. `PCG64` is what `default_rng` takes, `SFC64` the
fastest generator that numpy has.
"""

import json
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np

CHUNK = 10_000
GENERATORS = {"PCG64": np.random.PCG64, "SFC64": np.random.SFC64}


class Room:
    """The arrays of one thread."""

    def __init__(self, model, size):
        self.normals = np.empty((len(model["means"]), size))
        self.lognormals = np.empty((len(model["medians"]), size))
        self.shares = np.empty((len(model["a"]), size))
        self.less = np.empty_like(self.shares)
        self.product, self.rest = np.empty(size), np.empty(size)


def draw(model, generator, seed, room, total):
    rng = np.random.Generator(generator(seed))
    normals, lognormals, shares, less = room.normals, room.lognormals, room.shares, room.less
    product, rest = room.product, room.rest
    rng.standard_normal(out=normals)
    normals *= model["deviations"]
    normals += model["means"]
    rng.standard_normal(out=lognormals)
    lognormals *= model["sigmas"]
    lognormals += model["log_medians"]
    np.exp(lognormals, out=lognormals)
    for share, a, b in zip(shares, model["a"], model["b"]):
        share[:] = rng.beta(a, b, total.size)
    np.multiply(shares, 0.3, out=less)
    total[:] = 0.0
    for weight, n, before, b, after, c in model["cohorts"]:
        np.subtract(lognormals[after], less[c], out=rest)
        np.multiply(normals[n], lognormals[before], out=product)
        product *= shares[b]
        product *= rest
        product *= weight
        total += product


def simulate(model, draws, seed, threads, generator, probabilities):
    total = np.empty(draws)
    parts = [total[start : start + CHUNK] for start in range(0, draws, CHUNK)]
    seeds = np.random.SeedSequence(seed).spawn(len(parts))

    def labour(thread):
        room = None
        for part, seed in list(zip(parts, seeds))[thread::threads]:
            if room is None or room.product.size != part.size:
                room = Room(model, part.size)
            draw(model, generator, seed, room, part)

    if threads == 1:
        labour(0)
    else:
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(labour, range(threads)))
    return total.mean(), total.std(ddof=1), np.quantile(total, probabilities)


def main():
    model = json.loads(sys.stdin.readline())
    probabilities = model["probabilities"]
    for name in ("means", "deviations", "medians", "sigmas"):
        model[name] = np.array(model[name])[:, None]
    model["log_medians"] = np.log(model["medians"])
    print(json.dumps({"numpy": np.__version__}), flush=True)
    for line in sys.stdin:
        *numbers, generator = line.split()
        draws, seed, threads = (int(number) for number in numbers)
        generator = GENERATORS[generator]
        began, worked = time.perf_counter(), time.process_time()
        mean, deviation, quantiles = simulate(
            model, draws, seed, threads, generator, probabilities
        )
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

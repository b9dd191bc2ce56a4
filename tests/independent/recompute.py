"""Computes a statement anew from the tables of a bag alone: recompute.py BAG

Written from the description of the accounting (kitchen tests of independent groups; IPCC error
propagation; formulas of the trace by name) and from the methodology's JSON, with pandas for the
rows and scipy for the quantiles. Nothing of the program runs. The derivatives that the
propagation needs are taken by complex steps, which is another way than the program's.

Every number is compared with what the statement states: values, standard errors, degrees of
freedom and interval ends of the trace to the last of the 8 significant digits that a trace
states, figures to the last of 6, claims as they stand.

Sources of the rules: standard adults 0.5, 0.8, 1.0, 0.8 (the kitchen performance test's; MEMORY);
emissions = dry fuel x NCV x EF (2006 IPCC Guidelines, vol. 2); fNRB on the CO2 term alone (GS
TPDDTEC v3.1); propagation and Student's t (2006 IPCC Guidelines, vol. 1, ch. 3; JCGM 100 annex G
for Welch-Satterthwaite); carbon x 44/12.
"""

import json
import math
import os
import sys
from decimal import ROUND_FLOOR, Decimal

import numpy as np
import pandas as pd
from scipy import stats

ADULTS = {"children_0_14": 0.5, "women_over_14": 0.8, "men_15_59": 1.0, "men_over_59": 0.8}
NODE_DIGITS, FIGURE_DIGITS = 8, 6


class Bag:
    """The tables of a bag as they were known at a position of the trail."""

    def __init__(self, folder, position):
        self.data = os.path.join(folder, "data")
        batches = pd.read_csv(os.path.join(self.data, "batches.csv"), dtype=str)
        batches["entry"] = batches["entry"].astype(int)
        self.batches = batches[batches["entry"] < position]
        gone = pd.read_csv(os.path.join(self.data, "corrections.csv"), dtype=str)
        gone = gone[gone["entry"].astype(int) < position]
        self.withdrawn = set(gone[gone["line"].isna()]["batch"])
        rows = gone[gone["line"].notna()]
        self.rows_gone = set(zip(rows["batch"], rows["line"]))

    def rows(self, path, rounds=None):
        """The rows that count, of these rounds where any are named."""
        table = pd.read_csv(os.path.join(self.data, path), dtype=str)
        batches = self.batches
        if rounds is not None:
            batches = batches[batches["round"].isin(rounds)]
        counts = table["batch"].isin(batches["batch"]) & ~table["batch"].isin(self.withdrawn)
        places = pd.Series(list(zip(table["batch"], table["line"])), index=table.index)
        return table[counts & ~places.isin(self.rows_gone)]

    def json(self, path):
        with open(os.path.join(self.data, path), encoding="utf-8") as file:
            return json.load(file)


def day(column):
    return pd.to_datetime(column)


def number(column):
    return column.astype(float)


def chosen_rounds(bag, period, position):
    """Surveys and weighings that overlap the period, every baseline begun before its end, and the
    project round begun last."""
    table = pd.read_csv(os.path.join(bag.data, "rounds/rounds.csv"), dtype=str)
    table = table[table["entry"].astype(int) < position]
    starts, ends = day(table["starts_on"]), day(table["ends_on"])
    a, b = (pd.Timestamp(period[end]) for end in ("starts_on", "ends_on"))
    begun, overlaps = starts < b, (starts < b) & (ends > a)
    kind = table["kind"]
    project = begun & (kind == "kitchen_project")
    last = project & (starts == starts[project].max())
    pick = lambda which: sorted(table[which]["round"])
    return {
        "usage": pick(overlaps & (kind == "usage_survey")),
        "char_weighings": pick(overlaps & (kind == "char_weighing")),
        "baseline_kitchens": pick(begun & (kind == "kitchen_baseline")),
        "project_kitchens": pick(last),
    }


def deployments(bag):
    """Deployments with the end that was recorded with them or later, the earliest of several."""
    table = bag.rows("register/deployments.csv").copy()
    ends = bag.rows("register/deployment-ends.csv")
    earliest = ends.groupby(["serial", "installed_on"])["ended_on"].min()
    keys = pd.MultiIndex.from_frame(table[["serial", "installed_on"]])
    later = pd.Series(earliest.reindex(keys).to_numpy(), index=table.index)
    table["ended_on"] = day(table["ended_on"].fillna(later))
    table["installed_on"] = day(table["installed_on"])
    return table


def stove_days(table, period, grace_days):
    """Days in service by whole years since installation; second stoves add none."""
    a, b = (pd.Timestamp(period[end]) for end in ("starts_on", "ends_on"))
    days = {}
    for stove in table[table["second_stove"] != "yes"].itertuples():
        ended = b if pd.isna(stove.ended_on) else min(b, stove.ended_on)
        since = max(a, stove.installed_on + pd.Timedelta(days=grace_days))
        band = 0
        while stove.installed_on + pd.DateOffset(years=band) < ended:
            from_ = max(since, stove.installed_on + pd.DateOffset(years=band))
            until = min(ended, stove.installed_on + pd.DateOffset(years=band + 1))
            if (until - from_).days > 0:
                days[band] = days.get(band, 0) + (until - from_).days
            band += 1
    return days


def use_counts(answers, stoves, period):
    """(in use, answers) by age band on the day of the survey; not found counts as not in use."""
    asked = day(answers["surveyed_on"])
    inside = (asked >= period["starts_on"]) & (asked < period["ends_on"])
    answers = answers[inside].assign(asked=asked[inside])
    stoves = stoves[["serial", "household_code", "installed_on"]]
    pairs = answers.merge(stoves, on=["serial", "household_code"])
    pairs = pairs[pairs["installed_on"] <= pairs["asked"]]
    pairs = pairs.sort_values("installed_on").groupby(["batch", "line"]).last()
    assert len(pairs) == len(answers), "an answer without its stove"
    counts = {}
    for row in pairs.itertuples():
        years = row.asked.year - row.installed_on.year
        band = years - (row.installed_on + pd.DateOffset(years=years) > row.asked)
        used, all_ = counts.get(band, (0, 0))
        counts[band] = (used + (row.outcome == "in_use"), all_ + 1)
    return counts


def kitchens(table):
    """Dry kg a day by device and fuel, and standard adults: one row for each household."""
    wet = number(table["stock_start_wet_kg"]) + number(table["added_wet_kg"])
    dry = (wet - number(table["stock_end_wet_kg"])) * (1 - number(table["moisture_wb"]))
    adults = sum(number(table[name]) * weight for name, weight in ADULTS.items())
    table = table.assign(dry=dry, adults=adults)
    days = table.groupby("household_code")["measured_on"].nunique()
    per_day = table.groupby(["household_code", "measured_on"])["adults"].max()
    burnt = table.pivot_table(
        index="household_code", columns=["device", "fuel"], values="dry", aggfunc="sum"
    )
    means = burnt.fillna(0.0).div(days, axis=0)
    means[("", "standard_adults")] = per_day.groupby("household_code").sum() / days
    return means


def moments(factor):
    """Value and standard deviation of a factor, by the shape of its spread."""
    value, spread = float(factor["value"]), factor["spread"]
    kind = spread["kind"]
    if kind == "exact":
        return value, 0.0
    if kind == "normal":
        return value, float(spread["standard_deviation"])
    low, high = float(spread["lower"]), float(spread["upper"])
    if kind == "triangular":
        return value, stats.triang((value - low) / (high - low), low, high - low).std()
    if kind == "uniform":
        return value, stats.uniform(low, high - low).std()
    if kind == "lognormal":
        z = stats.norm.ppf((1 + float(spread["confidence"])) / 2)
        return value, stats.lognorm(math.log(high / low) / (2 * z), scale=value).std()
    raise ValueError(f"a spread that this script does not know: {kind}")


class Factors:
    """The factors of a methodology, found by what they say."""

    def __init__(self, factors, methodology):
        self.by_id = {f"{f['code']}@{f['version']}": f for f in factors}
        self.named = [(id_, self.by_id[id_]) for id_ in methodology["factors"]]

    def find(self, quantity, species=None, device=None, fuel=None, unit=None):
        """The most particular one that fits; None where there is none."""
        fits = []
        for id_, factor in self.named:
            if factor["quantity"] != quantity or factor["species"] != species:
                continue
            if unit and not factor["unit"].startswith(unit):
                continue
            if factor["device"] not in (None, device) or factor["fuel"] not in (None, fuel):
                continue
            fits.append(((factor["device"] is not None) + (factor["fuel"] is not None), id_))
        return max(fits)[1] if fits else None


class Inputs:
    """Uncertain inputs in blocks that vary together, each with its degrees of freedom."""

    def __init__(self):
        self.values, self.blocks, self.places = [], [], {}

    def add(self, names, values, covariance, freedom):
        start = len(self.values)
        self.values.extend(float(value) for value in values)
        self.places.update({name: start + at for at, name in enumerate(names)})
        self.blocks.append((slice(start, len(self.values)), np.atleast_2d(covariance), freedom))

    def propagate(self, model):
        """Value, standard error and Welch-Satterthwaite degrees of freedom of every output."""
        point = np.array(self.values, dtype=complex)
        at = lambda vector: model(lambda name: vector[self.places[name]])
        values = {name: complex(value).real for name, value in at(point).items()}
        slopes = {name: np.zeros(len(point)) for name in values}
        for place in range(len(point)):
            step = point.copy()
            step[place] += 1e-30j
            for name, value in at(step).items():
                slopes[name][place] = complex(value).imag / 1e-30
        outcome = {}
        for name, gradient in slopes.items():
            parts = [
                (gradient[where] @ covariance @ gradient[where], freedom)
                for where, covariance, freedom in self.blocks
            ]
            variance = sum(part for part, _ in parts)
            below = sum(part**2 / freedom for part, freedom in parts if math.isfinite(freedom))
            freedom = variance**2 / below if below > 0 else math.inf
            outcome[name] = (values[name], math.sqrt(max(variance, 0.0)), freedom)
        return outcome


def survey_inputs(inputs, prefix, means):
    """Means over households with the covariance of these means."""
    names = [
        f"{prefix}/standard_adults" if device == "" else f"{prefix}/{device}/{fuel}"
        for device, fuel in means.columns
    ]
    n = len(means)
    inputs.add(names, means.mean(), means.cov().to_numpy() / n, n - 1)
    return [(device, fuel) for device, fuel in means.columns if device != ""]


def build(bag, statement, methodology, rounds):
    """Gathers everything from the rows; returns the inputs and the model over them."""
    for key, wanted in {
        "fuel_method": "kitchen_test_independent",
        "fuel_per": "household",
        "non_renewable_on": "co2",
    }.items():
        assert methodology[key] == wanted, f"this script knows {key} = {wanted} alone"
    period = statement["period"]
    factors = Factors(bag.json("factors.json"), methodology)
    inputs = Inputs()
    for id_, factor in factors.named:
        value, deviation = moments(factor)
        inputs.add([id_], [value], deviation**2, math.inf)

    stoves = deployments(bag)
    days = stove_days(stoves, period, methodology["grace_days"])
    answers = bag.rows("evidence/usage-survey.csv", rounds["usage"])
    counts = use_counts(answers, stoves, period)
    for band in sorted(days):
        used, n = counts[band]
        p = used / n
        assert 0 < used < n, "a share of none or all has another spread"
        inputs.add([f"use/rate/band/{band}"], [p], p * (1 - p) / n, n - 1)
    burns = {}
    for arm in ("baseline", "project"):
        rows = bag.rows("evidence/kitchen-test.csv", rounds[f"{arm}_kitchens"])
        burns[arm] = survey_inputs(inputs, f"fuel/{arm}", kitchens(rows))
    char = char_lots(bag.rows("evidence/char-weighing.csv", rounds["char_weighings"]), period,
                     float(factors.by_id[methodology["char_rule"]["yield_bound"]]["value"]))
    fuels = {fuel["code"]: fuel for fuel in methodology["fuels"]}

    def model(x):
        out = {}
        using(out, x, days)
        for arm in ("baseline", "project"):
            out[f"fuel/{arm}"] = sum(x(f"fuel/{arm}/{d}/{f}") for d, f in burns[arm])
            out[f"fuel/{arm}/per_adult_day"] = (
                out[f"fuel/{arm}"] / x(f"fuel/{arm}/standard_adults")
            )
            for device, fuel in burns[arm]:
                emitted(out, x, factors, methodology, arm, device, fuels[fuel])
        out["fuel/saved_per_household_day"] = out["fuel/baseline"] - out["fuel/project"]
        days_in_use = out["use/household_days_in_use"]
        out["fuel/saved"] = out["fuel/saved_per_household_day"] * days_in_use / 1000
        totals(out, methodology, days_in_use)
        out["co2e/reductions"] = out["co2e/avoided"] * x(methodology["leakage"])
        out["leakage/all"] = out["co2e/avoided"] - out["co2e/reductions"]
        stored(out, x, factors, methodology, char, fuels)
        return out

    return inputs, model


def using(out, x, days):
    out["use/stove_days"] = sum(days.values())
    for band, count in days.items():
        out[f"use/stove_days/band/{band}"] = count
        out[f"use/rate/band/{band}"] = x(f"use/rate/band/{band}")
        out[f"use/household_days_in_use/band/{band}"] = count * x(f"use/rate/band/{band}")
    in_use = sum(out[f"use/household_days_in_use/band/{band}"] for band in days)
    out["use/household_days_in_use"] = in_use
    out["use/rate"] = in_use / out["use/stove_days"]


def emitted(out, x, factors, methodology, arm, device, fuel):
    """Emissions of one fuel in one device, per household-day."""
    dry = x(f"fuel/{arm}/{device}/{fuel['code']}")
    out[f"fuel/{arm}/{device}/{fuel['code']}"] = dry
    place = f"{arm}/{device}/{fuel['code']}"
    energy = dry * x(factors.find("net_calorific_value", fuel=fuel["class"])) * 1e-6
    find = lambda species, unit: factors.find(
        "emission_factor", species, device, fuel["class"], unit
    )
    for gas in ("CO2", "CH4", "N2O"):
        mass = energy * x(find(gas, "kg/TJ"))
        warming = 1.0
        if gas == "CO2":
            out[f"co2_all/{place}"] = mass
            mass = mass * x(fuel["non_renewable_fraction"])
        else:
            warming = x(factors.find("global_warming_potential", gas))
        name = gas.lower()
        out[f"{name}/{place}"] = mass
        out[f"co2e/{place}/{name}"] = mass * warming
    out[f"co2e/{place}"] = sum(out[f"co2e/{place}/{gas}"] for gas in ("co2", "ch4", "n2o"))
    for species in methodology["species"]:
        factor = find(species, "g/kg")
        grams = None if factor is None else x(factor)
        if factor is None and species == "BC":
            # From particulate matter, by the share that holds for this device.
            grams = x(find("PM2.5", "g/kg")) * x(factors.find("black_carbon_share", device=device))
        out[f"{species.lower().replace('.', '')}/{place}"] = dry * grams / 1000


def totals(out, methodology, days_in_use):
    species = [name.lower().replace(".", "") for name in methodology["species"]]
    tonnes = ("co2e", "co2", "co2_all")
    for name in ["co2e", "co2", "ch4", "n2o", "co2_all", *species]:
        scale = 1000 if name in tonnes else 1
        for arm in ("baseline", "project"):
            parts = [v for k, v in out.items() if k.startswith(f"{name}/{arm}/") and k.count("/") == 3]
            per_day = sum(parts)
            out[f"{name}/{arm}_per_household_day"] = per_day
            out[f"{name}/{arm}"] = per_day * days_in_use / scale
        saved = out[f"{name}/baseline_per_household_day"] - out[f"{name}/project_per_household_day"]
        out[f"{name}/avoided_per_household_day"] = saved
        out[f"{name}/avoided"] = out[f"{name}/baseline"] - out[f"{name}/project"]
        out[f"{name}/percent"] = 100 * saved / out[f"{name}/baseline_per_household_day"]


def char_lots(table, period, bound):
    """Dry kg of char by feedstock and fate, and what of it is above the yield bound."""
    weighed = day(table["weighed_on"])
    table = table[(weighed >= period["starts_on"]) & (weighed < period["ends_on"])]
    dry = number(table["char_wet_kg"]) * (1 - number(table["char_moisture_wb"]))
    fuel = number(table["fuel_burnt_wet_kg"]) * (1 - number(table["fuel_moisture_wb"]))
    table = table.assign(dry=dry, over=dry.where(dry > bound * fuel, 0.0))
    return table.groupby(["feedstock", "fate"])[["dry", "over"]].sum()


def stored(out, x, factors, methodology, lots, fuels):
    rule = methodology["char_rule"]
    assert rule["carbon"] == "cited" and rule["counted_in"] == "soil_sink"
    weighed, to_soil, kilograms = 0.0, 0.0, 0.0
    for (feedstock, fate), lot in lots.iterrows():
        weighed += lot["dry"]
        out[f"char/{feedstock}/{fate}/dry"] = lot["dry"]
        if fate not in rule["durable_fates"]:
            continue
        fuel = fuels[feedstock]
        within = lot["dry"] - lot["over"]
        carbon = within * x(factors.find("char_carbon_fraction", fuel=fuel["char_class"]))
        durable = carbon * x(rule["permanence"]) * (1 - x(fuel["non_renewable_fraction"]))
        out[f"char/{feedstock}/{fate}/durable_carbon"] = durable
        out[f"char/{feedstock}/{fate}/stored"] = durable * 44 / 12
        to_soil += within
        kilograms += durable * 44 / 12
    out["char/weighed_dry"], out["char/to_soil_dry"] = weighed, to_soil
    out["char/removals"] = kilograms / 1000


def differs(found, stated, digits):
    """Whether a number is not the stated one, which was rounded to so many digits but never
    coarser than the whole unit. Half a unit of the last digit, and a breath for the doubles."""
    size = 10 ** min(0, math.floor(math.log10(abs(stated))) + 1 - digits) if stated else 1e-12
    return abs(found - stated) > 0.5 * size * (1 + 1e-6) + 1e-11 * abs(stated)


def interval(value, error, freedom, confidence):
    quantile = stats.norm.ppf if math.isinf(freedom) else lambda p: stats.t.ppf(p, freedom)
    half = quantile((1 + confidence) / 2) * error
    return value - half, value + half


def compare(outcome, statement, confidence):
    problems, compared = [], 0
    nodes = {node["id"]: node for node in statement["trace"]["nodes"]}
    for name, (value, error, freedom) in outcome.items():
        node = nodes.get(name)
        if node is None:
            problems.append(f"{name} is not in the trace")
            continue
        lower, upper = interval(value, error, freedom, confidence)
        told = node["degrees_of_freedom"]
        pairs = {"value": value, "standard_error": error, "lower": lower, "upper": upper}
        if told is not None:
            pairs["degrees_of_freedom"] = freedom
        elif error > 0 and math.isfinite(freedom):
            problems.append(f"{name}: no degrees of freedom are stated, {freedom} found")
        for key, found in pairs.items():
            compared += 1
            if differs(found, float(node[key]), NODE_DIGITS):
                problems.append(f"{name}, {key} differs: {found!r} found, {node[key]} stated")
    for figure in statement["figures"]:
        if figure["node"] not in outcome:
            problems.append(f"figure {figure['id']} was not computed")
            continue
        value, error, freedom = outcome[figure["node"]]
        ends = interval(value, error, freedom, confidence)
        for key, found in zip(("value", "lower", "upper"), (value, *ends)):
            compared += 1
            if differs(found, float(figure[key]), FIGURE_DIGITS):
                problems.append(f"figure {figure['id']}, {key} differs: {found!r}")
    return problems, compared


def claims(outcome, statement, methodology, confidence):
    """The lower bound of the two-sided interval, whole tonnes, rounded down, never below zero."""
    rule = methodology["claim"]
    assert rule["precision"] is None and rule["sides"] == "two"
    for name, node in (("reductions", "co2e/reductions"), ("removals", "char/removals")):
        lower, _ = interval(*outcome[node], confidence)
        found = max(0, int(Decimal(lower).to_integral_value(ROUND_FLOOR)))
        if found != statement["claims"][name]["tonnes"]:
            yield f"the claim of {name} differs: {found} found"


def main(folder):
    places = os.path.join(folder, "data", "statements")
    names = [name for name in os.listdir(places) if not name.endswith(".prov.json")]
    assert names, "no statement"
    failed = False
    for name in sorted(names):
        with open(os.path.join(places, name), encoding="utf-8") as file:
            statement = json.load(file)
        bag = Bag(folder, statement["position"])
        chosen = statement["methodology"]
        methodology = next(
            m for m in bag.json("methodologies.json")
            if (m["code"], m["version"]) == (chosen["code"], chosen["version"])
        )
        rounds = chosen_rounds(bag, statement["period"], statement["position"])
        inputs, model = build(bag, statement, methodology, rounds)
        outcome = inputs.propagate(model)
        confidence = float(methodology["claim"]["confidence"])
        problems, compared = compare(outcome, statement, confidence)
        problems.extend(claims(outcome, statement, methodology, confidence))
        told = {each["role"]: each["rounds"] for each in statement["evidence"]}
        problems.extend(
            f"the rounds of {role} differ: {codes}"
            for role, codes in rounds.items() if told[role] != codes
        )
        for problem in problems[:30]:
            print(problem)
        failed = failed or bool(problems)
        if not problems:
            print(f"{name}: {compared} stated numbers agree to their last digit")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))

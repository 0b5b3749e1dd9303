"""Section 5: divided differences and plain sampling."""

import math

import numpy as np
from scipy.optimize import brentq
from scipy.stats import beta, norm

import sample
from site_file import INPUTS

H2 = 3.0
RUNS = 100_000
# other side's runs, for brackets: an estimate from this many runs is to fall inside them
OTHER = 100_000
SIGMAS = 4.0


def clopper_pearson(k, n, level=0.95):
    a = (1.0 - level) / 2.0
    low = 0.0 if k == 0 else float(beta.ppf(a, k, n - k + 1))
    high = 1.0 if k == n else float(beta.ppf(1.0 - a, k + 1, n - k))
    return low, high


class Normals:
    """A mixture of normals: (weight, mean, sd) of good and of botched tries."""

    def __init__(self, parts):
        self.parts = [p for p in parts if p[0] > 0.0]
        self.mean = sum(w * m for w, m, _ in self.parts)
        self.sd = math.sqrt(sum(w * (s * s + (m - self.mean) ** 2) for w, m, s in self.parts))

    def cdf(self, x):
        return float(sum(w * norm.cdf(x, m, s) for w, m, s in self.parts))

    def survival(self, x):
        return float(sum(w * norm.sf(x, m, s) for w, m, s in self.parts))

    def quantile(self, p):
        reach = max(abs(norm.ppf(min(p, 1.0 - p) * 1e-3)), 6.0)
        low = min(m - reach * s for _, m, s in self.parts)
        high = max(m + reach * s for _, m, s in self.parts)
        tail = self.survival if p > 0.5 else self.cdf
        goal, sign = (1.0 - p, -1.0) if p > 0.5 else (p, 1.0)
        if high - low < 1e-14:
            return low
        return brentq(lambda x: sign * (tail(x) - goal), low, high, xtol=1e-13, rtol=1e-15)


class Sampled:
    """The same from the runs of the sampling that reach the plane."""

    def __init__(self, values):
        self.values = np.sort(values)

    def survival(self, x):
        return float(np.count_nonzero(self.values > x)) / len(self.values)

    def quantile(self, p):
        return float(np.quantile(self.values, p))


def difference_runs(s, mass, botched, gap):
    """Mean, sd and terms of the 2n + 1 runs of good or of botched tries; None where one does not land."""
    n = len(INPUTS)
    z = np.zeros((n, 2 * n + 1))
    for i in range(n):
        z[i, 1 + 2 * i], z[i, 2 + 2 * i] = math.sqrt(H2), -math.sqrt(H2)
    q = sample.draw(s, z, botched=botched)
    r = sample.run(s, mass, q, gap=gap, fine=8, dt=0.005)
    if np.any(r["state"] != 0) or not np.all(r["landed"]) or np.any(r["x_up"] > gap):
        return None
    out = {}
    for name, v in (("along", r["x"] - gap), ("across", r["y"] - s.offset), ("normal", r["normal"])):
        plus, minus = v[1::2], v[2::2]
        even = plus + minus - 2.0 * v[0]
        terms = (plus - minus) ** 2 / (4.0 * H2) + (H2 - 1.0) / (4.0 * H2 * H2) * even**2
        out[name] = (v[0] + float(np.sum(even)) / (2.0 * H2), math.sqrt(float(np.sum(terms))), terms)
    return out


def differences(s, mass, gap=None):
    """The mixture of good and botched tries: means, sds and shares, and each kind apart; None where
    either does not reach the plane. `mixtures` is taken off by whoever writes the result."""
    gap = s.gap if gap is None else gap
    share = s.botched
    kinds = {}
    for kind, weight in (("good", 1.0 - share), ("botched", share)):
        if weight > 0.0:
            kinds[kind] = (weight, difference_runs(s, mass, kind == "botched", gap))
            if kinds[kind][1] is None:
                return None
    out, mixtures = {}, {}
    for name in ("along", "across", "normal"):
        unit = "mps" if name == "normal" else "m"
        mixture = mixtures[name] = Normals([(w, *runs[name][:2]) for w, runs in kinds.values()])
        out[f"mean_{name}_{unit}"], out[f"sd_{name}_{unit}"] = mixture.mean, mixture.sd
    for name in ("along", "across"):
        mixed = sum(w * runs[name][2] for w, runs in kinds.values())
        total = float(np.sum(mixed))
        out[f"shares_{name}"] = {i: (float(t) / total if total > 0.0 else 0.0) for i, t in zip(INPUTS, mixed)}
    out["along_p001_m"], out["along_p999_m"] = (mixtures["along"].quantile(p) for p in (0.001, 0.999))
    out["normal_p999_mps"] = mixtures["normal"].quantile(0.999)
    for kind, (_, runs) in kinds.items():
        out[kind] = {}
        for name in ("along", "across", "normal"):
            unit = "mps" if name == "normal" else "m"
            out[kind][f"mean_{name}_{unit}"], out[kind][f"sd_{name}_{unit}"] = runs[name][:2]
    return out | {"mixtures": mixtures}


def normals(seed, n=RUNS):
    return np.random.Generator(np.random.PCG64(seed)).standard_normal((len(INPUTS), n))


def botched_runs(s, seed, n=RUNS):
    """Which runs go wrong at the take-off."""
    return np.random.Generator(np.random.PCG64(seed + 1)).random(n) < s.botched


def quantile(sorted_values, p):
    """Value at probability p, and the values at SIGMAS standard errors of the difference between
    two independent samples below and above."""
    n = len(sorted_values)
    se = math.sqrt(p * (1.0 - p) * (1.0 / n + 1.0 / OTHER))
    def at(x):
        return float(np.quantile(sorted_values, min(max(x, 0.0), 1.0)))

    return at(p), [at(p - SIGMAS * se), at(p + SIGMAS * se)]


def sampling(s, r, gap=None, offset=None, botched=None):
    """Mean, sd, quantiles, outcomes and the chance of a miss of a set of runs; with `botched` also
    mean and sd of both kinds of tries."""
    code, along, across = sample.outcomes(s, r, gap, offset)
    n = len(code)
    counts = np.bincount(code, minlength=len(sample.OUTCOMES))
    reach = code < sample.OUTCOMES.index("front")
    k = int(n - counts[0])
    low, high = clopper_pearson(k, n)
    out = {
        "outcomes": {name: int(c) / n for name, c in zip(sample.OUTCOMES, counts)},
        "outcome_counts": {name: int(c) for name, c in zip(sample.OUTCOMES, counts)},
        "miss": k / n,
        "miss_low": low,
        "miss_high": high,
        "samples": n,
    }
    kept = int(np.count_nonzero(reach))
    if kept < 100:
        return out | {"mean_along_m": None}
    out |= moments(along, across, r["normal"], reach)
    if botched is not None:
        for kind, which in (("good", ~botched), ("botched", botched)):
            which = which & reach
            out[kind] = {"runs": int(np.count_nonzero(which))}
            if out[kind]["runs"] >= 100:
                out[kind] |= moments(along, across, r["normal"], which)
    a = np.sort(along[reach])
    for name, p in (("p001", 0.001), ("p50", 0.5), ("p999", 0.999)):
        out[f"along_{name}_m"], out[f"along_{name}_bracket"] = quantile(a, p)
    out["normal_p999_mps"], out["normal_p999_bracket"] = quantile(np.sort(r["normal"][reach]), 0.999)
    return out


def moments(along, across, normal, which):
    out, kept = {}, int(np.count_nonzero(which))
    for name, v in (("along", along), ("across", across), ("normal", normal)):
        v = v[which]
        unit = "mps" if name == "normal" else "m"
        mean, sd = float(np.mean(v)), float(np.std(v, ddof=1))
        fourth = float(np.mean((v - mean) ** 4))
        out[f"mean_{name}_{unit}"], out[f"sd_{name}_{unit}"] = mean, sd
        out[f"mean_{name}_se"] = sd / math.sqrt(kept)
        out[f"sd_{name}_se"] = math.sqrt(max(fourth - sd**4, 0.0) / kept) / (2.0 * sd) if sd > 0.0 else 0.0
    return out


def probit(p, n):
    """Normal quantile of a share, kept off 0 and 1 by half a run."""
    return float(norm.ppf(min(max(p, 0.5 / n), 1.0 - 0.5 / n)))


def levels(target, n):
    """Shares between which an estimate of `target` is expected to fall, both samples' noise in."""
    se = math.sqrt(target * (1.0 - target) * (1.0 / n + 1.0 / OTHER))
    return max(target - SIGMAS * se, 0.0), target + SIGMAS * se


def crossing(f, inside, outside, target, n, tol):
    """Where the share f passes `target` between a place inside (f <= target) and one outside.

    Regula falsi on normal quantiles, then bisection, to `tol`. Returns the place and a bracket of
    the places where f would pass the `levels` of the target, from the local slope."""
    goal = probit(target, n)
    a, fa, b, fb = inside, probit(f(inside), n) - goal, outside, probit(f(outside), n) - goal
    points = [(a, fa), (b, fb)]
    for i in range(40):
        if abs(b - a) <= tol:
            break
        share = 0.5 if (i % 3 == 2 or not fb > fa) else min(max(-fa / (fb - fa), 0.03), 0.97)
        x = a + share * (b - a)
        fx = probit(f(x), n) - goal
        points.append((x, fx))
        if fx <= 0.0:
            a, fa = x, fx
        else:
            b, fb = x, fx
        if abs(fx) < 0.012:  # about one run in the count
            break
    found = points[-1][0] if abs(points[-1][1]) < 0.012 else 0.5 * (a + b)
    for sign in (-1.0, 1.0):  # a slope to either side, where the bracket was too narrow to show one
        by = abs(outside - inside)
        while not any(abs(p[1]) > 0.05 and (p[0] - found) * sign > 0.0 for p in points) and by < 20.0 * abs(outside - inside):
            x = max(found + sign * by, 0.5 * found) if found > 0.0 else found + sign * by
            points.append((x, probit(f(x), n) - goal))
            by *= 2.0
    near = sorted((p for p in points if abs(p[1]) < 1.2 and abs(p[0] - found) > 2 * tol), key=lambda p: abs(p[0] - found))
    low, high = levels(target, n)
    zl, zh = probit(low, n) - goal, probit(high, n) - goal

    def reach(sign):
        """Distance to the level on the inner (sign < 0) or outer side, by the nearest secants."""
        z = zl if sign < 0 else zh
        slopes = [abs(p[1]) / abs(p[0] - found) for p in near[:4] if p[1] * sign > 0 and abs(p[1]) > 0.05]
        if not slopes:
            slopes = [abs(p[1]) / abs(p[0] - found) for p in near[:4] if abs(p[1]) > 0.05]
        if not slopes:  # only far places were tried
            slopes = [abs(p[1]) / abs(p[0] - found) for p in points if abs(p[1]) > 0.05]
        return abs(z) / min(slopes) + tol if slopes else None

    inner, outer = reach(-1), reach(1)
    direction = 1.0 if outside > inside else -1.0
    ends = [None if inner is None else found - direction * inner, None if outer is None else found + direction * outer]
    return found, ends if direction > 0 else ends[::-1]

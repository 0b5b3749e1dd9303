"""A second fit of measured runs: SciPy least squares and an ensemble sampler (emcee) over the Python solution.

    .venv/bin/python fit_reference.py            # write fit/*.csv and expected/fit.json
    .venv/bin/python fit_reference.py --check    # recompute from fit/*.csv, exit 1 on a difference

The runs are invented: computed with drawn parameters, scatter and errors. The measured quantities y of a run are
normal about the model's at the common parameters, with covariance R + sum over scattering inputs j j' sd^2 (j the
derivatives at the most probable point; push-off and lip speed, carry and pop, yaw and line times one scale each).
Parameters are normal about the site's values with the site's standard deviations, the logarithms of the scales about
0 with ln 2.
"""

import csv
import json
import math
import sys
from pathlib import Path

import emcee
import numpy as np
from scipy.optimize import least_squares

import flight
import make_reference
import ride
import sample
import site_file

HERE = Path(__file__).parent
FITTED = ["rolling_resistance", "drag_area_rolling", "drag_area_flying", "lip_speed", "carry", "pop", "line"]
GROUPS = [["push_off", "lip_speed"], ["carry", "pop"], ["yaw", "line"]]
STEADY = ["start_height", "wind_along", "wind_across", "contact_height"]
# data set: site, starts, with a time between marks
SETS = {
    "saddle": ("05_larch_saddle", [-0.4, -0.4, -0.2, -0.2, 0.0, 0.0, 0.0, 0.2], True),
    "saddle_without_split": ("05_larch_saddle", [-0.4, -0.2, 0.0, 0.0, 0.2, 0.2], False),
    "lane": ("03_roller_lane", [0.0, 0.0, 0.1, 0.1, 0.2, 0.2], True),
    "lane_without_split": ("03_roller_lane", [0.0, 0.0, 0.0, 0.1, 0.1, 0.1, 0.2, 0.2, 0.2, 0.2], False),
}
MARKS = (5.0, 0.5)
FRAME_SD = 1.0 / (60.0 * math.sqrt(6.0))
SDS = {"split_time_s": FRAME_SD, "lip_speed_mps": 0.15, "air_time_s": FRAME_SD, "landing_along_m": 0.1, "landing_across_m": 0.08}


def exact(s, q, names):
    """The quantities of one run by DOP853."""
    down = ride.ride_down(s, s.mass, q)
    flown = flight.fly(s, s.mass, q, ride.launch(s, down, q))
    out = {
        "lip_speed_mps": down["speed"] + q["lip_speed"],
        "air_time_s": flown["airtime_s"],
        "landing_along_m": flown["along_m"],
        "landing_across_m": flown["across_m"],
    }
    if "split_time_s" in names:
        out["split_time_s"] = passing(down, MARKS[1]) - passing(down, MARKS[0])
    return np.array([out[name] for name in names])


def passing(down, before_foot):
    """When the ride passes a mark."""
    place = down["foot"] - before_foot
    for start, t, dt, sol, part in down["pieces"]:
        if start <= place <= start + part[0] + 1e-9:
            return t + ride._speed_of_place(sol, dt)(place - start)[1]
    raise ValueError("no such mark")


def inputs(s, start, shift):
    q = dict(s.mean)
    q["start_height"] = start
    for name, by in shift.items():
        q[name] = q[name] + by
    q["push_off"] = max(q["push_off"], 0.0)
    return q


def slopes(s, start, theta, names, wanted):
    """Derivatives of a run's quantities by inputs, over 0.3 standard deviations to either side."""
    base = dict(zip(FITTED, theta))
    out = {}
    for name in wanted:
        side = []
        for sign in (1.0, -1.0):
            moved = dict(base)
            moved[name] = moved.get(name, 0.0) + sign * 0.3 * s.sd[name]
            q = inputs(s, start, moved)
            side.append((q[name], exact(s, q, names)))
        out[name] = (side[0][1] - side[1][1]) / (side[0][0] - side[1][0])
    return out


def parts(s, start, theta, names):
    """Covariance that does not scale, and of each group."""
    j = slopes(s, start, theta, names, STEADY + sum(GROUPS, []))
    outer = lambda group: sum(np.outer(j[name], j[name]) * s.sd[name] ** 2 for name in group)
    return np.diag([SDS[name] ** 2 for name in names]) + outer(STEADY), [outer(group) for group in GROUPS]


def make(key):
    """Draws a data set and writes its table."""
    site, starts, with_split = SETS[key]
    s = site_file.read(HERE / "sites" / f"{site}.toml")
    rng = np.random.default_rng(sum(map(ord, key)))
    names = (["split_time_s"] if with_split else []) + ["lip_speed_mps", "air_time_s", "landing_along_m", "landing_across_m"]
    truth = {name: s.sd[name] * rng.normal() for name in FITTED}
    with open(HERE / "fit" / f"{key}.csv", "w", newline="") as file:
        heads = [h for name in names for h in (name, sd_heading(name))]
        marks = ["mark_1_before_foot_m", "mark_2_before_foot_m"] if with_split else []
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["run", "start_height_m", *marks, *heads])
        for number, by in enumerate(starts):
            start = round(s.start_height + by, 3)
            shift = dict(truth)
            for name in STEADY + sum(GROUPS, []):
                shift[name] = shift.get(name, 0.0) + s.sd[name] * rng.normal()
            y = exact(s, inputs(s, start, shift), names)
            y = [value + SDS[name] * rng.normal() for value, name in zip(y, names)]
            cells = [c for value, name in zip(y, names) for c in (f"{value:.4f}", f"{SDS[name]:.8f}")]
            out.writerow([number + 1, start, *(MARKS if with_split else []), *cells])


def sd_heading(name):
    base, unit = name.rsplit("_", 1)
    return f"{base}_sd_{unit}"


def solve(key):
    site, _, with_split = SETS[key]
    s = site_file.read(HERE / "sites" / f"{site}.toml")
    with open(HERE / "fit" / f"{key}.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    names = [name for name in SDS if name in rows[0]]
    starts = [float(row["start_height_m"]) for row in rows]
    ys = np.array([[float(row[name]) for name in names] for row in rows])
    prior = np.array([s.sd[name] for name in FITTED])
    kinds = sorted(set(starts))

    theta = np.zeros(len(FITTED))
    for _ in range(6):
        pieces = {start: parts(s, start, theta, names) for start in kinds}
        white = {}
        for start in kinds:
            fixed, groups = pieces[start]
            white[start] = np.linalg.inv(np.linalg.cholesky(fixed + sum(groups)))

        def residuals(x):
            shift = dict(zip(FITTED, x * prior))
            f = {start: exact(s, inputs(s, start, shift), names) for start in kinds}
            return np.concatenate([x, *[white[a] @ (f[a] - y) for a, y in zip(starts, ys)]])

        found = least_squares(residuals, theta / prior, method="lm", diff_step=1e-4, xtol=1e-10, ftol=1e-10)
        moved = np.max(np.abs(found.x - theta / prior))
        theta = found.x * prior
        if moved < 1e-4:
            break
    covariance = np.linalg.inv(found.jac.T @ found.jac)
    result = {
        "fitted": FITTED,
        "least_squares": {"shift": list(theta), "sd": list(np.sqrt(np.diag(covariance)) * prior)},
    }
    if not with_split:
        result["emcee"] = sampled(s, names, starts, ys, prior, pieces, theta)
    return result


def sampled(s, names, starts, ys, prior, pieces, theta):
    """The whole posterior of parameters and scales; the model by the vectorised Python solution."""
    walkers, steps, burn = 48, 2600, 600
    fixed = np.array([pieces[a][0] for a in starts])
    groups = np.array([pieces[a][1] for a in starts])
    runs, dim = len(starts), len(FITTED) + 3

    def log_density(x):
        n = len(x)
        shift = np.repeat(x[:, : len(FITTED)] * prior, runs, axis=0)
        q = {name: np.full(n * runs, s.mean[name]) for name in s.mean}
        q["start_height"] = np.tile(starts, n)
        for i, name in enumerate(FITTED):
            q[name] = q[name] + shift[:, i]
        np.clip(q["carry"], 0.0, 1.0, out=q["carry"])
        for name in FITTED[:3]:
            np.maximum(q[name], 0.0, out=q[name])
        r = sample.run(s, s.mass, q)
        got = {"lip_speed_mps": r["v"], "air_time_s": r["t"], "landing_along_m": r["x"] - s.gap, "landing_across_m": r["y"] - s.offset}
        off = ys[None] - np.stack([got[name] for name in names], axis=-1).reshape(n, runs, len(names))
        scale2 = np.exp(2.0 * x[:, len(FITTED) :])
        c = fixed[None] + np.einsum("ng,rgij->nrij", scale2, groups)
        solved = np.linalg.solve(c, off[..., None])[..., 0]
        _, logdet = np.linalg.slogdet(c)
        value = -0.5 * np.sum(off * solved, axis=(1, 2)) - 0.5 * np.sum(logdet, axis=1)
        value -= 0.5 * np.sum(x[:, : len(FITTED)] ** 2, axis=1)
        value -= 0.5 * np.sum((x[:, len(FITTED) :] / math.log(2.0)) ** 2, axis=1)
        bad = (r["state"] != 0) | ~r["landed"]
        value[np.any(bad.reshape(n, runs), axis=1)] = -np.inf
        return np.where(np.isfinite(value), value, -np.inf)

    rng = np.random.default_rng(7)
    np.random.seed(7)
    begin = np.concatenate([theta / prior, np.zeros(3)]) + 0.3 * rng.normal(size=(walkers, dim))
    sampler = emcee.EnsembleSampler(walkers, dim, log_density, vectorize=True)
    sampler.random_state = np.random.RandomState(7).get_state()
    sampler.run_mcmc(begin, steps)
    chain = sampler.get_chain(discard=burn, flat=True)
    tau = float(np.max(sampler.get_autocorr_time(discard=burn, quiet=True)))
    k = len(FITTED)
    return {
        "shift": list(chain[:, :k].mean(axis=0) * prior),
        "sd": list(chain[:, :k].std(axis=0) * prior),
        "log_scale": list(chain[:, k:].mean(axis=0)),
        "log_scale_sd": list(chain[:, k:].std(axis=0)),
        "independent_draws": len(chain) / tau,
    }


def main():
    check = "--check" in sys.argv
    target = HERE / "expected" / "fit.json"
    sources = ["fit_reference.py", "flight.py", "requirements.txt", "ride.py", "sample.py", "site_file.py"]
    sites = sorted({f"sites/{site}.toml" for site, _, _ in SETS.values()})
    now = make_reference.digest_of([HERE / name for name in sources + sites])
    if check and "--changed" in sys.argv and make_reference.committed_digests().get("fit") == now:
        return 0
    if not check:
        for key in SETS:
            make(key)
    result = {key: solve(key) for key in SETS}
    if not check:
        target.write_text(json.dumps(result, indent=1) + "\n")
        make_reference.write_digests({"fit": now})
        return 0
    want, faults = json.loads(target.read_text()), []
    for key, parts_of in result.items():
        for method in ("least_squares", "emcee"):
            if method not in parts_of:
                continue
            sds = want[key][method]["sd"]
            # Least squares to a thousandth of a standard deviation; the sampler's own noise is larger.
            tolerance = 1e-3 if method == "least_squares" else 0.15
            for field in ("shift", "sd"):
                for name, a, b, sd in zip(FITTED, want[key][method][field], parts_of[method][field], sds):
                    if not abs(a - b) <= tolerance * sd:
                        faults.append(f"{key} {method} {field} {name}: {a} became {b}")
    print("\n".join(faults) if faults else "fit: as committed")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())

"""Jumps behind each other as one long path, and the intervals of counted runs, in double precision with SciPy.

    python line_reference.py           # write line_reference.json
    python line_reference.py --check   # recompute, compare, exit 1 on a difference

The path is one list of pieces from the first start to the last roll-out: straights and arcs ridden in time (DOP853 on
place and speed of the centre of mass), flights flown in time (DOP853 with the contact as an event). Nothing is taken from
the programs; the equations are those of the ride and of the flight.
"""

import math
import pathlib

from scipy.integrate import solve_ivp
from scipy.stats import beta, chi2, t as student

from kept import keep

G = 9.80665
FILE = pathlib.Path(__file__).with_name("line_reference.json")
RIDER = {
    "mass_kg": 92.0, "rotating_kg": 2.2, "rolling": 0.012, "roll_area_m2": 0.45, "fly_area_m2": 0.60, "carry": 0.5,
    "pop_mps": 0.2, "wheelbase_m": 1.05, "mass_height_m": 1.0, "contact_m": 0.7, "density_kgpm3": 1.2, "wind_mps": 0.0,
}
# start height, slope in degrees, bottom radius, flat run; take-off height and radius; the landing.
STAGES = [
    {"start_m": 6.0, "slope_deg": 30.0, "bottom_m": 7.0, "flat_m": 4.0, "height_m": 2.0, "radius_m": 5.5,
     "deck_from_m": 2.0, "knuckle_m": [4.0, 1.9], "landing_deg": 30.0, "length_m": 5.5, "transition_m": 11.0, "out_m": 6.0},
    {"start_m": 1.5, "slope_deg": 18.0, "bottom_m": 9.0, "flat_m": 3.0, "height_m": 1.2, "radius_m": 6.0,
     "deck_from_m": 2.0, "knuckle_m": [3.0, 1.0], "landing_deg": 22.0, "length_m": 16.0, "transition_m": 14.0, "out_m": 5.0},
    {"start_m": 0.8, "slope_deg": 12.0, "bottom_m": 10.0, "flat_m": 2.0, "height_m": 0.9, "radius_m": 7.0,
     "deck_from_m": 1.5, "knuckle_m": [2.5, 0.8], "landing_deg": 20.0, "length_m": 22.0, "transition_m": 12.0, "out_m": 8.0},
]


def ride(length, kappa, theta0, v, r=RIDER):
    """Speed at the end of a piece of the surface, and the highest load on it in g."""
    shrink = 1.0 - kappa * r["mass_height_m"]
    mu = r["rotating_kg"] / r["mass_kg"]
    k = r["density_kgpm3"] * r["roll_area_m2"] / (2.0 * r["mass_kg"])

    def load(s, v):
        return G * math.cos(theta0 + kappa * s) + kappa / shrink * v * v

    def rates(_, y):
        s, v = y
        pull = -G * math.sin(theta0 + kappa * s)
        rel = v - r["wind_mps"]
        return v / shrink, (pull - k * rel * abs(rel) - r["rolling"] * max(load(s, v), 0.0) / shrink) / (1.0 + mu)

    def end(_, y):
        return y[0] - length

    def rest(_, y):
        return y[1]

    end.terminal = rest.terminal = True
    rest.direction = -1
    done = solve_ivp(rates, (0.0, 300.0), (0.0, v), "DOP853", rtol=1e-11, atol=1e-12, events=(end, rest), dense_output=True)
    if not len(done.t_events[0]):
        return None, None
    last = done.t_events[0][0]
    loads = [load(*done.sol(last * i / 400.0)) / G for i in range(401)]
    return float(done.y_events[0][0][1]), max(loads)


def fly(stage, v, r=RIDER):
    """From the lip to the slope of the landing: how far down the slope, speed along it and into it."""
    radius, height = stage["radius_m"], stage["height_m"]
    lip = math.acos(1.0 - height / radius)
    theta = lip - (1.0 - r["carry"]) * math.asin(r["wheelbase_m"] / (2.0 * radius))
    h = r["mass_height_m"]
    x = -radius * (math.sin(lip) - math.sin(theta)) - h * math.sin(theta)
    z = height - radius * (math.cos(theta) - math.cos(lip)) + h * math.cos(theta)
    state = (x, z, v * math.cos(theta) - r["pop_mps"] * math.sin(theta), v * math.sin(theta) + r["pop_mps"] * math.cos(theta))
    k = r["density_kgpm3"] * r["fly_area_m2"] / (2.0 * r["mass_kg"])
    b = math.radians(stage["landing_deg"])
    sin, cos = math.sin(b), math.cos(b)
    kx, kz = stage["knuckle_m"]

    def rates(_, y):
        u = y[2] - r["wind_mps"]
        drag = k * math.hypot(u, y[3])
        return y[2], y[3], -drag * u, -drag * y[3] - G

    def contact(_, y):
        return (y[0] - kx) * sin + (y[1] - kz) * cos - r["contact_m"]

    contact.terminal, contact.direction = True, -1
    done = solve_ivp(rates, (0.0, 20.0), state, "DOP853", rtol=1e-11, atol=1e-12, events=contact)
    x, z, vx, vz = done.y_events[0][0]
    down = (x - kx) * cos - (z - kz) * sin
    assert 0.0 < down < stage["length_m"], (down, stage)
    return float(down), float(vx * cos - vz * sin), float(-(vx * sin + vz * cos)), float(done.t_events[0][0])


def long_path():
    """Every stage, each begun with the speed that the one before it left."""
    v, rows = 0.0, []
    for stage in STAGES:
        a, b = math.radians(stage["slope_deg"]), math.radians(stage["landing_deg"])
        row = {"in_mps": v}
        straight = (stage["start_m"] - stage["bottom_m"] * (1.0 - math.cos(a))) / math.sin(a)
        radius = stage["radius_m"]
        lip = math.acos(1.0 - stage["height_m"] / radius)
        theta = lip - (1.0 - RIDER["carry"]) * math.asin(RIDER["wheelbase_m"] / (2.0 * radius))
        for piece in (
            (straight, 0.0, -a), (stage["bottom_m"] * a, 1.0 / stage["bottom_m"], -a), (stage["flat_m"], 0.0, 0.0),
            (radius * theta, 1.0 / radius, 0.0),
        ):
            v, _ = ride(*piece, v)
        row["lip_mps"] = v
        row["down_m"], v, row["into_mps"], row["air_s"] = fly(stage, v)
        row["along_mps"] = v
        v, _ = ride(stage["length_m"] - row["down_m"], 0.0, -b, v)
        v, row["load_g"] = ride(stage["transition_m"] * b, 1.0 / stage["transition_m"], -b, v)
        v, _ = ride(stage["out_m"], 0.0, 0.0, v)
        row["out_mps"] = v
        rows.append(row)
    return rows


def intervals():
    rows = []
    for confidence in (0.90, 0.95, 0.99):
        tail = (1.0 - confidence) / 2.0
        for k, n in ((0, 1), (0, 20), (1, 20), (3, 20), (18, 20), (20, 20), (7, 9), (50, 100), (1, 1000), (999, 1000)):
            low = 0.0 if k == 0 else float(beta.ppf(tail, k, n - k + 1))
            high = 1.0 if k == n else float(beta.ppf(1.0 - tail, k + 1, n - k))
            rows.append({"confidence": confidence, "k": k, "n": n, "low": low, "high": high})
    scatter = []
    for confidence in (0.90, 0.95):
        tail = (1.0 - confidence) / 2.0
        for n in (2, 5, 18, 60):
            scatter.append({
                "confidence": confidence, "n": n, "t": float(student.ppf(1.0 - tail, n - 1)),
                "chi_low": float(chi2.ppf(tail, n - 1)), "chi_high": float(chi2.ppf(1.0 - tail, n - 1)),
            })
    return rows, scatter


def compute():
    shares, scatter = intervals()
    return {"rider": RIDER, "stages": STAGES, "long_path": long_path(), "shares": shares, "scatter": scatter}


if __name__ == "__main__":
    keep(FILE, compute(), 1e-7, 1e-9)

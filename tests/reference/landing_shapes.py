"""Surfaces of constant equivalent fall height, in double precision with SciPy.

    python landing_shapes.py           # write landing_shapes.json
    python landing_shapes.py --check   # recompute, compare, exit 1 on a difference

Without air the equation is the closed one of Hubbard 2009 (J. ASTM Int. 6(10), from memory): with the lip at the origin,
take-off angle t and a run through (x, y), v²/2g = x²/(4 (x tan t − y) cos² t) − y and the path's slope is 2y/x − tan t.
With air the run through each place is found by flying (DOP853) and halving (brentq).
"""

import math
import pathlib

from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from kept import keep

G = 9.80665
FILE = pathlib.Path(__file__).with_name("landing_shapes.json")
PLACES = 6


def closed(angle, x0, z0):
    """v²/2g and the path's angle at (x, z) of the run that leaves (x0, z0) at an angle."""
    tan, cos = math.tan(angle), math.cos(angle)

    def run(x, z):
        x, y = x - x0, z - z0
        return x * x / (4 * (x * tan - y) * cos * cos) - y, math.atan(2 * y / x - tan)

    return run


def flown(angle, x0, z0, pop, k, wind):
    def fly(speed, x):
        def rates(_, s):
            u, w = s[2] - wind, s[3]
            drag = k * math.hypot(u, w)
            return [s[2], s[3], -drag * u, -G - drag * w]

        def there(_, s):
            return s[0] - x

        there.terminal = True
        start = [x0, z0, speed * math.cos(angle) - pop * math.sin(angle), speed * math.sin(angle) + pop * math.cos(angle)]
        done = solve_ivp(rates, (0, 60), start, "DOP853", events=there, rtol=1e-10, atol=1e-11)
        return done.y_events[0][0] if len(done.t_events[0]) else [x, -1e3, 1, 0]

    def run(x, z):
        speed = brentq(lambda v: fly(v, x)[1] - z, 1.0, 40.0, xtol=1e-11)
        _, _, forward, up = fly(speed, x)
        return (forward ** 2 + up ** 2) / (2 * G), math.atan2(up, forward)

    return run


def surface(run, first, last, start, limit):
    def slope(x, z):
        head, path = run(x, z[0])
        return [math.tan(min(0.0, path + math.asin(math.sqrt(min(1.0, limit / head)))))]

    at = [first + (last - first) * i / PLACES for i in range(PLACES + 1)]
    done = solve_ivp(slope, (first, last), [start], "RK45", t_eval=at, rtol=1e-8, atol=1e-9)
    return [{"x_m": x, "z_m": z, "slope_deg": math.degrees(math.atan(slope(x, [z])[0]))} for x, z in zip(at, done.y[0])]


CASES = [
    # angle in degrees, x0, z0, pop, k, wind, from, to, height at the beginning, limit
    (30, 0.0, 0.0, 0.0, 0.0, 0.0, 4.0, 14.0, -0.5, 0.5),
    (20, 0.0, 0.0, 0.0, 0.0, 0.0, 6.0, 20.0, -1.0, 1.0),
    (45, 0.0, 3.0, 0.0, 0.0, 0.0, 5.0, 9.0, 2.0, 1.5),
    (60, -0.9, 2.9, 0.0, 0.0, 0.0, 3.0, 7.0, 2.6, 0.4),
    (59, -0.95, 2.95, 0.3, 0.0041, 0.0, 2.8, 6.0, 2.8, 1.0),
    (50, -0.8, 2.8, -0.4, 0.006, 2.0, 4.0, 9.0, 2.5, 0.75),
    (35, -0.6, 2.2, 0.0, 0.004, -3.0, 4.0, 10.0, 1.6, 0.5),
]


def compute():
    cases = []
    for angle, x0, z0, pop, k, wind, first, last, start, limit in CASES:
        a = math.radians(angle)
        run = closed(a, x0, z0) if k == 0 and pop == 0 and wind == 0 else flown(a, x0, z0, pop, k, wind)
        cases.append({
            "angle_deg": angle, "x_m": x0, "z_m": z0, "pop_mps": pop, "k_pm": k, "wind_mps": wind, "from_x_m": first,
            "to_x_m": last, "from_z_m": start, "limit_m": limit, "closed": k == 0,
            "points": surface(run, first, last, start, limit),
        })
    return {"cases": cases}


if __name__ == "__main__":
    keep(FILE, compute(), 1e-6, 1e-6)

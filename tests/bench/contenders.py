"""The same run, from a drawn set of inputs to the landing, as others would write it.

Each contender takes the thirteen inputs of a run (start height, push-off, rolling resistance, drag areas rolling and
flying, lip speed, carry, pop, yaw, line, wind along, wind across, contact height) and gives the landing along and
across, in the model's frame. The equations are those of `core/src/ride.rs` and `core/src/flight.rs`.
"""
import math

import numpy as np
from scipy.integrate import solve_ivp

G = 9.80665
f32 = np.float32


class Site:
    """Numbers of a site as `bench-sampler describe` prints them."""

    def __init__(self, d):
        self.d = d
        self.segments = np.array(d["segments"], dtype=np.float64)
        climb = d["climb"]
        cos = 1 / math.sqrt(1 + climb * climb)
        self.numbers = np.array(
            [d["start_height"], d["height"], d["radius"], d["lip"], d["lag"], d["h"], d["gap"], d["offset"], -climb * cos,
             cos, cos * (d["front_z"] - d["gap"] * climb), d["density"], d["mass"], 1 + d["rotating"] / d["mass"],
             d["length"], d["width"], *d["edges"], d["lowest_start"], math.sin(d["lip"]), math.cos(d["lip"])], dtype=np.float64)
        self.mean = np.array(d["mean"], dtype=np.float64)
        self.sd = np.array(d["sd"], dtype=np.float64)
        # What an input may not go below or above.
        self.low, self.high = np.full(13, -1e30), np.full(13, 1e30)
        self.low[[0, 1, 2, 3, 4, 6, 12]] = [d["lowest_start"], 0, 0, 0, 0, 0, 0.2]
        self.high[[6, 12]] = [1, d["h"]]

    def nodes(self, steps):
        """The ride down to the take-off's foot as Runge-Kutta steps, for Numba: all of a step that no input changes.

        Arc?, length and its change with the start height; shares of the length that a step's beginning, middle and end
        take, weights of g cos θ and gains of height (as energy) there; curvature, shrink.
        """
        h, rows = self.numbers[5], []
        for i, (kind, a, b, c, e, *_) in enumerate(self.segments):
            count = steps[1] if kind else steps[0] if i == 0 else steps[2]
            for j in range(count):
                q = np.array([j, j + 0.5, j + 1]) / count
                if kind:
                    sign, theta = math.copysign(1, e), math.asin(b)
                    shrink = 1 - sign * h / a
                    cos = np.cos(theta + e * q)
                    rise = sign * (a - sign * h) * (cos[0] - cos)
                    rows.append([1, 1, 0, *[a * abs(e) / count] * 3, *(G * cos), *(2 * G * rise[1:]),
                                 sign / (a * shrink), shrink])
                else:
                    # The first straight is taken as q² of its length, from rest on.
                    way, pace = (q * q, 2 * q / count) if i == 0 else (q, np.full(3, 1 / count))
                    rows.append([0, a, 1 / b if e else 0, *pace, *[G * c] * 3, *(2 * G * b * (way[1:] - way[0])), 0, 1])
        return np.array(rows, dtype=f32)


# SciPy: time as the independent variable, an event at each end of a segment and at the bag's plane.
def scipy_run(site, x, method, rtol, atol):
    n = site.numbers
    start, _, radius, lip, lag, h = n[:6]
    density, mass, inertia = n[11:14]
    k = density * x[3] / (2 * mass)
    wind = -x[10]
    v = x[1]
    for kind, a, b, c, e, *_ in site.segments:
        if kind == 0:
            length = a + ((x[0] - start) * (-1 / b) if e else 0)
            curve, theta0 = 0.0, math.asin(b)
        else:
            curve, theta0 = math.copysign(1 / a, e), math.asin(b)
            length = a * abs(e)
        v = scipy_segment(v, length, curve, theta0, h, k, wind, x[2], inertia, method, rtol, atol)
        if v is None:
            return None
    release = lip - (1 - x[6]) * lag
    v = scipy_segment(v, radius * release, 1 / radius, 0.0, h, k, wind, x[2], inertia, method, rtol, atol)
    if v is None:
        return None
    v = max(v + x[5], 0)
    s, c = math.sin(release), math.cos(release)
    forward, up = v * c - x[7] * s, v * s + x[7] * c
    y0 = [-radius * (math.sin(lip) - s) - h * s, x[9], n[1] - radius * (c - math.cos(lip)) + h * c,
          forward * math.cos(x[8]), forward * math.sin(x[8]), up]
    kf = density * x[4] / (2 * mass)
    nx, nz, offset = n[8], n[9], n[10] + x[12]

    def fly(_, y):
        u, w = y[3] - x[10], y[4] - x[11]
        q = kf * math.sqrt(u * u + w * w + y[5] * y[5])
        return [y[3], y[4], y[5], -q * u, -q * w, -q * y[5] - G]

    def plane(_, y):
        return y[0] * nx + y[2] * nz - offset

    plane.terminal, plane.direction = True, -1
    out = solve_ivp(fly, (0, 10), y0, method=method, rtol=rtol, atol=atol, events=plane)
    if not len(out.y_events[0]):
        return None
    end = out.y_events[0][0]
    return end[0] - x[12] * nx - n[6], end[1] - n[7]


def scipy_segment(v, length, curve, theta0, h, k, wind, crr, inertia, method, rtol, atol):
    shrink = 1 - curve * h

    def move(_, y):
        theta = theta0 + curve * y[0]
        u = y[1] + wind
        load = max(G * math.cos(theta) + curve / shrink * y[1] * y[1], 0)
        return [y[1] / shrink, (-G * math.sin(theta) - k * u * abs(u) - crr * load / shrink) / inertia]

    def end(_, y):
        return y[0] - length

    def rest(_, y):
        return y[1] + 1e-9

    end.terminal = rest.terminal = True
    rest.direction = -1
    out = solve_ivp(move, (0, 60), [0, v], method=method, rtol=rtol, atol=atol, events=(end, rest))
    return out.y_events[0][0][1] if len(out.y_events[0]) else None


# NumPy: all runs at once, the same method on lists, in single precision.
def numpy_land(site, x, steps=(3, 1, 1, 2)):
    n = site.numbers.astype(f32)
    h, inertia = n[5], n[13]
    per, g2, G32 = 1 / inertia, f32(2 * G), f32(G)
    k2, crr2, wind = n[11] / n[12] * x[3], f32(2) * x[2], -x[10]
    energy = x[1] * x[1]

    def loss(e, cos, curve, shrink):
        u = np.sqrt(np.maximum(e, 0)) + wind
        return u * np.abs(u) * k2 * f32(shrink) + np.maximum(e * f32(curve) + cos * G32, 0) * crr2

    def advance(energy, nodes):
        total = energy * inertia
        for p0, p1, p2, c0, c1, c2, z1, z2, curve, shrink in nodes:
            k_1 = loss(energy, c0, curve, shrink) * p0
            k_2 = loss((total - f32(0.5) * k_1 - g2 * z1) * per, c1, curve, shrink) * p1
            k_3 = loss((total - f32(0.5) * k_2 - g2 * z1) * per, c1, curve, shrink) * p1
            k_4 = loss((total - k_3 - g2 * z2) * per, c2, curve, shrink) * p2
            total = total - (k_1 + 2 * (k_2 + k_3) + k_4) * f32(1 / 6)
            energy = (total - g2 * z2) * per
        return energy

    def arc_nodes(radius, theta0, turn, count):
        sign = np.sign(turn).astype(f32) if isinstance(turn, np.ndarray) else f32(math.copysign(1, turn))
        shrink = 1 - sign * h / radius
        for j in range(count):
            cs = [np.cos(theta0 + turn * f32((j + q) / count)).astype(f32) for q in (0, 0.5, 1)]
            z = [sign * (radius - sign * h) * (f32(math.cos(theta0)) - c) for c in cs]
            pace = radius * np.abs(turn).astype(f32) / f32(count)
            yield pace, pace, pace, *cs, z[1], z[2], (sign / (radius * shrink)), shrink

    for i, (kind, a, b, c, e, *_) in enumerate(site.segments):
        a, b, c = f32(a), f32(b), f32(c)
        if kind == 0:
            length = np.maximum(a - (x[0] - n[0]) / b, 0) if e else a
            count = steps[0] if i == 0 else steps[2]
            nodes = []
            for j in range(count):
                q = [f32((j + t) / count) for t in (0, 0.5, 1)]
                if i == 0:
                    p, s = [2 * length * f32(1 / count) * t for t in q], [length * t * t for t in q]
                else:
                    p, s = [length * f32(1 / count)] * 3, [length * t for t in q]
                z0 = s[0] * b
                nodes.append((*p, c, c, c, s[1] * b, s[2] * b, 0, 1))
            energy = advance(energy, nodes)
        else:
            energy = advance(energy, arc_nodes(a, math.asin(b), f32(e), steps[1]))
    release = n[3] - (1 - x[6]) * n[4]
    energy = advance(energy, arc_nodes(n[2], 0.0, release, steps[3]))
    v = np.maximum(np.sqrt(np.maximum(energy, 0)) + x[5], 0)
    s, c = np.sin(release), np.cos(release)
    forward = v * c - x[7] * s
    vel = np.stack([forward * np.cos(x[8]), forward * np.sin(x[8]), v * s + x[7] * c])
    pos = np.stack([-n[2] * (np.sin(n[3]) - s) - h * s, x[9], n[1] - n[2] * (c - np.cos(n[3])) + h * c])
    kf = n[11] / (2 * n[12]) * x[4]
    air = np.stack([x[10], x[11], np.zeros_like(x[10])])

    def acc(w):
        u = w - air
        a = -kf * np.sqrt((u * u).sum(0)) * u
        a[2] -= G32
        return a

    nx, nz, offset = n[8], n[9], n[10] + x[12]
    up, pull = vel[0] * nx + vel[2] * nz, G32 * nz
    inside = up * up + 2 * pull * (pos[0] * nx + pos[2] * nz - offset)
    duration = (up + np.sqrt(np.maximum(inside, 0))) / pull
    count = int(np.max(duration) / 0.8) + 1
    dt = duration / f32(count)
    for _ in range(count):
        a = acc(vel)
        b = acc(vel + f32(0.5) * dt * a)
        c = acc(vel + f32(0.5) * dt * b)
        d = acc(vel + dt * c)
        pos = pos + dt * (vel + dt * f32(1 / 6) * (a + b + c))
        vel = vel + dt * f32(1 / 6) * (a + 2 * (b + c) + d)
    for _ in range(2):
        a = acc(vel)
        d, r, q = (pos[0] * nx + pos[2] * nz - offset, vel[0] * nx + vel[2] * nz, a[0] * nx + a[2] * nz)
        dt = -2 * d / (r - np.sqrt(np.maximum(r * r - 2 * q * d, 0)))
        pos = pos + dt * (vel + f32(0.5) * dt * a)
        vel = vel + dt * a
    return pos[0] - x[12] * nx - n[6], pos[1] - n[7]


def numpy_sample(site, count, rng):
    z = rng.standard_normal((13, count), dtype=f32)
    x = site.mean.astype(f32)[:, None] + site.sd.astype(f32)[:, None] * z
    x[0] = np.maximum(x[0], f32(site.numbers[19]))
    x[1:5] = np.maximum(x[1:5], 0)
    x[6] = np.clip(x[6], 0, 1)
    x[12] = np.clip(x[12], f32(0.2), f32(site.numbers[5]))
    along, across = numpy_land(site, x)
    n = site.numbers
    on = (along >= n[16]) & (along <= n[14] - n[17]) & (np.abs(across) <= n[15] / 2 - n[18])
    return int(count - on.sum())

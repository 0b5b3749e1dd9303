"""The same run, from a drawn set of inputs to the landing, as others would write it.

Each contender takes the thirteen inputs of a run (start height, push-off, rolling resistance, drag areas rolling and
flying, lip speed, carry, pop, yaw, line, wind along, wind across, contact height) and gives the landing along and
across, in the model's frame. The equations are those of `core/src/ride.rs` and `core/src/flight.rs`.
"""
import math

import numba as nb
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
             d["length"], d["width"], *d["edges"], d["lowest_start"]], dtype=np.float64)
        self.mean = np.array(d["mean"], dtype=np.float64)
        self.sd = np.array(d["sd"], dtype=np.float64)


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


# Numba: single precision, RK4 with 3, 1, 1 and 2 steps on the first straight, arcs, other straights and the take-off,
# flight steps of at most 0.8 s; all losses stepped, gravity exact (total energy), from rest in the root of the length.
fast = {"fastmath": True, "inline": "always", "error_model": "numpy"}


@nb.njit(**fast)
def rate(energy, cos, curve, shrink, k2, wind, crr2):
    u = math.sqrt(max(energy, f32(0))) + wind
    load = max(energy * curve + cos * f32(G), f32(0))
    return u * abs(u) * k2 * shrink + load * crr2


@nb.njit(**fast)
def acceleration(vx, vy, vz, kf, wx, wy):
    u, w = vx - wx, vy - wy
    q = -kf * math.sqrt(u * u + w * w + vz * vz)
    return q * u, q * w, q * vz - f32(G)


@nb.njit(**fast)
def fly_step(x, y, z, vx, vy, vz, dt, kf, wx, wy):
    half = f32(0.5) * dt
    ax, ay, az = acceleration(vx, vy, vz, kf, wx, wy)
    bx, by, bz = acceleration(vx + half * ax, vy + half * ay, vz + half * az, kf, wx, wy)
    cx, cy, cz = acceleration(vx + half * bx, vy + half * by, vz + half * bz, kf, wx, wy)
    dx, dy, dz = acceleration(vx + dt * cx, vy + dt * cy, vz + dt * cz, kf, wx, wy)
    sixth = dt * f32(1 / 6)
    x += dt * (vx + sixth * (ax + bx + cx))
    y += dt * (vy + sixth * (ay + by + cy))
    z += dt * (vz + sixth * (az + bz + cz))
    vx += sixth * (ax + f32(2) * (bx + cx) + dx)
    vy += sixth * (ay + f32(2) * (by + cy) + dy)
    vz += sixth * (az + f32(2) * (bz + cz) + dz)
    return x, y, z, vx, vy, vz


@nb.njit(**fast)
def numba_run(seg, n, steps, x0, x1, x2, x3, x4, x5, x6, x7, x8, x9, x10, x11, x12):
    h, inertia = n[5], n[13]
    per = f32(1) / inertia
    g2 = f32(2 * G)
    k2 = n[11] * x3 / n[12]
    crr2 = f32(2) * x2
    wind = -x10
    energy = x1 * x1
    alive = True
    for i in range(seg.shape[0]):
        if seg[i, 0] == f32(0):
            sin, cos = seg[i, 2], seg[i, 3]
            length = seg[i, 1]
            if seg[i, 4] != f32(0):
                length = max(length - (x0 - n[0]) / sin, f32(0))
            count = steps[0] if i == 0 else steps[2]
            total = energy * inertia
            # The height is counted from the segment's start; the length is taken as q² of the whole from rest on.
            part = f32(1) / f32(count)
            for j in range(count):
                if i == 0:
                    q0, q1, q2 = f32(j) * part, (f32(j) + f32(0.5)) * part, (f32(j) + f32(1)) * part
                    s1, s2 = length * q1 * q1, length * q2 * q2
                    w = f32(2) * length * part
                    p0, p1, p2 = w * q0, w * q1, w * q2
                else:
                    p0 = length * part
                    p1 = p2 = p0
                    s1, s2 = p0 * (f32(j) + f32(0.5)), p0 * (f32(j) + f32(1))
                k_1 = rate(energy, cos, f32(0), f32(1), k2, wind, crr2) * p0
                e = (total - f32(0.5) * k_1 - g2 * sin * s1) * per
                k_2 = rate(e, cos, f32(0), f32(1), k2, wind, crr2) * p1
                e = (total - f32(0.5) * k_2 - g2 * sin * s1) * per
                k_3 = rate(e, cos, f32(0), f32(1), k2, wind, crr2) * p1
                e = (total - k_3 - g2 * sin * s2) * per
                k_4 = rate(e, cos, f32(0), f32(1), k2, wind, crr2) * p2
                total -= (k_1 + f32(2) * (k_2 + k_3) + k_4) * f32(1 / 6)
                energy = (total - g2 * sin * s2) * per
                alive &= energy > f32(0)
        else:
            energy = arc(energy, seg[i, 1], seg[i, 2], seg[i, 3], seg[i, 4], steps[1], h, inertia, per, k2, wind, crr2)
            alive &= energy > f32(0)
    release = n[3] - (f32(1) - x6) * n[4]
    energy = arc(energy, n[2], f32(0), f32(1), release, steps[3], h, inertia, per, k2, wind, crr2)
    alive &= energy > f32(0)
    v = max(math.sqrt(max(energy, f32(0))) + x5, f32(0))
    s, c = math.sin(release), math.cos(release)
    forward, vz = v * c - x7 * s, v * s + x7 * c
    vx, vy = forward * math.cos(x8), forward * math.sin(x8)
    x = -n[2] * (math.sin(n[3]) - s) - h * s
    y = x9
    z = n[1] - n[2] * (c - math.cos(n[3])) + h * c
    kf = n[11] * x4 / (f32(2) * n[12])
    nx, nz, offset = n[8], n[9], n[10] + x12
    high = x * nx + z * nz - offset
    below = high < f32(0)
    up = vx * nx + vz * nz
    pull = f32(G) * nz
    inside = up * up + f32(2) * pull * high
    alive &= inside > f32(0)
    duration = (up + math.sqrt(max(inside, f32(0)))) / pull
    front = False
    if below:
        # Where it passes the front edge.
        dt = (n[6] - x) / max(vx, f32(0.05))
        ex, _, ez, _, _, _ = fly_step(x, y, z, vx, vy, vz, dt, kf, x10, x11)
        front = ex * nx + ez * nz - offset < f32(0)
    count = int(duration / f32(0.8)) + 1
    dt = duration / f32(count)
    for _ in range(count):
        x, y, z, vx, vy, vz = fly_step(x, y, z, vx, vy, vz, dt, kf, x10, x11)
    for _ in range(2):
        ax, ay, az = acceleration(vx, vy, vz, kf, x10, x11)
        d, r, a = x * nx + z * nz - offset, vx * nx + vz * nz, ax * nx + az * nz
        dt = f32(-2) * d / (r - math.sqrt(max(r * r - f32(2) * a * d, f32(0))))
        x += dt * (vx + f32(0.5) * dt * ax)
        y += dt * (vy + f32(0.5) * dt * ay)
        z += dt * (vz + f32(0.5) * dt * az)
        vx += dt * ax
        vy += dt * ay
        vz += dt * az
    return x - x12 * nx - n[6], y - n[7], alive and not front


@nb.njit(**fast)
def arc(energy, radius, sin0, cos0, turn, count, h, inertia, per, k2, wind, crr2):
    sign = f32(1) if turn > f32(0) else f32(-1)
    shrink = f32(1) - sign * h / radius
    curve = sign / (radius * shrink)
    reach = sign * (radius - sign * h)
    half = turn / f32(2 * count)
    sh, ch = math.sin(half), math.cos(half)
    pace = radius * abs(turn) / f32(count)
    total = energy * inertia
    g2 = f32(2 * G)
    s_0, c_0 = sin0, cos0
    for _ in range(count):
        s_1, c_1 = s_0 * ch + c_0 * sh, c_0 * ch - s_0 * sh
        s_2, c_2 = s_1 * ch + c_1 * sh, c_1 * ch - s_1 * sh
        z1, z2 = reach * (cos0 - c_1), reach * (cos0 - c_2)
        k_1 = rate(energy, c_0, curve, shrink, k2, wind, crr2) * pace
        k_2 = rate((total - f32(0.5) * k_1 - g2 * z1) * per, c_1, curve, shrink, k2, wind, crr2) * pace
        k_3 = rate((total - f32(0.5) * k_2 - g2 * z1) * per, c_1, curve, shrink, k2, wind, crr2) * pace
        k_4 = rate((total - k_3 - g2 * z2) * per, c_2, curve, shrink, k2, wind, crr2) * pace
        total -= (k_1 + f32(2) * (k_2 + k_3) + k_4) * f32(1 / 6)
        energy = (total - g2 * z2) * per
        s_0, c_0 = s_2, c_2
    return energy


@nb.njit(**fast)
def next_word(s0, s1):
    # xoroshiro128+ (Blackman & Vigna).
    word = s0 + s1
    s1 ^= s0
    s0 = ((s0 << np.uint64(24)) | (s0 >> np.uint64(40))) ^ s1 ^ (s1 << np.uint64(16))
    s1 = (s1 << np.uint64(37)) | (s1 >> np.uint64(27))
    return word, s0, s1


@nb.njit(**fast)
def pair(s0, s1):
    # One word for two normals (Box & Muller): 32 bits each for the radius and for the angle.
    word, s0, s1 = next_word(s0, s1)
    u = (f32(word >> np.uint64(32)) + f32(0.5)) * f32(2.0**-32)
    a = f32(word & np.uint64(0xFFFFFFFF)) * f32(2 * math.pi * 2.0**-32)
    r = math.sqrt(max(f32(-2) * math.log(u), f32(0)))
    return r * math.cos(a), r * math.sin(a), s0, s1


@nb.njit(parallel=True, fastmath=True, error_model="numpy")
def numba_sample(seg, n, steps, mean, sd, blocks, seed):
    """Runs in blocks of 4,096; how many miss the landing field."""
    misses = np.zeros(blocks, dtype=np.int64)
    for block in nb.prange(blocks):
        s0 = np.uint64(seed) * np.uint64(0x9E3779B97F4A7C15) + np.uint64(block) * np.uint64(0xBF58476D1CE4E5B9)
        s0 ^= s0 >> np.uint64(31)
        s1 = s0 * np.uint64(0x94D049BB133111EB) + np.uint64(1)
        missed = 0
        for _ in range(4096):
            z0, z1, s0, s1 = pair(s0, s1)
            z2, z3, s0, s1 = pair(s0, s1)
            z4, z5, s0, s1 = pair(s0, s1)
            z6, z7, s0, s1 = pair(s0, s1)
            z8, z9, s0, s1 = pair(s0, s1)
            z10, z11, s0, s1 = pair(s0, s1)
            z12, _, s0, s1 = pair(s0, s1)
            zero, one = f32(0), f32(1)
            along, across, ok = numba_run(
                seg, n, steps, max(mean[0] + sd[0] * z0, n[19]), max(mean[1] + sd[1] * z1, zero),
                max(mean[2] + sd[2] * z2, zero), max(mean[3] + sd[3] * z3, zero), max(mean[4] + sd[4] * z4, zero),
                mean[5] + sd[5] * z5, min(max(mean[6] + sd[6] * z6, zero), one), mean[7] + sd[7] * z7,
                mean[8] + sd[8] * z8, mean[9] + sd[9] * z9, mean[10] + sd[10] * z10, mean[11] + sd[11] * z11,
                min(max(mean[12] + sd[12] * z12, f32(0.2)), n[5]))
            on = (ok and along >= n[16] and along <= n[14] - n[17]
                  and abs(across) <= f32(0.5) * n[15] - n[18])
            missed += 0 if on else 1
        misses[block] = missed
    return misses.sum()


@nb.njit(fastmath=True, error_model="numpy")
def numba_land(seg, n, steps, inputs, out):
    for i in range(inputs.shape[0]):
        x = inputs[i]
        out[i, 0], out[i, 1], _ = numba_run(seg, n, steps, x[0], x[1], x[2], x[3], x[4], x[5], x[6], x[7], x[8], x[9],
                                            x[10], x[11], x[12])


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

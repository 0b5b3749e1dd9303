"""Sections 2 to 4 for many runs at once: fixed-step RK4 in numpy, double precision.

The ride down is integrated in E = v^2 over arc length; its first section over tau with
s = length * tau^2, so that sqrt(E) is smooth at a start from rest. The flight is integrated in
time; contacts are found on the quintic through position, velocity and acceleration at both ends
of a step."""

import math

import numpy as np

from site_file import BOTCHED, G, INPUTS

BLOCK = 8192
STALL, LEAVES, FLIES = 1, 2, 0
OUTCOMES = ("on", "edge", "short", "long", "left", "right", "front", "stall", "leaves_surface")


def draw(s, normals, mean=None, botched=None):
    """Inputs of every run from standard normals (one row per input), with the clips. `botched`
    says which runs go wrong at the take-off (all or none, or one truth value per run)."""
    mean = s.mean if mean is None else mean
    wider = 1.0
    if botched is not None:
        wider = np.where(botched, s.botched_factor, 1.0)
    q = {
        name: mean[name] + s.sd[name] * (wider if name in BOTCHED else 1.0) * normals[i]
        for i, name in enumerate(INPUTS)
    }
    for name in ("start_height", "push_off", "rolling_resistance", "drag_area_rolling", "drag_area_flying"):
        np.maximum(q[name], 0.0, out=q[name])
    np.clip(q["carry"], 0.0, 1.0, out=q["carry"])
    np.clip(q["contact_height"], 0.2, s.h, out=q["contact_height"])
    return q


def cut(q, where):
    return {name: value[where] for name, value in q.items()}


def blocks(q, work, block=BLOCK):
    """Runs `work` over blocks of runs that stay in cache and joins its arrays."""
    n = len(q["carry"])
    parts = [work(cut(q, slice(i, min(i + block, n)))) for i in range(0, n, block)]
    return {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}


def rides(s, mass, q, fine=1):
    """State at the release: x, z, angle, speed of the COM, and whether the run got there."""
    m = mass + s.bike
    mu = s.rotating / m
    k = s.rho * q["drag_area_rolling"] / (2.0 * m)
    crr, w = q["rolling_resistance"], -q["wind_along"]
    e = q["push_off"] ** 2
    state = np.zeros(len(e), dtype=np.int8)
    calm = not np.any(w)
    two_b_crr = 2.0 / (1.0 + mu) * crr

    def slope_of_e(sin, cos, kappa, shrink, energy):
        if calm:
            drag = k * energy
        else:
            rel = np.sqrt(np.maximum(energy, 0.0)) + w
            drag = k * rel * np.abs(rel)
        load = G * cos + kappa / shrink * energy if kappa else G * cos
        return -2.0 * shrink / (1.0 + mu) * (G * sin + drag) - two_b_crr * np.maximum(load, 0.0)

    def mark(sin_cos, kappa, shrink, first):
        """Stalls and take-offs from a convex arc at a grid place."""
        dead = (e <= 0.0) & (state == FLIES)
        if np.any(dead):
            if first:  # at rest at the start is no stall if the slope starts the bike
                dead &= slope_of_e(*sin_cos, kappa, shrink, np.zeros_like(e)) <= 0.0
            state[dead] = STALL
        if kappa < 0.0:
            gone = (G * sin_cos[1] + kappa / shrink * e < 0.0) & (state == FLIES)
            state[gone] = LEAVES
        if np.any(state):
            e[state != FLIES] = 0.0

    def steps(n, length, kappa, theta0, first=False, vector=False):
        """RK4 over one section; `vector`: theta0 or length differ between runs on an arc."""
        nonlocal e
        shrink = 1.0 - kappa * s.h
        trig = (np.sin, np.cos) if vector else (math.sin, math.cos)

        def rate(tau, energy):
            place, ds = (length * tau * tau, 2.0 * length * tau) if first else (length * tau, length)
            theta = theta0 + kappa * place if kappa else theta0
            return ds * slope_of_e(trig[0](theta), trig[1](theta), kappa, shrink, energy)

        def at(tau):
            theta = theta0 + kappa * (length * tau * tau if first else length * tau) if kappa else theta0
            return trig[0](theta), trig[1](theta)

        d = 1.0 / n
        mark(at(0.0), kappa, shrink, first)
        for i in range(n):
            tau = i * d
            k1 = rate(tau, e)
            k2 = rate(tau + d / 2, e + d / 2 * k1)
            k3 = rate(tau + d / 2, e + d / 2 * k2)
            k4 = rate(tau + d, e + d * k3)
            e = e + d / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
            mark(at(tau + d), kappa, shrink, False)

    deviation = q["start_height"] - s.start_height
    for i, (length, kappa, theta) in enumerate(s.chain):
        if i == s.adjust:
            length = np.maximum(0.0, length - deviation / math.sin(theta))
        count = (20 if i == 0 else 20 if kappa < 0.0 else 12 if kappa > 0.0 else 6) * fine
        steps(count, length, kappa, theta, first=i == 0)
    base = max(s.lip - s.lag, 0.0)
    kappa = 1.0 / s.radius
    steps(12 * fine, s.radius * base, kappa, 0.0)
    theta_r = s.lip - (1.0 - q["carry"]) * s.lag
    steps(4 * fine, s.radius * (theta_r - base), kappa, base, vector=True)
    v = np.sqrt(e) + q["lip_speed"]
    state[(v <= 0.0) & (state == FLIES)] = STALL
    return {"theta": theta_r, "v": v, "state": state}


def launch(s, q, r):
    sin, cos = np.sin(r["theta"]), np.cos(r["theta"])
    x = -s.radius * (math.sin(s.lip) - sin) - s.h * sin
    z = s.height - s.radius * (cos - math.cos(s.lip)) + s.h * cos
    along = r["v"] * cos - q["pop"] * sin
    return np.stack([x, q["line"] + 0.0, z, along * np.cos(q["yaw"]), along * np.sin(q["yaw"]), r["v"] * sin + q["pop"] * cos])


def quintic(f0, g0, h0, f1, g1, h1, dt):
    """Coefficients in u = t/dt from value, rate and second rate at both ends."""
    a0, a1, a2 = f0, g0 * dt, h0 * dt * dt / 2.0
    d, dg, dh = f1 - a0 - a1 - a2, g1 * dt - a1 - 2 * a2, h1 * dt * dt - 2 * a2
    return a0, a1, a2, 10 * d - 4 * dg + dh / 2, -15 * d + 7 * dg - dh, 6 * d - 3 * dg + dh / 2


def poly(c, u):
    return c[0] + u * (c[1] + u * (c[2] + u * (c[3] + u * (c[4] + u * c[5]))))


def dpoly(c, u):
    return c[1] + u * (2 * c[2] + u * (3 * c[3] + u * (4 * c[4] + u * 5 * c[5])))


def flights(s, mass, q, start, gap=None, dt=0.04):
    """Contact with the unbounded plane for a bag that stands at `gap`. Arrays: landed, t, x and y
    of the contact point (from the lip), normal speed, and x of the COM where it rises through the
    contact height (-inf if it starts above it, +inf if it never does)."""
    gap = s.gap if gap is None else gap
    k = s.rho * q["drag_area_flying"] / (2.0 * (mass + s.bike))
    wa, wc, c = q["wind_along"], q["wind_across"], q["contact_height"]
    cos, sin = math.cos(s.phi), math.sin(s.phi)
    level = s.base + s.front

    def over(p):
        return (p[2] - level) * cos - (p[0] - gap) * sin - c

    def acceleration(v):
        ux, uy, uz = v[0] - wa, v[1] - wc, v[2]
        drag = k * np.sqrt(ux * ux + uy * uy + uz * uz)
        return np.stack([-drag * ux, -drag * uy, -drag * uz - G])

    p, v = start[:3].copy(), start[3:].copy()
    n = p.shape[1]
    a, d = acceleration(v), over(p)
    down, up = [np.zeros((19, n)) for _ in range(2)]
    has_down = np.zeros(n, bool)
    has_up = d > 0.0
    starts_above = has_up.copy()
    for i in range(max(800, int(12.0 / dt))):
        a2 = acceleration(v + dt / 2 * a)
        a3 = acceleration(v + dt / 2 * a2)
        a4 = acceleration(v + dt * a3)
        p1 = p + dt * v + dt * dt / 6 * (a + a2 + a3)
        v1 = v + dt / 6 * (a + 2 * a2 + 2 * a3 + a4)
        acc1, d1 = acceleration(v1), over(p1)
        rising = (d <= 0.0) & (d1 > 0.0) & ~has_up
        falling = (d > 0.0) & (d1 <= 0.0) & ~has_down
        for hit, store, flag in ((rising, up, has_up), (falling, down, has_down)):
            if np.any(hit):
                j = np.flatnonzero(hit)
                store[:, j] = np.concatenate([p[:, j], v[:, j], a[:, j], p1[:, j], v1[:, j], acc1[:, j], np.full((1, len(j)), i * dt)])
                flag[j] = True
        p, v, a, d = p1, v1, acc1, d1
        if not np.any(~has_down & ((d > 0.0) | (v[2] * cos - v[0] * sin > 0.0))):
            break

    def solve(store):
        b = store
        f = quintic((b[2] - level) * cos - (b[0] - gap) * sin - c, b[5] * cos - b[3] * sin, b[8] * cos - b[6] * sin,
                    (b[11] - level) * cos - (b[9] - gap) * sin - c, b[14] * cos - b[12] * sin, b[17] * cos - b[15] * sin, dt)
        with np.errstate(all="ignore"):
            u = f[0] / (f[0] - poly(f, 1.0))
            for _ in range(8):
                u = np.clip(u - poly(f, u) / dpoly(f, u), 0.0, 1.0)
        paths = [quintic(b[j], b[3 + j], b[6 + j], b[9 + j], b[12 + j], b[15 + j], dt) for j in range(3)]
        return u, paths, store[18] + u * dt

    u, paths, t = solve(down)
    x, y = poly(paths[0], u) + c * sin, poly(paths[1], u)
    vx, vz = dpoly(paths[0], u) / dt, dpoly(paths[2], u) / dt
    x_up = np.where(has_up, np.inf, np.inf)
    if not np.all(starts_above):
        uu, upaths, _ = solve(up)
        x_up = np.where(has_up, poly(upaths[0], uu), np.inf)
    x_up[starts_above] = -np.inf
    return {"landed": has_down, "t": t, "x": x, "y": y, "normal": vx * sin - vz * cos, "x_up": x_up}


def run(s, mass, q, gap=None, fine=1, dt=0.04, block=BLOCK, releases=None):
    """Everything for one rider: releases and landings."""
    def work(part):
        r = {n: part.pop("_" + n) for n in ("theta", "v", "state")} if releases is not None else rides(s, mass, part, fine)
        f = flights(s, mass, part, launch(s, part, r), gap, dt)
        return {**r, **f}

    if releases is not None:
        q = {**q, **{"_" + n: releases[n] for n in ("theta", "v", "state")}}
    return blocks(q, work, block)


def outcomes(s, r, gap=None, offset=None):
    """Outcome index (into OUTCOMES) of each run and its along and across. For a level top the
    landings of one flight serve any gap; for a sloped one `r` must have been flown at `gap`."""
    gap = s.gap if gap is None else gap
    offset = s.offset if offset is None else offset
    along, across = r["x"] - gap, r["y"] - offset
    side = s.width / 2.0
    inside = (along >= s.edge_front) & (along <= s.length - s.edge_back) & (np.abs(across) <= side - s.edge_side)
    code = np.where(inside, 0, 1)
    code[across < -side] = 5
    code[across > side] = 4
    code[along > s.length] = 3
    code[along < 0.0] = 2
    code[(r["x_up"] > gap) | ~r["landed"]] = 6
    code[r["state"] == STALL] = 7
    code[r["state"] == LEAVES] = 8
    return code, along, across


def misses(s, r, gap=None, offset=None):
    code, _, _ = outcomes(s, r, gap, offset)
    return int(np.count_nonzero(code))

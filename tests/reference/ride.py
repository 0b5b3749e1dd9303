"""The ride down and the take-off: DOP853 in time for one run."""

import math

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

from site_file import G

RTOL, ATOL = 1e-11, 1e-13


def chain(s, start_height):
    """The roll-in's sections with its first sloping straight fitted to the start height."""
    parts = [list(p) for p in s.chain]
    length, _, theta = parts[s.adjust]
    parts[s.adjust][0] = max(0.0, length - (start_height - s.start_height) / math.sin(theta))
    return parts


def forces(s, mass, v, w, theta, kappa, q, brake=0.0):
    """dv/dt and the load N/m at speed v: section 2 divided by 2 v and turned to time."""
    m = mass + s.bike
    mu = s.rotating / m
    k = s.rho * q["drag_area_rolling"] / (2.0 * m)
    shrink = 1.0 - kappa * s.h
    load = G * math.cos(theta) + kappa / shrink * v * v
    ground = (q["rolling_resistance"] * max(load, 0.0) + brake * min(max(load, 0.0), G)) / shrink
    rel = v + w
    return (-G * math.sin(theta) - k * rel * abs(rel) - ground) / (1.0 + mu), load


def section(s, mass, q, part, v0, brake=0.0, offset=0.0):
    """One section from its place `offset` on. Returns (what, place, v, t, solution)."""
    length, kappa, theta0 = part
    w = -q["wind_along"]
    shrink = 1.0 - kappa * s.h
    if shrink <= 0.0:
        raise ValueError("a concave arc tighter than the mass height")

    def rhs(_, y):
        acc, _load = forces(s, mass, y[1], w, theta0 + kappa * y[0], kappa, q, brake)
        return (y[1] / shrink, acc)

    def end(_, y):
        return y[0] - length

    def stop(_, y):
        return y[1]

    def lift(_, y):
        return G * math.cos(theta0 + kappa * y[0]) + kappa / shrink * y[1] ** 2

    end.terminal = stop.terminal = lift.terminal = True
    end.direction, stop.direction, lift.direction = 1, -1, -1
    events = [end, stop] + ([lift] if kappa < 0.0 else [])
    if kappa < 0.0 and lift(0.0, (offset, v0)) < 0.0:
        return "leaves", offset, v0, 0.0, None
    if v0 <= 0.0 and rhs(0.0, (offset, 0.0))[1] <= 0.0:
        return "stall", offset, 0.0, 0.0, None
    if length - offset <= 0.0:
        return "end", length, v0, 0.0, None
    sol = solve_ivp(rhs, (0.0, 600.0), (offset, v0), "DOP853", rtol=RTOL, atol=ATOL, events=events, dense_output=True)
    which = [i for i, t in enumerate(sol.t_events) if len(t)]
    place, v = sol.y_events[which[0]][0]
    v = 0.0 if which[0] == 1 else v
    return ("end", "stall", "leaves")[which[0]], place, v, sol.t_events[which[0]][0], sol


def peak(s, part, t_end, sol):
    """Highest N/(m g) in one section."""
    _, kappa, theta0 = part
    shrink = 1.0 - kappa * s.h

    def load(t):
        place, v = sol.sol(t)
        return (G * math.cos(theta0 + kappa * place) + kappa / shrink * v * v) / G

    grid = [t_end * i / 200.0 for i in range(201)]
    values = [load(t) for t in grid]
    best = max(range(201), key=values.__getitem__)
    if best in (0, 200) or kappa == 0.0:
        return values[best]
    near = minimize_scalar(lambda t: -load(t), bounds=(grid[best - 1], grid[best + 1]), method="bounded", options={"xatol": 1e-12})
    return max(values[best], -near.fun)


def release_angle(s, carry):
    return s.lip - (1.0 - carry) * s.lag


def ride_down(s, mass, q, brake_from=None, brake=0.0):
    """From the start to the release. Places are arc length on the surface from the start."""
    parts = chain(s, q["start_height"])
    foot = sum(p[0] for p in parts)
    theta_r = release_angle(s, q["carry"])
    parts.append([s.radius * theta_r, 1.0 / s.radius, 0.0])
    v, t, place, top_load, pieces = q["push_off"], 0.0, 0.0, 0.0, []
    out = {"foot": foot, "theta_r": theta_r, "stall": None, "leaves_surface": None}
    for part in parts:
        what, at, v_end, dt, sol = section(s, mass, q, part, v)
        if sol is not None:
            top_load = max(top_load, peak(s, part, dt, sol))
            pieces.append((place, t, dt, sol, part))
        out.update(speed=v_end, time=t + dt, peak_load=top_load, pieces=pieces)
        if what != "end":
            out["stall" if what == "stall" else "leaves_surface"] = {
                "before_foot_m": foot - (place + at),
                "speed_mps": v_end,
            }
            return out
        v, t, place = v_end, t + dt, place + part[0]
    return out


def launch(s, ride, q):
    """Position and velocity of the COM at the release, lip-speed scatter and pop added."""
    theta = ride["theta_r"]
    v = ride["speed"] + q["lip_speed"]
    x = -s.radius * (math.sin(s.lip) - math.sin(theta)) - s.h * math.sin(theta)
    z = s.height - s.radius * (math.cos(theta) - math.cos(s.lip)) + s.h * math.cos(theta)
    along = v * math.cos(theta) - q["pop"] * math.sin(theta)
    up = v * math.sin(theta) + q["pop"] * math.cos(theta)
    return (x, q["line"], z, along * math.cos(q["yaw"]), along * math.sin(q["yaw"]), up)


def last_stop(s, mass, q, ride, brake):
    """The last place from which braking stops the rider before the foot, as (arc length before
    the foot, time from the start). None where there is no such place.

    The limiting braked run is followed backwards in time from rest at the foot until it meets the
    unbraked ride: anyone slower than it at its place can stop, anyone faster cannot. Where it comes
    to rest first, nobody above that place can stop at the foot, but the rider may still stop higher
    up: there the limiting run begins again at the next place where the brakes hold."""
    w = -q["wind_along"]

    def holds(part, place):
        acc, _load = forces(s, mass, 0.0, w, part[2] + part[1] * place, part[1], q, brake)
        return acc < 0.0

    v, moving = 0.0, holds((0.0, 0.0, 0.0), 0.0)
    for place0, t0, dt, sol, part in reversed([p for p in ride["pieces"] if p[0] < ride["foot"] - 1e-12]):
        length, kappa, theta0 = part
        shrink = 1.0 - kappa * s.h
        ts = _speed_of_place(sol, dt)
        at = length
        while at > 0.0:
            if not moving:
                grid = np.linspace(at, 0.0, 401)
                first = next((k for k, place in enumerate(grid) if holds(part, place)), None)
                if first is None:
                    break
                at, v, moving = grid[first], 0.0, True
                if first > 0:  # where the brakes just hold, then a hair inside
                    slow, hold = grid[first - 1], grid[first]
                    for _ in range(60):
                        mid = 0.5 * (slow + hold)
                        slow, hold = (slow, mid) if holds(part, mid) else (mid, hold)
                    at = hold - 1e-7

            def rhs(_, y):
                acc, _load = forces(s, mass, y[1], w, theta0 + kappa * y[0], kappa, q, brake)
                return (-y[1] / shrink, -acc)

            def meets(_, y):
                return y[1] - ts(y[0])[0]

            def begin(_, y):
                return y[0]

            def rest(_, y):
                return y[1] + 1e-15

            meets.terminal = begin.terminal = rest.terminal = True
            meets.direction, begin.direction, rest.direction = 1, -1, -1
            # Short steps: one long step past the section's beginning could pass both curves twice and see neither crossing.
            back = solve_ivp(
                rhs, (0.0, 600.0), (at, v), "DOP853", rtol=RTOL, atol=ATOL, events=[meets, begin, rest], max_step=0.02
            )
            which = [i for i, t in enumerate(back.t_events) if len(t)][0]
            at, v = back.y_events[which][0]
            if which == 0:
                return ride["foot"] - (place0 + at), t0 + ts(at)[1]
            if which == 1:
                break
            moving = False
    return None


def _speed_of_place(sol, dt):
    """v and t of a solved section as functions of its place."""
    from scipy.optimize import brentq

    def at(place):
        if place <= sol.y[0][0]:
            return sol.y[1][0], 0.0
        if place >= sol.sol(dt)[0]:
            return sol.sol(dt)[1], dt
        t = brentq(lambda t: sol.sol(t)[0] - place, 0.0, dt, xtol=1e-14)
        return sol.sol(t)[1], t

    return at

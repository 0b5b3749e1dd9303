"""The bag as a gas spring, its air supply and one landing (sections 8 and 9)."""

import math
from bisect import bisect_right

import numpy as np
from scipy.integrate import quad, solve_ivp
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq, minimize_scalar

from site_file import G

N = 1.4
RTOL, ATOL = 1e-10, 1e-13


class Supply:
    """All blowers together: flow into the bag at a gauge pressure in the bag."""

    def __init__(self, s):
        pressure = [p * s.blower_speed**2 * s.rho / 1.2 for _, p in s.curve]
        flow = [q * s.blower_speed for q, _ in s.curve]
        fan = PchipInterpolator(pressure, flow)
        self.knots = [float(x) for x in fan.x]
        self.coefficients = [[float(c) for c in row] for row in fan.c.T]
        self.count = s.blowers
        self.shut = pressure[-1]
        self.loss = 0.0
        if s.duct_loss:
            self.loss = s.duct_loss * 0.5 * s.rho / (math.pi * s.duct_diameter**2 / 4.0) ** 2
        self.table = np.array(self.coefficients)
        self.x = np.array(self.knots)

    def _fan(self, p):
        """Flow of one blower at its own pressure, and its slope."""
        if p >= self.shut:
            return 0.0, 0.0
        i = min(max(bisect_right(self.knots, p) - 1, 0), len(self.coefficients) - 1)
        a, b, c, d = self.coefficients[i]
        t = p - self.knots[i]
        return ((a * t + b) * t + c) * t + d, (3.0 * a * t + 2.0 * b) * t + c

    def flow(self, p):
        if p >= self.shut:
            return 0.0
        if not self.loss:
            return self.count * self._fan(p)[0]
        # fan pressure P with P - loss * q(P)^2 = p; the left side rises with P
        at = brentq(lambda fan: fan - self.loss * self._fan(fan)[0] ** 2 - p, p, self.shut, xtol=1e-11, rtol=1e-14)
        return self.count * self._fan(at)[0]

    def _fans(self, p):
        i = np.clip(np.searchsorted(self.x, p, side="right") - 1, 0, len(self.table) - 1)
        a, b, c, d = self.table[i].T
        t = p - self.x[i]
        inside = p < self.shut
        return np.where(inside, ((a * t + b) * t + c) * t + d, 0.0), np.where(inside, (3 * a * t + 2 * b) * t + c, 0.0)

    def flows(self, p):
        """The same for many pressures at once."""
        if not self.loss:
            return self.count * np.maximum(self._fans(p)[0], 0.0)
        low, high = p.copy(), np.maximum(p, self.shut)
        for _ in range(44):
            mid = 0.5 * (low + high)
            q = self._fans(mid)[0]
            over = mid - self.loss * q * q > p
            high = np.where(over, mid, high)
            low = np.where(over, low, mid)
        return self.count * np.where(p < self.shut, self._fans(0.5 * (low + high))[0], 0.0)


class Bag:
    """Gas side of a bag with a stated skin stretch and dish radius."""

    def __init__(self, s, stretch=None, dish=None):
        self.s = s
        self.beta = s.stretch if stretch is None else stretch
        self.a = s.dish if dish is None else dish
        self.pa = s.outside
        self.ps = s.slack_pressure
        self.supply = Supply(s)
        self.no_opening = s.vent_area == 0.0 and s.relief_area == 0.0 and s.leak == 0.0
        self.p_op = self.operating_pressure()
        self.g_op = self.gas(self.p_op)

    # --- flows -----------------------------------------------------------------------------
    def outflow(self, p):
        s = self.s
        if p <= 0.0:
            return 0.0
        area = s.vent_area
        if s.relief_area:
            area += s.relief_area * min(max((p - s.relief_opens) / (s.relief_full - s.relief_opens), 0.0), 1.0)
        return s.discharge * area * math.sqrt(2.0 * p / s.rho) + s.leak * p**s.leak_exponent

    def backflow(self, p):
        s = self.s
        if p <= 0.0 or not s.backflow_area:
            return 0.0
        return s.blowers * s.discharge * s.backflow_area * math.sqrt(2.0 * p / s.rho)

    def lost_flow(self, p):
        """Outflow with the supply lost."""
        return self.outflow(p) + self.backflow(p)

    def operating_pressure(self):
        if self.no_opening:
            return self.supply.shut
        return brentq(lambda p: self.supply.flow(p) - self.outflow(p), 0.0, self.supply.shut, xtol=1e-12, rtol=1e-14)

    # --- slow changes: isothermal -------------------------------------------------------------
    def volume(self, p):
        return self.s.volume * (1.0 + self.beta * (p - self.p_op))

    def gas(self, p):
        return (self.pa + p) * self.volume(p) / self.pa

    def gas_slope(self, p):
        return self.s.volume * (1.0 + self.beta * (p - self.p_op) + self.beta * (self.pa + p)) / self.pa

    def pressure(self, gas):
        """Gauge pressure of a gas content at rest."""
        if gas <= self.gas(self.ps):
            return self.ps
        return brentq(lambda p: self.gas(p) - gas, self.ps, 1e6, xtol=1e-11, rtol=1e-14)

    def _points(self, lo, hi):
        kinks = [self.s.relief_opens, self.s.relief_full]
        for knot in self.supply.knots:
            kinks.append(knot - self.supply.loss * self.supply._fan(knot)[0] ** 2)
        return sorted({p for p in kinks if lo < p < hi})

    def _time(self, lo, hi, rate):
        """Time between two pressures at a net rate of gas."""
        if hi <= lo:
            return 0.0
        edges = [lo] + self._points(lo, hi) + [hi]
        return sum(
            quad(lambda p: self.gas_slope(p) / rate(p), a, b, epsabs=1e-11, epsrel=1e-11, limit=200)[0]
            for a, b in zip(edges, edges[1:])
        )

    def net_in(self, p):
        return self.supply.flow(p) - self.outflow(p)

    def fill_time(self):
        end = 0.95 * self.p_op
        slack = self.gas(self.ps) / self.net_in(self.ps)
        return slack + self._time(self.ps, end, self.net_in)

    def recovery_time(self, lost):
        """From the operating gas less `lost` back to 99 % of the operating pressure."""
        end = 0.99 * self.p_op
        gas = self.g_op - lost
        taut = self.gas(self.ps)
        if gas >= self.gas(end):
            return 0.0
        slack = max(taut - gas, 0.0) / self.net_in(self.ps)
        return slack + self._time(self.pressure(gas), end, self.net_in)

    def decay_time(self, high, low):
        """Supply lost: time from one pressure down to another. None if it is never reached."""
        if high <= low:
            return 0.0
        if self.lost_flow(low) <= 0.0 or low < self.ps:
            return None
        return self._time(low, high, self.lost_flow)

    def decay(self, gas, time):
        """Gas content a time after the supply is lost."""
        taut = self.gas(self.ps)
        if gas > taut:
            p = self.pressure(gas)
            to_taut = self.decay_time(p, self.ps)
            if to_taut is None:
                return gas
            if to_taut > time:
                if self._time(self.ps, p, self.lost_flow) <= time:
                    return taut
                left = brentq(lambda x: self._time(x, p, self.lost_flow) - time, self.ps, p, xtol=1e-10, rtol=1e-13)
                return self.gas(left)
            gas, time = taut, time - to_taut
        return max(gas - self.lost_flow(self.ps) * time, 0.0)

    # --- a landing: quick --------------------------------------------------------------------
    def dish(self, x):
        """Displaced volume and its slope."""
        a = self.a
        if x <= 0.0:
            return 0.0, 0.0
        if x <= a:
            return math.pi * x * x * (3.0 * a - x) / 3.0, math.pi * x * (2.0 * a - x)
        return math.pi * a**3 * 2.0 / 3.0 + math.pi * a * a * (x - a), math.pi * a * a

    def landing(self, mass, speed, p_i=None, gas=None, supplied=True, thickness=None, back=True):
        """One touch-down from a pressure (taut) or a gas content (taut or slack).

        thickness None leaves the ground out; back=False ends at the deepest point."""
        s, pa, ps, beta, v0, n = self.s, self.pa, self.ps, self.beta, self.s.volume, N
        if gas is None:
            gas = self.gas(p_i)
        if gas < self.gas(ps):
            p_i, v_i = ps, pa * gas / (pa + ps)
        else:
            p_i = self.pressure(gas) if p_i is None else p_i
            v_i = self.volume(p_i)
        weight = mass * G * math.cos(s.phi)
        base = math.log(pa + p_i) + n * math.log(v_i)

        def pressure(x, lost):
            const = base + n * math.log1p(-lost / gas) - math.log(pa)
            free = v0 * (1.0 - beta * self.p_op) - self.dish(x)[0]
            p = ps
            for i in range(60):
                v = free + v0 * beta * p
                f = math.log1p(p / pa) + n * math.log(v) - const
                if i == 0 and f >= 0.0:
                    return ps
                step = f / (1.0 / (pa + p) + n * v0 * beta / v)
                p -= step
                if abs(step) < 1e-9 * (1.0 + abs(p)):
                    break
            return max(p, ps)

        def flow(p):
            if supplied:
                return self.outflow(p) - self.supply.flow(p)
            return self.lost_flow(p)

        def push(x, lost):
            return pressure(x, lost) * self.dish(x)[1]

        def rhs(share):
            def f(_, y):
                x, u, lost = y
                p = pressure(x, lost)
                return (u, (weight - share * p * self.dish(x)[1]) / mass, flow(p))

            return f

        def stopped(_, y):
            return y[1]

        def ground(_, y):
            return y[0] - thickness

        stopped.terminal, stopped.direction = True, -1
        ground.terminal, ground.direction = True, 1
        events = [stopped] + ([ground] if thickness is not None else [])
        sol = solve_ivp(rhs(1.0), (0.0, 30.0), (0.0, speed, 0.0), "DOP853", rtol=RTOL, atol=ATOL, max_step=0.02, events=events, dense_output=True)
        bottomed = thickness is not None and len(sol.t_events[1]) > 0
        t, (x, u, lost) = (sol.t_events[1][0], sol.y_events[1][0]) if bottomed else (sol.t_events[0][0], sol.y_events[0][0])

        def best(f):
            grid = [t * i / 300.0 for i in range(301)]
            values = [f(sol.sol(g)) for g in grid]
            i = max(range(301), key=values.__getitem__)
            if i in (0, 300):
                return values[i]
            near = minimize_scalar(lambda g: -f(sol.sol(g)), bounds=(grid[i - 1], grid[i + 1]), method="bounded", options={"xatol": 1e-10})
            return max(values[i], -near.fun)

        out = {
            "depth_m": thickness if bottomed else x,
            "felt_load_g": best(lambda y: push(y[0], y[2])) / (mass * G),
            "peak_pressure_pa": max(p_i, best(lambda y: pressure(y[0], y[2]))),
            "time_to_deepest_s": t,
            "gas_lost_m3": lost,
            "rebound_mps": None,
            "ground_speed_mps": u if bottomed else None,
            "ground_fall_height_m": u * u / (2.0 * G) if bottomed else None,
            "gas_lost_back_m3": lost if bottomed else None,
            "back_at_s": None,
        }
        if bottomed or not back:
            return out

        # the way back: only (1 - skin_loss) of the force acts while u < 0; at rest the skin holds
        # the body as long as the full force would lift it and the reduced force would not
        low, until, mode = 1.0 - s.skin_loss, 3.0, "up"
        while t < until and mode != "out":
            full, part = push(x, lost) - weight, low * push(x, lost) - weight
            if abs(u) < 1e-9:
                u = 0.0
                mode = "down" if full < 0.0 else "up" if part > 0.0 else "held"
            if mode == "held":
                def sinks(_, y):
                    return push(x, y[0]) - weight

                def lifts(_, y):
                    return low * push(x, y[0]) - weight

                sinks.terminal = lifts.terminal = True
                sinks.direction, lifts.direction = -1, 1
                step = solve_ivp(lambda _, y: (flow(pressure(x, y[0])),), (t, until), (lost,), "DOP853", rtol=RTOL, atol=ATOL, events=[sinks, lifts])
                t, lost = step.t[-1], step.y[0][-1]
                if len(step.t_events[0]):
                    mode = "down"
                elif len(step.t_events[1]):
                    mode = "up"
                else:
                    break
                u = 1e-12 if mode == "down" else -1e-12

            def free(_, y):
                return y[0]

            def rest(_, y):
                return y[1]

            free.terminal = rest.terminal = True
            free.direction, rest.direction = -1, (1 if mode == "up" else -1)
            if u == 0.0:
                u = 1e-12 if mode == "down" else -1e-12
            step = solve_ivp(rhs(low if mode == "up" else 1.0), (t, until), (x, u, lost), "DOP853", rtol=RTOL, atol=ATOL, max_step=0.02, events=[free, rest])
            t, (x, u, lost) = step.t[-1], step.y[:, -1]
            if len(step.t_events[0]):
                mode = "out"
                out["rebound_mps"] = -u
            elif len(step.t_events[1]):
                u = 0.0
        if mode != "out":
            out["rebound_mps"] = 0.0
        out["gas_lost_back_m3"], out["back_at_s"] = lost, t
        return out


def landings(bags, mass, speed, p_i, supplied, dt=1e-3, deep=np.inf, firm=np.inf):
    """Depth and peak felt load (ground left out) of many landings at once: fixed-step RK4. A run
    ends early, with a value above it, where it passes `deep` or `firm`.

    `bags` is a list of Bag of one site, one per run; the other arguments are arrays. Taut starts."""
    s = bags[0].s
    pa, ps, p_op, n, v0 = bags[0].pa, bags[0].ps, bags[0].p_op, N, s.volume
    beta, a = np.array([b.beta for b in bags]), np.array([b.a for b in bags])
    weight = mass * G * math.cos(s.phi)
    v_i = v0 * (1.0 + beta * (p_i - p_op))
    gas = (pa + p_i) * v_i / pa
    base = np.log1p(p_i / pa) + n * np.log(v_i)
    supply = bags[0].supply

    def dish(x):
        deep = np.minimum(x, a)
        return np.pi * deep * deep * (3 * a - deep) / 3 + np.pi * a * a * (x - deep), np.pi * deep * (2 * a - deep)

    def rate(x, u, lost):
        volume, slope = dish(np.maximum(x, 0.0))
        const = base + n * np.log1p(-lost / gas)
        free = v0 * (1 - beta * p_op) - volume
        p = np.full_like(x, ps)
        for _ in range(7):
            v = free + v0 * beta * p
            p = p - (np.log1p(p / pa) + n * np.log(v) - const) / (1 / (pa + p) + n * v0 * beta / v)
            p = np.maximum(p, ps)
        area = s.vent_area
        if s.relief_area:
            area = area + s.relief_area * np.clip((p - s.relief_opens) / (s.relief_full - s.relief_opens), 0.0, 1.0)
        root = np.sqrt(2 * p / s.rho)
        out = s.discharge * area * root + s.leak * p**s.leak_exponent
        out = out - np.where(supplied, supply.flows(p), -s.blowers * s.discharge * s.backflow_area * root)
        push = p * slope
        return u, (weight - push) / mass, out, push

    y = (np.zeros_like(p_i), speed + 0.0, np.zeros_like(p_i))
    depth, load, done = np.full_like(p_i, np.inf), np.zeros_like(p_i), np.zeros(len(p_i), bool)
    push1 = push0 = np.zeros_like(p_i)
    firm = firm * mass * G
    for _ in range(int(4.0 / dt)):
        k1 = rate(*y)
        k2 = rate(*(v + dt / 2 * k for v, k in zip(y, k1)))
        k3 = rate(*(v + dt / 2 * k for v, k in zip(y, k2)))
        k4 = rate(*(v + dt * k for v, k in zip(y, k3)))
        z = tuple(v + dt / 6 * (a1 + 2 * a2 + 2 * a3 + a4) for v, a1, a2, a3, a4 in zip(y, k1, k2, k3, k4))
        # felt load: highest of the grid, with the parabola through the last three
        bend = push0 - 2 * push1 + k1[3]
        with np.errstate(all="ignore"):
            peak = np.where((push1 > push0) & (push1 > k1[3]), push1 - (k1[3] - push0) ** 2 / (8 * bend), k1[3])
        load = np.where(done, load, np.maximum(load, peak))
        push0, push1 = push1, k1[3]
        ends = ~done & (z[1] <= 0.0)
        if np.any(ends):
            with np.errstate(all="ignore"):
                t = np.clip(y[1] / (y[1] - z[1]), 0, 1) * dt
                for _ in range(6):  # Hermite in u
                    h = t / dt
                    c2 = (3 * (z[1] - y[1]) / dt - 2 * k1[1] - rate(*z)[1]) / dt
                    c3 = (2 * (y[1] - z[1]) / dt + k1[1] + rate(*z)[1]) / dt**2
                    t = np.clip(t - (y[1] + t * (k1[1] + t * (c2 + t * c3))) / (k1[1] + t * (2 * c2 + 3 * t * c3)), 0, dt)
                at = y[0] + t * (y[1] + t * (k1[1] / 2 + t * (c2 / 3 + t * c3 / 4)))
            depth = np.where(ends, at, depth)
            end_push = rate(np.where(ends, at, y[0]), z[1], np.where(ends, y[2] + (z[2] - y[2]) * t / dt, y[2]))[3]
            load = np.where(ends, np.maximum(load, end_push), load)
            done |= ends
        past = ~done & ((y[0] > deep) | (load > firm))
        if np.any(past):
            depth = np.where(past, np.maximum(y[0], 1e-9), depth)
            done |= past
        if np.all(done):
            break
        y = tuple(np.where(done, v, w) for v, w in zip(y, z))
    return depth, load / (mass * G)

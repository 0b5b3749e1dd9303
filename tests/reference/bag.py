"""The bag as a gas spring, its air supply and one landing (sections 8 and 9)."""

import math
from bisect import bisect_right

import numpy as np
from scipy.integrate import quad, solve_ivp
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq, minimize_scalar

from force_area import ForceArea, stated
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
    """Gas side of a bag with a stated skin stretch and force area."""

    def __init__(self, s, stretch=None, knots=None):
        self.s = s
        self.beta = s.stretch if stretch is None else stretch
        self.area = ForceArea(stated(s) if knots is None else knots)
        self.pa = s.outside
        self.ps = s.slack_pressure
        self.supply = Supply(s)
        self.leak = s.leak
        self.settled_note = None
        if s.settled is None:
            self.p_op = self.operating_pressure()
        else:
            self.p_op = self.settle(s.settled)
        self.no_opening = s.vent_area == 0.0 and s.relief_area == 0.0 and self.leak == 0.0
        self.g_op = self.gas(self.p_op)

    def settle(self, read):
        """The operating pressure of a settled pressure that was read; the leak follows."""
        s, self.leak = self.s, 0.0
        highest = self.operating_pressure()
        if read <= highest:
            self.leak = (self.supply.flow(read) - self.outflow(read)) / read**s.leak_exponent
            return read
        if read <= 1.05 * highest:
            self.settled_note = "no leak would give less: no leak"
            return highest
        raise ValueError(f"bag.settled_pressure: {read} Pa is over the {highest} Pa that the blowers can hold")

    # --- flows -----------------------------------------------------------------------------
    def outflow(self, p):
        s = self.s
        if p <= 0.0:
            return 0.0
        area = s.vent_area
        if s.relief_area:
            area += s.relief_area * min(max((p - s.relief_opens) / (s.relief_full - s.relief_opens), 0.0), 1.0)
        return s.discharge * area * math.sqrt(2.0 * p / s.rho) + self.leak * p**s.leak_exponent

    def backflow(self, p):
        s = self.s
        if p <= 0.0 or not s.backflow_area:
            return 0.0
        return s.blowers * s.discharge * s.backflow_area * math.sqrt(2.0 * p / s.rho)

    def lost_flow(self, p):
        """Outflow with the supply lost."""
        return self.outflow(p) + self.backflow(p)

    def operating_pressure(self):
        if self.outflow(self.supply.shut) == 0.0:
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

    def one_blower_lost(self, stop):
        """One blower of several fails: where the bag settles, and the time to the stop pressure."""
        s = self.s
        if s.blowers < 2:
            return None
        share = (s.blowers - 1) / s.blowers

        def net(p):
            back = 0.0 if p <= 0.0 else s.discharge * s.backflow_area * math.sqrt(2.0 * p / s.rho)
            return share * self.supply.flow(p) - self.outflow(p) - back

        if net(self.p_op) >= 0.0:
            settles = self.p_op
        elif net(self.ps) <= 0.0:
            settles = self.ps
        else:
            settles = brentq(net, self.ps, self.p_op, xtol=1e-11, rtol=1e-14)
        time = None
        if stop is not None:
            if stop >= self.p_op:
                time = 0.0
            elif stop > settles or (stop == settles and net(settles) < 0.0):
                time = self._time(stop, self.p_op, lambda p: -net(p))
        return {"settles_pa": settles, "to_stop_s": time}

    # --- a landing: quick --------------------------------------------------------------------
    def landing(self, mass, speed, p_i=None, gas=None, supplied=True, thickness=None, back=True, skin_loss=None, lies=True):
        """One touch-down from a pressure (taut) or a gas content (taut or slack).

        thickness None leaves the ground out; back=False ends at the deepest point. A body that has come to rest and
        sinks on lies on the ground once it is there; lies=False lets it sink on without end."""
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
            free = v0 * (1.0 - beta * self.p_op) - self.area.at(x)[0]
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
            return pressure(x, lost) * self.area.at(x)[1]

        def rhs(share):
            def f(_, y):
                x, u, lost = y
                p = pressure(x, lost)
                return (u, (weight - share * p * self.area.at(x)[1]) / mass, flow(p))

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
            "sinks_on_mps": None,
        }
        if bottomed or not back:
            return out

        # the way back: only (1 - skin_loss) of the force acts while u < 0; at rest the skin holds
        # the body as long as the full force would lift it and the reduced force would not
        low, until, mode = 1.0 - (s.skin_loss if skin_loss is None else skin_loss), 3.0, "up"
        while t < until and mode != "out":
            full, part = push(x, lost) - weight, low * push(x, lost) - weight
            if abs(u) < 1e-9 and mode != "lying":
                u = 0.0
                mode = "down" if full < 0.0 else "up" if part > 0.0 else "held"
            if mode in ("held", "lying"):
                def sinks(_, y):
                    return push(x, y[0]) - weight

                def lifts(_, y):
                    return low * push(x, y[0]) - weight

                sinks.terminal, lifts.terminal = mode == "held", True
                sinks.direction, lifts.direction = -1, 1
                step = solve_ivp(lambda _, y: (flow(pressure(x, y[0])),), (t, until), (lost,), "DOP853", rtol=RTOL, atol=ATOL, events=[sinks, lifts])
                t, lost = step.t[-1], step.y[0][-1]
                if len(step.t_events[1]):
                    mode = "up"
                elif mode == "held" and len(step.t_events[0]):
                    mode = "down"
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
            ends = [free, rest]
            if lies and thickness is not None and mode == "down":

                def down(_, y):
                    return y[0] - thickness

                down.terminal, down.direction = True, 1
                ends.append(down)
            step = solve_ivp(rhs(low if mode == "up" else 1.0), (t, until), (x, u, lost), "DOP853", rtol=RTOL, atol=ATOL, max_step=0.02, events=ends)
            t, (x, u, lost) = step.t[-1], step.y[:, -1]
            if len(step.t_events[0]):
                mode = "out"
                out["rebound_mps"] = -u
            elif len(step.t_events[1]):
                u = 0.0
            elif len(ends) == 3 and len(step.t_events[2]):
                mode, x, out["sinks_on_mps"] = "lying", thickness, u
        if mode != "out":
            out["rebound_mps"] = 0.0
        out["gas_lost_back_m3"], out["back_at_s"] = lost, t
        return out


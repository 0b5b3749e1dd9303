"""Touch-downs by the thousand: fixed-step RK4, compiled with Numba. `bag.py` has the same landing by DOP853.

All bags of a site share `air` (an array of numbers, places below) and the fan's table; a bag is its knots with (0, 0)
in front (`kx`, `ka`, volumes `kv`) and its stretch `beta`."""

import math

import numpy as np
from numba import njit

G = 9.80665
N = 1.4
PA, PS, POP, V0, RHO, CD, VENT, RELIEF, OPENS, FULL, LEAK, EXPONENT, BACK, SHUT, LOSS, COUNT, COS = range(17)
REST, GROUND, LATE = 0, 1, 2
CEILING = 20_000.0
FASTEST, SLOWER = 15.0, 0.25
# steps of the searches, of the walk in whole steps of speed, and of felt loads (whose peak lies between steps)
STEP, WALK, LOAD = 2e-3, 8e-3, 4e-4
NODES, WEIGHTS = np.polynomial.legendre.leggauss(64)


def numbers(bag):
    """`air` and the fan's table of a bag's site."""
    s, supply = bag.s, bag.supply
    air = np.zeros(17)
    air[PA], air[PS], air[POP], air[V0], air[RHO] = s.outside, s.slack_pressure, bag.p_op, s.volume, s.rho
    air[CD], air[VENT], air[RELIEF] = s.discharge, s.vent_area, s.relief_area
    air[OPENS], air[FULL] = (s.relief_opens, s.relief_full) if s.relief_area else (1e9, 2e9)
    air[LEAK], air[EXPONENT], air[BACK] = bag.leak, s.leak_exponent, s.blowers * s.backflow_area
    air[SHUT], air[LOSS], air[COUNT], air[COS] = supply.shut, supply.loss, s.blowers, math.cos(s.phi)
    return air, np.array(supply.knots), np.array(supply.coefficients)


def fleet(bags):
    """Arrays of many (knots, stretch)."""
    n = len(bags[0][0])
    kx, ka = np.zeros((len(bags), n + 1)), np.zeros((len(bags), n + 1))
    for i, (knots, _) in enumerate(bags):
        kx[i, 1:], ka[i, 1:] = zip(*knots)
    kv = np.zeros_like(kx)
    kv[:, 1:] = np.cumsum(0.5 * (ka[:, 1:] + ka[:, :-1]) * np.diff(kx, axis=1), axis=1)
    return kx, ka, kv, np.array([beta for _, beta in bags])


# --- flows ------------------------------------------------------------------------------------
@njit(cache=True)
def _fan(fx, fc, shut, p):
    if p >= shut:
        return 0.0, 0.0
    i = 0
    while i < len(fc) - 1 and p >= fx[i + 1]:
        i += 1
    t = p - fx[i]
    a, b, c, d = fc[i, 0], fc[i, 1], fc[i, 2], fc[i, 3]
    return max(((a * t + b) * t + c) * t + d, 0.0), (3.0 * a * t + 2.0 * b) * t + c


@njit(cache=True)
def inflow(air, fx, fc, p):
    shut, loss = air[SHUT], air[LOSS]
    if p >= shut:
        return 0.0
    if loss == 0.0:
        return air[COUNT] * _fan(fx, fc, shut, p)[0]
    low, high = p, shut
    at = 0.5 * (low + high)
    for _ in range(80):
        q, dq = _fan(fx, fc, shut, at)
        f = at - loss * q * q - p
        if f > 0.0:
            high = at
        else:
            low = at
        new = at - f / (1.0 - 2.0 * loss * q * dq)
        if not low < new < high:
            new = 0.5 * (low + high)
        if abs(new - at) < 1e-10 * (1.0 + at):
            at = new
            break
        at = new
    return air[COUNT] * _fan(fx, fc, shut, at)[0]


@njit(cache=True)
def outflow(air, p):
    if p <= 0.0:
        return 0.0
    area = air[VENT]
    if air[RELIEF] > 0.0:
        area += air[RELIEF] * min(max((p - air[OPENS]) / (air[FULL] - air[OPENS]), 0.0), 1.0)
    out = air[CD] * area * math.sqrt(2.0 * p / air[RHO])
    if air[LEAK] > 0.0:
        out += air[LEAK] * p ** air[EXPONENT]
    return out


@njit(cache=True)
def lost_flow(air, p):
    out = outflow(air, p)
    if air[BACK] > 0.0:
        out += air[CD] * air[BACK] * math.sqrt(2.0 * p / air[RHO])
    return out


# --- slow changes -----------------------------------------------------------------------------
@njit(cache=True)
def gas_at(air, beta, p):
    return (air[PA] + p) * air[V0] * (1.0 + beta * (p - air[POP])) / air[PA]


@njit(cache=True)
def rest_pressure(air, beta, gas):
    """Gauge pressure of a taut bag's gas at rest."""
    pa, pop, v0 = air[PA], air[POP], air[V0]
    p = pop
    for _ in range(60):
        f = (pa + p) * v0 * (1.0 + beta * (p - pop)) - pa * gas
        step = f / (v0 * (1.0 + beta * (p - pop)) + (pa + p) * v0 * beta)
        p -= step
        if abs(step) < 1e-11 * (1.0 + abs(p)):
            break
    return p


@njit(cache=True)
def _piece(air, beta, high, low):
    """Time between two pressures without supply; p = r^2 takes the root out of the flow."""
    a, b = math.sqrt(low), math.sqrt(high)
    total = 0.0
    for i in range(len(NODES)):
        r = 0.5 * (a + b) + 0.5 * (b - a) * NODES[i]
        p = r * r
        slope = air[V0] * (1.0 + beta * (p - air[POP]) + beta * (air[PA] + p)) / air[PA]
        total += WEIGHTS[i] * slope / lost_flow(air, p) * 2.0 * r
    return 0.5 * (b - a) * total


@njit(cache=True)
def decay_time(air, beta, high, low):
    if high <= low:
        return 0.0
    if low < air[PS] * (1.0 - 1e-12) or lost_flow(air, low) <= 0.0:
        return np.inf
    total, at = 0.0, low
    for kink in (air[OPENS], air[FULL]):
        if at < kink < high:
            total += _piece(air, beta, kink, at)
            at = kink
    return total + _piece(air, beta, high, at)


@njit(cache=True)
def decay_gas(air, beta, time):
    """Gas a time after the supply is lost at the operating pressure."""
    ps, pop = air[PS], air[POP]
    if time <= 0.0 or lost_flow(air, ps) <= 0.0:
        return gas_at(air, beta, pop)
    to_taut = decay_time(air, beta, pop, ps)
    if to_taut <= time:
        return max(gas_at(air, beta, ps) - lost_flow(air, ps) * (time - to_taut), 0.0)
    low, high = ps, pop
    for _ in range(60):
        mid = 0.5 * (low + high)
        if decay_time(air, beta, pop, mid) > time:
            low = mid
        else:
            high = mid
    return gas_at(air, beta, 0.5 * (low + high))


# --- one landing ------------------------------------------------------------------------------
@njit(cache=True)
def area_volume(kx, ka, kv, x):
    if x <= 0.0:
        return 0.0, 0.0
    for i in range(1, len(kx)):
        if x <= kx[i]:
            by = x - kx[i - 1]
            slope = (ka[i] - ka[i - 1]) / (kx[i] - kx[i - 1])
            return ka[i - 1] + slope * by, kv[i - 1] + by * (ka[i - 1] + 0.5 * slope * by)
    last = len(kx) - 1
    return ka[last], kv[last] + ka[last] * (x - kx[last])


@njit(cache=True)
def quick_pressure(air, beta, displaced, const, guess):
    """Root of log(1 + p/pa) + n log V(p, x) = const, not below the skin's own pressure."""
    pa, ps = air[PA], air[PS]
    slope = air[V0] * beta
    free = air[V0] * (1.0 - beta * air[POP]) - displaced
    if guess < 200.0:
        v = free + slope * ps
        if v > 0.0 and math.log1p(ps / pa) + N * math.log(v) - const >= 0.0:
            return ps
    p = max(guess, ps)
    if slope == 0.0:
        if free <= 0.0:
            return 1e7
        return max(pa * math.expm1(const - N * math.log(free)), ps)
    pole = -free / slope
    if p <= pole:
        p = pole + 1e-6 * (1.0 + abs(pole))
    for _ in range(200):
        v = free + slope * p
        f = math.log1p(p / pa) + N * math.log(v) - const
        q = p - f / (1.0 / (pa + p) + N * slope / v)
        q = max(q, ps)
        if q <= pole:
            q = 0.5 * (p + pole)
        if abs(q - p) < 1e-6 * (1.0 + abs(q)):  # the next step would be its square
            return q
        p = q
    return p


@njit(cache=True)
def _rate(air, fx, fc, kx, ka, kv, beta, weight, mass, const, gas, supplied, x, u, lost, guess):
    area, displaced = area_volume(kx, ka, kv, x)
    if lost >= gas * (1.0 - 1e-9):
        p = air[PS]
    else:
        p = quick_pressure(air, beta, displaced, const + N * math.log1p(-lost / gas), guess)
    flow = outflow(air, p) - inflow(air, fx, fc, p) if supplied else lost_flow(air, p)
    push = p * area
    return (weight - push) / mass, flow, push, p


@njit(cache=True)
def descend(air, fx, fc, kx, ka, kv, beta, mass, speed, gas, supplied, ground, dt):
    """From contact to the first rest or the ground: (how it ended, depth, speed, time, gas lost, largest push,
    acceleration at the end)."""
    pa, ps = air[PA], air[PS]
    weight = mass * G * air[COS]
    if gas < gas_at(air, beta, ps):
        p, v_i = ps, pa * gas / (pa + ps)
    else:
        p = rest_pressure(air, beta, gas)
        v_i = air[V0] * (1.0 + beta * (p - air[POP]))
    if gas <= 0.0:
        return LATE, np.inf, speed, 0.0, 0.0, 0.0, 0.0
    const = math.log1p(p / pa) + N * math.log(v_i)
    t, x, u, lost, top, push0, push1, even = 0.0, 0.0, speed, 0.0, 0.0, 0.0, 0.0, 0
    h, knot, slack = dt, 1, gas < gas_at(air, beta, ps)
    a1, f1, push, p = _rate(air, fx, fc, kx, ka, kv, beta, weight, mass, const, gas, supplied, x, u, lost, p)
    while t < 30.0:
        full = 4.0 * dt if t > 1.5 else 0.25 * dt if slack else dt
        if h != full:
            h, even = full, 0
        # the area's slope jumps at a knot: a step ends on it
        while knot < len(kx) and kx[knot] <= x + 1e-7:
            knot += 1
        if knot < len(kx) and x + h * (u + 0.5 * h * a1) > kx[knot]:
            short = (kx[knot] - x) / u
            for _ in range(4):
                short -= (x + short * (u + 0.5 * short * a1) - kx[knot]) / (u + short * a1)
            if 0.0 < short < h:
                h, even = short, 0
        a2, f2, _, p2 = _rate(air, fx, fc, kx, ka, kv, beta, weight, mass, const, gas, supplied, x + h / 2 * u, u + h / 2 * a1, lost + h / 2 * f1, p)
        u2 = u + h / 2 * a1
        a3, f3, _, p3 = _rate(air, fx, fc, kx, ka, kv, beta, weight, mass, const, gas, supplied, x + h / 2 * u2, u + h / 2 * a2, lost + h / 2 * f2, p2)
        u3 = u + h / 2 * a2
        a4, f4, _, p4 = _rate(air, fx, fc, kx, ka, kv, beta, weight, mass, const, gas, supplied, x + h * u3, u + h * a3, lost + h * f3, p3)
        u4 = u + h * a3
        x1 = x + h / 6 * (u + 2 * u2 + 2 * u3 + u4)
        v1 = u + h / 6 * (a1 + 2 * a2 + 2 * a3 + a4)
        lost1 = lost + h / 6 * (f1 + 2 * f2 + 2 * f3 + f4)
        an, fn, pushn, pn = _rate(air, fx, fc, kx, ka, kv, beta, weight, mass, const, gas, supplied, x1, v1, lost1, p4)
        top = max(top, push)
        if even >= 2 and push1 > push0 and push1 > push:
            top = max(top, push1 - (push - push0) ** 2 / (8.0 * (push0 - 2.0 * push1 + push)))
        push0, push1, even = push1, push, even + 1
        if v1 <= 0.0 or x1 >= ground:
            # cubic of u over the step
            c2 = (3.0 * (v1 - u) / h - 2.0 * a1 - an) / h
            c3 = (2.0 * (u - v1) / h + a1 + an) / (h * h)
            low, high = 0.0, h
            if v1 <= 0.0:
                for _ in range(60):
                    mid = 0.5 * (low + high)
                    if u + mid * (a1 + mid * (c2 + mid * c3)) > 0.0:
                        low = mid
                    else:
                        high = mid
            end = high
            deepest = x + end * (u + end * (a1 / 2 + end * (c2 / 3 + end * c3 / 4)))
            if deepest >= ground:
                low, high = 0.0, end
                for _ in range(60):
                    mid = 0.5 * (low + high)
                    if x + mid * (u + mid * (a1 / 2 + mid * (c2 / 3 + mid * c3 / 4))) < ground:
                        low = mid
                    else:
                        high = mid
                left = max(u + high * (a1 + high * (c2 + high * c3)), 0.0)
                end_push = _rate(air, fx, fc, kx, ka, kv, beta, weight, mass, const, gas, supplied, ground, left, lost + high * f1, pn)[2]
                return GROUND, ground, left, t + high, lost + high * f1, max(top, end_push), an
            if v1 <= 0.0:
                gone = lost + end * f1 + end * end * (fn - f1) / (2.0 * h)
                end_push = _rate(air, fx, fc, kx, ka, kv, beta, weight, mass, const, gas, supplied, deepest, 0.0, gone, pn)[2]
                if even >= 2 and push1 > push0 and push1 > pushn:
                    top = max(top, push1 - (pushn - push0) ** 2 / (8.0 * (push0 - 2.0 * push1 + pushn)))
                return REST, deepest, 0.0, t + end, gone, max(top, end_push), (weight - end_push) / mass
        t, x, u, lost, a1, f1, push, p = t + h, x1, v1, lost1, an, fn, pushn, pn
        slack = slack and p <= ps
    return LATE, x, u, t, lost, top, a1


# --- searches ---------------------------------------------------------------------------------
@njit(cache=True)
def _depth(air, fx, fc, kx, ka, kv, beta, mass, speed, gas, cap):
    """Depth without supply; past `cap` a number over it that still rises with the speed left."""
    how, x, u, _, _, _, _ = descend(air, fx, fc, kx, ka, kv, beta, mass, speed, gas, False, cap, STEP)
    if how == REST:
        return x
    return cap * (1.0 + 0.1 * u) if how == GROUND else cap * 10.0


@njit(cache=True)
def stop_by_depth(air, fx, fc, kx, ka, kv, beta, mass, speed, limit):
    """Lowest starting pressure from which the landing without supply keeps to a depth; inf: none up to 20 kPa."""
    cap = 2.0 * limit
    low, high = math.log(air[PS]), math.log(CEILING)
    f_low = _depth(air, fx, fc, kx, ka, kv, beta, mass, speed, gas_at(air, beta, air[PS]), cap) - limit
    if f_low <= 0.0:
        return air[PS]
    f_high = _depth(air, fx, fc, kx, ka, kv, beta, mass, speed, gas_at(air, beta, CEILING), cap) - limit
    if f_high > 0.0:
        return np.inf
    side = 0
    for i in range(100):
        if i < 3 or i % 6 == 5:
            at = 0.5 * (low + high)
        else:
            at = (low * f_high - high * f_low) / (f_high - f_low)
        f = _depth(air, fx, fc, kx, ka, kv, beta, mass, speed, gas_at(air, beta, math.exp(at)), cap) - limit
        if f > 0.0:
            low, f_low = at, f
            if side == 1:
                f_high *= 0.5
            side = 1
        else:
            high, f_high = at, f
            if side == -1:
                f_low *= 0.5
            side = -1
        if abs(f) < 1e-11 or high - low < 1e-10:
            return math.exp(at)
    return math.exp(0.5 * (low + high))


@njit(cache=True)
def stops(air, fx, fc, kx, ka, kv, beta, mass, speed, limit):
    out = np.zeros(len(beta))
    for i in range(len(beta)):
        out[i] = stop_by_depth(air, fx, fc, kx[i], ka[i], kv[i], beta[i], mass, speed, limit)
    return out


@njit(cache=True)
def full_depths(air, fx, fc, kx, ka, kv, beta, mass, speed):
    """Depth of a landing from the operating pressure, supply just lost, ground left out."""
    out = np.zeros(len(beta))
    for i in range(len(beta)):
        gas = gas_at(air, beta[i], air[POP])
        out[i] = descend(air, fx, fc, kx[i], ka[i], kv[i], beta[i], mass, speed, gas, False, np.inf, STEP)[1]
    return out


@njit(cache=True)
def loads(air, fx, fc, kx, ka, kv, beta, mass, speed):
    """Felt load of a landing from the operating pressure with supply, ground left out."""
    out = np.zeros(len(beta))
    for i in range(len(beta)):
        gas = gas_at(air, beta[i], air[POP])
        out[i] = descend(air, fx, fc, kx[i], ka[i], kv[i], beta[i], mass, speed, gas, True, np.inf, LOAD)[5] / (mass * G)
    return out


@njit(cache=True)
def load_from(air, fx, fc, kx, ka, kv, beta, mass, speed, p):
    return descend(air, fx, fc, kx, ka, kv, beta, mass, speed, gas_at(air, beta, p), True, np.inf, LOAD)[5] / (mass * G)


@njit(cache=True)
def firm_pressure(air, fx, fc, kx, ka, kv, beta, mass, speed, limit):
    """Highest pressure that keeps the felt load, from 20 kPa down in steps of 10 %: inf where none is passed, 0
    where it is passed even from just taut."""
    p = CEILING
    if load_from(air, fx, fc, kx, ka, kv, beta, mass, speed, p) <= limit:
        return np.inf
    while True:
        high, p = p, max(0.9 * p, air[PS])
        if load_from(air, fx, fc, kx, ka, kv, beta, mass, speed, p) <= limit:
            break
        if p == air[PS]:
            return 0.0
    low = p
    for _ in range(50):
        mid = 0.5 * (low + high)
        if load_from(air, fx, fc, kx, ka, kv, beta, mass, speed, mid) <= limit:
            low = mid
        else:
            high = mid
        if high - low < 1e-9 * high:
            break
    return 0.5 * (low + high)


@njit(cache=True)
def holds(air, fx, fc, kx, ka, kv, beta, by_depth, mass, speed, limit, horizon):
    """Time after a power cut until the landing would pass the limit; inf: not within the horizon."""
    pop, ps = air[POP], air[PS]
    if not by_depth < pop:
        # at the operating pressure itself the depth decides
        if by_depth == np.inf or _depth(air, fx, fc, kx, ka, kv, beta, mass, speed, gas_at(air, beta, pop), 2.0 * limit) > limit:
            return 0.0
        by_depth = pop
    if by_depth > ps:
        time = decay_time(air, beta, pop, by_depth)
        return time if time <= horizon else np.inf
    time = decay_time(air, beta, pop, ps)
    rate = lost_flow(air, ps)
    if time > horizon or rate <= 0.0:
        return np.inf
    taut = gas_at(air, beta, ps)
    low, high = max(taut - rate * (horizon - time), 1e-3 * taut), taut
    if _depth(air, fx, fc, kx, ka, kv, beta, mass, speed, low, 2.0 * limit) <= limit:
        return np.inf
    for _ in range(50):
        mid = 0.5 * (low + high)
        if _depth(air, fx, fc, kx, ka, kv, beta, mass, speed, mid, 2.0 * limit) <= limit:
            high = mid
        else:
            low = mid
        if high - low < 1e-11 * taut:
            break
    time += (taut - 0.5 * (low + high)) / rate
    return time if time <= horizon else np.inf


@njit(cache=True)
def all_holds(air, fx, fc, kx, ka, kv, beta, by_depth, mass, speed, limit, horizon):
    out = np.zeros(len(beta))
    for i in range(len(beta)):
        out[i] = holds(air, fx, fc, kx[i], ka[i], kv[i], beta[i], by_depth[i], mass, speed, limit, horizon)
    return out


@njit(cache=True)
def _left(air, fx, fc, kx, ka, kv, beta, mass, speed, gas, supplied, ground, dt):
    """Square of the speed at the ground; where the body rests above it, minus the square of the speed that
    would take it there at its last push."""
    how, x, u, _, _, _, a = descend(air, fx, fc, kx, ka, kv, beta, mass, speed, gas, supplied, ground, dt)
    return -2.0 * abs(a) * (ground - x) - 1e-12 if how == REST and x < ground else u * u


@njit(cache=True)
def critical_speed(air, fx, fc, kx, ka, kv, beta, mass, gas, supplied, ground, plain):
    """From 15 m/s downward the first normal speed that comes to rest above the ground; inf: at 15 already, 0: none.

    The answer of the plain walk in steps of 0.25 m/s and bisection is found by a secant on the square of the speed
    left; where that meets no rest, by the walk itself (`plain`: always)."""
    left = _left(air, fx, fc, kx, ka, kv, beta, mass, FASTEST, gas, supplied, ground, STEP)
    if left < 0.0:
        return np.inf
    low, high, f_low, f_high = -1.0, FASTEST, 0.0, left
    if not plain:
        v, e = FASTEST, left
        v0, e0 = 0.0, 0.0
        for i in range(12):
            if i == 0:
                square = v * v - 1.2 * e
            else:
                slope = (e0 - e) / (v0 * v0 - v * v)
                square = v * v - 1.02 * e / slope if slope > 0.0 else -1.0
            if not square > 1.0:
                break
            new = max(min(math.sqrt(square), v - 1e-4), v - 3.0)
            if new < 1.0:
                break
            f = _left(air, fx, fc, kx, ka, kv, beta, mass, new, gas, supplied, ground, STEP)
            if f < 0.0:
                low, f_low = new, f
                break
            v0, e0, v, e = v, e, new, f
        high, f_high = v, e
    if low < 0.0:
        high, f_high = FASTEST, left
        for k in range(1, int(FASTEST / SLOWER)):
            v = FASTEST - k * SLOWER
            f = _left(air, fx, fc, kx, ka, kv, beta, mass, v, gas, supplied, ground, WALK)
            if f < 0.0:
                low, f_low = v, f
                break
            high, f_high = v, f
        if low < 0.0:
            return 0.0
    side = 0
    for i in range(60):
        share = 0.5 if plain or i % 4 == 3 or f_low >= f_high else min(max(-f_low / (f_high - f_low), 1e-3), 1.0 - 1e-3)
        at = low + share * (high - low)
        f = _left(air, fx, fc, kx, ka, kv, beta, mass, at, gas, supplied, ground, STEP)
        if f < 0.0:
            low, f_low = at, f
            if side == -1:
                f_high *= 0.5
            side = -1
        else:
            high, f_high = at, f
            if side == 1:
                f_low *= 0.5
            side = 1
        if high - low < 1e-8 or abs(f) < 1e-9:
            return at if abs(f) < 1e-9 else 0.5 * (low + high)
    return 0.5 * (low + high)


@njit(cache=True)
def critical_speeds(air, fx, fc, kx, ka, kv, beta, mass, gas, supplied, ground, enough):
    """inf also where the body rests at `enough`, a speed that is next to never passed."""
    out, plain = np.zeros(len(beta)), False
    for i in range(len(beta)):
        if enough < FASTEST:
            if _left(air, fx, fc, kx[i], ka[i], kv[i], beta[i], mass, enough, gas[i], supplied, ground, STEP) < 0.0:
                out[i] = np.inf
                continue
        out[i] = critical_speed(air, fx, fc, kx[i], ka[i], kv[i], beta[i], mass, gas[i], supplied, ground, plain)
    return out


@njit(cache=True)
def gases(air, beta, time):
    out = np.zeros(len(beta))
    for i in range(len(beta)):
        out[i] = decay_gas(air, beta[i], time)
    return out

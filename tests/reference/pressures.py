"""Section 10: the pressures to ride between; section 11: anchors."""

import math

import numpy as np
from scipy.optimize import brentq

from bag import Bag, landings
from site_file import G

CEILING = 20_000.0
HORIZON = 120.0


def landed_mass(s, mass):
    return mass + (s.bike if s.lands_with_bike else 0.0)


def thinnest(s, low, high):
    """Least thickness, normal to the top, of an interval of `along` kept within the bag."""
    ends = [min(max(v, 0.0), s.length) for v in (low, high)]
    return min(s.front + v * (s.back - s.front) / s.length for v in ends) * math.cos(s.phi)


def search(bags, mass, speed, supplied, limit, quantity):
    """For each bag: the lowest pressure that keeps depth <= limit (quantity 0), or the highest that
    keeps felt load <= limit (quantity 1, from above). Returns (pressure, note) per bag.

    Brackets come from many landings at once, the roots from DOP853 and Brent."""
    low, high = np.full(len(bags), bags[0].ps), np.full(len(bags), CEILING)
    result = [None] * len(bags)
    for n in (48, 12, 12):
        grids = [np.geomspace(a, b, n) for a, b in zip(low, high)]
        lanes = [b for b in bags for _ in range(n)]
        p = np.concatenate(grids)
        ones = np.ones_like(p)
        early = {"deep": limit} if quantity == 0 else {"firm": limit}
        value = landings(lanes, mass * ones, speed * ones, p, np.full(len(p), supplied), dt=2e-3, **early)[quantity]
        for i, row in enumerate(value.reshape(len(bags), n)):
            ok = row <= limit
            if result[i] is not None:
                continue
            if n == 48:
                if quantity == 0 and not ok.any():
                    result[i] = (None, "none is enough")
                elif quantity == 0 and ok[0]:
                    result[i] = (float(grids[i][0]), "just taut is enough")
                elif quantity == 1 and ok[-1]:
                    result[i] = (None, "not reached")
                elif quantity == 1 and not ok.any():
                    result[i] = (None, "passed from just taut")
            if result[i] is not None or ok.all() or not ok.any():
                continue
            # the lowest pressure that is enough; the highest that is soft enough, from above
            j = int(np.argmax(ok)) - 1 if quantity == 0 else n - 1 - int(np.argmax(ok[::-1]))
            if 0 <= j < n - 1:
                margin = (grids[i][1] / grids[i][0]) ** 0.1
                low[i] = max(grids[i][j] / margin, bags[0].ps)
                high[i] = min(grids[i][j + 1] * margin, CEILING)
    key = ("depth_m", "felt_load_g")[quantity]
    return [r or polish(b, mass, speed, supplied, limit, key, lo, hi) for r, b, lo, hi in zip(result, bags, low, high)]


def polish(bag, mass, speed, supplied, limit, key, low, high):
    """The root within a bracket. Where the bracket does not hold one (a load that only just
    touches the limit), a finer search over all pressures decides."""
    def f(x):
        return bag.landing(mass, speed, p_i=x, supplied=supplied, back=False)[key] - limit

    if f(low) * f(high) > 0.0:
        grid = np.geomspace(bag.ps, CEILING, 200)
        signs = [f(x) <= 0.0 for x in grid]
        if key == "depth_m":
            raise ArithmeticError("depth is not monotone in the pressure")
        if not any(signs):
            return None, "passed from just taut"
        j = max(i for i, ok in enumerate(signs) if ok)
        low, high = grid[j], grid[j + 1]
    return brentq(f, low, high, xtol=1e-8, rtol=1e-12), "found"


def after_power_cut(s, bag, by_depth, stop, mass, speed, limit):
    """(time to the stop pressure, time the bag holds the hard landing)."""
    to_stop = None if stop is None else bag.decay_time(bag.p_op, stop)

    def depth(**start):
        return bag.landing(mass, speed, supplied=False, back=False, **start)["depth_m"]

    if by_depth is None or depth(p_i=bag.p_op) > limit:
        return to_stop, 0.0
    if by_depth > bag.ps * (1.0 + 1e-9):
        holds = bag.decay_time(bag.p_op, by_depth)
    else:  # the slack bag is still enough for a while
        taut = bag.gas(bag.ps)
        holds = bag.decay_time(bag.p_op, bag.ps)
        rate = bag.lost_flow(bag.ps)
        if holds is not None and holds <= HORIZON and rate > 0.0:
            low = max(taut * 0.02, taut - rate * (HORIZON + 1.0 - holds))
            if depth(gas=low) <= limit:
                holds = None if low > taut * 0.021 else holds + (taut - low) / rate
            else:
                gas = brentq(lambda g: depth(gas=g) - limit, low, taut * (1.0 - 1e-12), xtol=1e-9)
                holds += (taut - gas) / rate
    if holds is not None and holds > HORIZON:
        holds = None
    return to_stop, holds


def repeated(s, bag, mass, speed, limit):
    """Hard landings without supply, the first at once, one every interval, until one would pass
    the depth limit. Also the count if the first comes one interval after the cut."""
    def count(gas):
        for done in range(200):
            hit = bag.landing(mass, speed, gas=gas, supplied=False)
            if hit["depth_m"] > limit:
                return done
            gas = max(gas - hit["gas_lost_back_m3"], 1e-3)
            gas = max(bag.decay(gas, max(s.interval - hit["back_at_s"], 0.0)), 1e-3)
            if gas < 0.05 * bag.g_op:
                return done + 1
        return 200

    return count(bag.g_op), count(max(bag.decay(bag.g_op, s.interval), 1e-3))


def compute(s, hard_speed, interval, commitment):
    """All of section 10. `interval` is that of `along`, all three riders."""
    thickness = thinnest(s, *interval)
    limit = s.depth_limit * thickness
    heavy, light = landed_mass(s, s.heaviest), landed_mass(s, s.lightest)
    variants = [(kb, da) for da in (0.0, -0.3, 0.3) for kb in (1.0, 0.5, 2.0)]
    bags = [Bag(s, s.stretch * kb, s.dish + da) for kb, da in variants]
    stops = search(bags, heavy, hard_speed, False, limit, 0)
    firms = search(bags, light, hard_speed, True, s.load_limit, 1)
    floor = s.stop_floor * s.p_min
    rows = []
    for (kb, da), bag, (by_depth, stop_note), (firm, firm_note) in zip(variants, bags, stops, firms):
        stop = None if by_depth is None else max(by_depth, floor)
        to_stop, holds = after_power_cut(s, bag, by_depth, stop, heavy, hard_speed, limit)
        if s.supply_sense:
            delay = 0.1
        elif stop is None:
            delay = 0.2
        else:
            half = bag.decay_time(bag.p_op, 0.5 * (bag.p_op + stop))
            delay = None if half is None else max(half, 0.2)
        need = None if commitment is None or delay is None else commitment + delay + s.reaction
        missing = None
        if holds is None:
            missing = 0.0 if commitment is not None else None
        elif need is not None:
            missing = max(need - holds, 0.0)
        wait = None
        if stop is not None and need is not None:
            if to_stop is None:
                wait = max(s.p_min, stop)
            elif to_stop >= need:
                far = brentq(lambda p: bag.decay_time(p, stop) - need, stop, bag.p_op, xtol=1e-9) if need > 0.0 else stop
                wait = max(s.p_min, stop, far)
        elif stop is not None and to_stop is None and commitment is not None:
            wait = max(s.p_min, stop)
        rows.append(
            {
                "skin_stretch": bag.beta,
                "dish_radius_m": bag.a,
                "stop_pa": stop,
                "stop_rule": "depth" if by_depth is None or by_depth > floor else "floor",
                "stop_by_depth_pa": by_depth,
                "stop_note": stop_note,
                "firm_pa": firm,
                "firm_note": firm_note,
                "power_loss_to_stop_s": to_stop,
                "holds_for_s": holds,
                "alarm_delay_s": delay,
                "seconds_missing": missing,
                "wait_pa": wait,
            }
        )
    out = dict(rows[0])
    del out["skin_stretch"], out["dish_radius_m"]
    stop, firm = out["stop_pa"], out["firm_pa"]
    low = None if stop is None else max(stop, s.p_min)
    high = s.p_max if firm is None else min(firm, s.p_max)
    if low is None or low > high or out["firm_note"] == "passed from just taut":
        out.update(band_low_pa=None, band_high_pa=None, band_empty=True, band_low_raw_pa=low, band_high_raw_pa=high)
    else:
        out.update(band_low_pa=low, band_high_pa=high, band_empty=False)
    if bags[0].lost_flow(bags[0].p_op) == 0.0:  # sealed: every landing is like the first
        first = 0 if rows[0]["holds_for_s"] == 0.0 else 200
        later = first
    else:
        first, later = repeated(s, bags[0], heavy, hard_speed, limit)
    out.update(
        commitment_s=commitment,
        landings_without_supply=first,
        landings_without_supply_first_after_interval=later,
        hard_speed_mps=hard_speed,
        hard_thickness_m=thickness,
        variants=rows[1:],
    )

    def badness(row):
        inf = math.inf
        return (
            row["seconds_missing"] if row["seconds_missing"] is not None else -inf,
            -(row["holds_for_s"] if row["holds_for_s"] is not None else inf),
            row["stop_pa"] if row["stop_pa"] is not None else inf,
        )

    worst = max(rows, key=badness)
    out["worst"] = {k: worst[k] for k in ("stop_pa", "power_loss_to_stop_s", "holds_for_s", "seconds_missing", "skin_stretch", "dish_radius_m")}
    return out


def anchors(s):
    q = 0.5 * s.rho * s.anchor_wind**2
    side = q * s.side_coefficient * max(s.length, s.width) * max(s.front, s.back)
    lift = q * s.lift_coefficient * s.length * s.width

    def count(force):
        return max(6, math.ceil(1.5 * force / s.anchor_capacity))

    return {
        "side_force_n": side,
        "lift_n": lift,
        "anchors_needed": count(math.hypot(side, lift)),
        "anchors_needed_by": {"resultant": count(math.hypot(side, lift)), "sum": count(side + lift), "larger": count(max(side, lift))},
    }


def touchdown(s, bag, mass, fl):
    """The mean landing at the operating pressure; None off the bag."""
    if fl is None or fl["outcome"] not in ("on", "edge"):
        return None
    height = s.front + fl["along_m"] * (s.back - s.front) / s.length
    thickness = height * math.cos(s.phi)
    hit = bag.landing(landed_mass(s, mass), fl["impact_normal_mps"], p_i=bag.p_op, thickness=thickness)
    bottomed = hit["ground_speed_mps"] is not None
    return {
        "thickness_m": thickness,
        "depth_m": hit["depth_m"],
        "clearance_m": 0.0 if bottomed else thickness - hit["depth_m"],
        "felt_load_g": hit["felt_load_g"],
        "peak_pressure_pa": hit["peak_pressure_pa"],
        "time_to_deepest_s": hit["time_to_deepest_s"],
        "gas_lost_m3": hit["gas_lost_m3"],
        "rebound_mps": hit["rebound_mps"],
        "back_at_s": hit["back_at_s"],
        "gas_lost_back_m3": None if bottomed else hit["gas_lost_back_m3"],
        "recovery_s": None if bottomed else bag.recovery_time(hit["gas_lost_back_m3"]),
        "ground_speed_mps": hit["ground_speed_mps"],
        "ground_fall_height_m": hit["ground_fall_height_m"],
    }

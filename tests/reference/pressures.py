"""Section 10: the pressures to ride between, and what is not known; section 11: anchors; section 13: the marks.

Possible bags by the compiled landings of `quick`; the stated bag's landings again by DOP853 (`bag`)."""

import math
from functools import cached_property

import numpy as np
from scipy.optimize import brentq

import force_area
import quick
from site_file import G

HORIZON = 120.0
NEVER = 1e-12
TOPICS = ("load", "ground", "ground_cut", "hard", "light", "band", "stop", "wait", "one_blower")
LEVELS = (None, "caution", "stop")
RIDERS = ("lightest", "mean", "heaviest")


def landed_mass(s, mass):
    return mass + (s.bike if s.lands_with_bike else 0.0)


def thinnest(s, low, high):
    """Least thickness, normal to the top, of an interval of `along` kept within the bag."""
    ends = [min(max(v, 0.0), s.length) for v in (low, high)]
    return min(s.front + v * (s.back - s.front) / s.length for v in ends) * math.cos(s.phi)


def finite(x):
    return None if x is None or not math.isfinite(x) else float(x)


class Case:
    """What section 10 takes from the ride: built by `make_reference.case`.

    riders: {lightest, mean, heaviest: [(landing mass, distribution of the normal speed), …]}, one entry a group;
    peak_load_g, commitment, dip and mean landing are of the stated riders."""

    def __init__(self, riders, heavy, light, thickness, commitment, peak_load_g, dip):
        self.riders, self.heavy, self.light = riders, heavy, light
        self.thickness, self.commitment = thickness, commitment
        self.peak_load_g, self.dip = peak_load_g, dip
        self.hard_speed = max(d.quantile(0.999) for rows in riders.values() for _, d in rows)


class Section:
    """Everything of section 10 for one case; `measured`: as the measurement would leave the bag. Each part is
    computed when it is asked for. `memo` keeps critical speeds, which do not depend on the ride."""

    def __init__(self, s, bag, case, measured=False, memo=None):
        self.s, self.bag, self.case, self.measured = s, bag, case, measured
        self.memo = {} if memo is None else memo
        self.draws = force_area.possible_bags(s, measured)
        self.air, self.fx, self.fc = quick.numbers(bag)
        self.all = quick.fleet(self.draws)
        self.one = quick.fleet([(bag.area.knots, bag.beta)])
        self.limit = s.depth_limit * case.thickness
        self.hard = (case.heavy, case.hard_speed)
        self.soft_light = (case.light, case.hard_speed)

    def many(self, f, bags, *args):
        kx, ka, kv, beta = bags
        return f(self.air, self.fx, self.fc, kx, ka, kv, beta, *args)

    def single(self, f, i, *args):
        kx, ka, kv, beta = self.one if i is None else self.all
        i = 0 if i is None else i
        return f(self.air, self.fx, self.fc, kx[i], ka[i], kv[i], beta[i], *args)

    # --- stop pressure by depth, soft and firm bag --------------------------------------------
    @cached_property
    def by_depth(self):
        return self.many(quick.stops, self.all, *self.hard, self.limit)

    @cached_property
    def stated_by_depth(self):
        return float(self.many(quick.stops, self.one, *self.hard, self.limit)[0])

    @cached_property
    def hard_depths(self):
        return self.many(quick.full_depths, self.all, *self.hard)

    @cached_property
    def stated_hard_depth(self):
        return float(self.many(quick.full_depths, self.one, *self.hard)[0])

    @cached_property
    def soft(self):
        order = np.lexsort((self.hard_depths, self.by_depth))
        return int(order[force_area.PLACE - 1])

    @cached_property
    def light_loads(self):
        return self.many(quick.loads, self.all, *self.soft_light)

    @cached_property
    def stated_light_load(self):
        return float(self.many(quick.loads, self.one, *self.soft_light)[0])

    @cached_property
    def firm(self):
        return int(np.argsort(self.light_loads, kind="stable")[force_area.PLACE - 1])

    # --- the pressures ------------------------------------------------------------------------
    @property
    def floor(self):
        return self.s.stop_floor * self.s.p_min

    @cached_property
    def room(self):
        p, e, n = self.bag.p_op, self.s.sensor_error, self.s.sensor_noise
        return min(0.85 * p, p - self.case.dip - e, 0.98 * p - e - n, p - (0.02 * p + e + n) / 0.45)

    @cached_property
    def stop(self):
        return min(max(float(self.by_depth[self.soft]), self.floor), self.room)

    @cached_property
    def stop_rule(self):
        soft = float(self.by_depth[self.soft])
        if max(soft, self.floor) > self.room:
            return "room"
        return "depth" if soft > self.floor else "floor"

    @cached_property
    def firm_pa(self):
        return float(self.single(quick.firm_pressure, None, *self.soft_light, self.s.load_stop))

    @cached_property
    def comfort_pa(self):
        return float(self.single(quick.firm_pressure, None, *self.soft_light, self.s.load_limit))

    @cached_property
    def band(self):
        """Ends of the ride band, and whether it is empty."""
        low, high = max(self.stop, self.s.p_min), min(self.firm_pa, self.s.p_max)
        return low, high, low > high or self.firm_pa == 0.0

    def decay(self, beta, high, low):
        return float(quick.decay_time(self.air, beta, high, low))

    @cached_property
    def holds(self):
        """(stated, 5 % place) of the time that a hard landing is held after a power cut; inf: over 120 s."""
        stated = float(self.single(quick.holds, None, self.stated_by_depth, *self.hard, self.limit, HORIZON))
        every = self.many(quick.all_holds, self.all, self.by_depth, *self.hard, self.limit, HORIZON)
        return stated, float(np.sort(every)[force_area.LOW_PLACE - 1])

    @cached_property
    def alarm_delay(self):
        if self.s.supply_sense:
            return 0.1
        half = self.decay(self.bag.beta, self.bag.p_op, 0.5 * (self.bag.p_op + self.stop))
        return max(half, 0.2) if math.isfinite(half) else None

    @cached_property
    def needed(self):
        if self.case.commitment is None or self.alarm_delay is None:
            return None
        return self.case.commitment + self.alarm_delay + self.s.reaction

    @cached_property
    def seconds_missing(self):
        return None if self.needed is None else max(self.needed - self.holds[0], 0.0)

    @cached_property
    def wait(self):
        if self.needed is None:
            return None
        p = max(self.s.p_min, self.stop)
        for beta in (self.bag.beta, float(self.all[3][self.soft])):
            time = self.decay(beta, self.bag.p_op, self.stop)
            if time < self.needed:
                return None
            if math.isfinite(time):
                p = max(p, brentq(lambda x: self.decay(beta, x, self.stop) - self.needed, self.stop, self.bag.p_op, xtol=1e-9))
        return p if p <= 0.98 * self.bag.p_op - self.s.sensor_error - self.s.sensor_noise else None

    # --- chance of meeting the ground ---------------------------------------------------------
    def critical(self, mass, speeds):
        """Critical speed of every possible bag, blowers running. inf also where the body rests at a speed whose
        chance is under NEVER: chances below that come out as 0."""
        enough = speeds.quantile(1.0 - NEVER) if hasattr(speeds, "parts") else quick.FASTEST
        key = (self.measured, mass, self.case.thickness)
        known = self.memo.get(key)
        if known is None or known[0] < enough:
            gas = quick.gases(self.air, self.all[3], 0.0)
            known = enough, self.many(quick.critical_speeds, self.all, mass, gas, True, self.case.thickness, enough)
            self.memo[key] = known
        return known[1]

    def critical_cut(self, mass, enough):
        """The same with the supply lost `needed` before contact."""
        gas = quick.gases(self.air, self.all[3], self.needed)
        return self.many(quick.critical_speeds, self.all, mass, gas, False, self.case.thickness, enough)

    @cached_property
    def ground(self):
        """({rider: chance}, share of possible bags that pass the target, worst rider's)."""
        chance, share = {}, 0.0
        for name in RIDERS:
            chance[name] = 0.0
            for mass, speeds in self.case.riders[name]:
                v = self.critical(mass, speeds)
                chance[name] = max(chance[name], survival(speeds, np.sort(v)[force_area.LOW_PLACE - 1]))
                passed = sum(survival(speeds, x) > self.s.target_ground for x in v)
                share = max(share, passed / force_area.DRAWS)
        return chance, share

    @cached_property
    def ground_cut(self):
        if self.needed is None:
            return None
        chance, known = {}, {}
        for name in RIDERS:
            chance[name] = 0.0
            for mass, speeds in self.case.riders[name]:
                enough = speeds.quantile(1.0 - NEVER) if hasattr(speeds, "parts") else quick.FASTEST
                if known.get(mass, (0.0,))[0] < enough:
                    known[mass] = enough, self.critical_cut(mass, enough)
                chance[name] = max(chance[name], float(np.mean([survival(speeds, x) for x in known[mass][1]])))
        return chance

    # --- the table of stops and cautions ------------------------------------------------------
    @cached_property
    def one_blower(self):
        return self.bag.one_blower_lost(self.stop)

    def level(self, topic):
        """0: neither, 1: a caution, 2: a stop."""
        if not hasattr(self, "_levels"):
            self._levels = {}
        if topic not in self._levels:
            self._levels[topic] = getattr(self, "level_" + topic)()
        return self._levels[topic]

    def level_load(self):
        g = self.case.peak_load_g
        return 2 if g > self.s.arc_load_stop else 1 if g > self.s.arc_load_limit else 0

    def level_ground(self):
        chance, share = self.ground
        return 2 if max(chance.values()) > self.s.target_ground else 1 if share > 0.01 else 0

    def level_ground_cut(self):
        if self.ground_cut is None:
            return 0
        worst = max(self.ground_cut.values())
        return 2 if worst > self.s.target_cut else 1 if worst > 0.1 * self.s.target_cut else 0

    def level_hard(self):
        if self.stated_hard_depth > self.limit:
            return 2
        return 1 if self.hard_depths[self.soft] > self.limit else 0

    def level_light(self):
        if self.stated_light_load > self.s.load_stop:
            return 2
        return 1 if self.stated_light_load > self.s.load_limit or self.light_loads[self.firm] > self.s.load_stop else 0

    def level_band(self):
        low, high, empty = self.band
        return 2 if empty or not low <= self.bag.p_op <= high else 0

    def level_stop(self):
        if max(self.stated_by_depth, self.floor) > self.room:
            return 2
        return 1 if self.by_depth[self.soft] > self.room else 0

    def level_wait(self):
        if self.wait is not None:
            return 0
        if self.seconds_missing:
            return 2
        return 0 if self.s.supply_sense else 1

    def level_one_blower(self):
        lost = self.one_blower
        return 1 if lost and lost["settles_pa"] < max(self.stated_by_depth, self.floor) else 0

    def levels(self):
        return {topic: self.level(topic) for topic in TOPICS}


def survival(speeds, v):
    if v == math.inf:
        return 0.0
    return speeds.survival(v)


def first_day(s, bag, cases):
    """The first start height, going down in whole 5 cm, at which no stop of the table stands and nothing that the
    measurement would lift. `cases` yields (height, Case or None); None ends the search."""
    memo = {}
    quick_first = ("load", "ground", "hard", "light", "stop", "band", "one_blower", "wait", "ground_cut")
    for height, case in cases:
        if case is None:
            return None
        now = Section(s, bag, case, memo=memo)
        if any(now.level(topic) == 2 for topic in quick_first):
            continue
        cautions = [topic for topic in quick_first if now.level(topic)]
        if not cautions:
            return height
        then = Section(s, bag, case, measured=True, memo=memo)
        if all(then.level(topic) >= now.level(topic) for topic in cautions):
            return height
    return None


def repeated(s, bag, mass, speed, limit):
    """Hard landings without supply, the first at the cut, one every interval, until one would pass the depth limit."""
    gas = bag.g_op
    for done in range(200):
        hit = bag.landing(mass, speed, gas=gas, supplied=False, thickness=1.5 * limit, lies=False)
        if hit["depth_m"] > limit:
            return done
        gas = max(gas - hit["gas_lost_back_m3"], 1e-3)
        gas = max(bag.decay(gas, max(s.interval - hit["back_at_s"], 0.0)), 1e-3)
        if gas < 0.05 * bag.g_op:
            return done + 1
    return 200


def agree(what, a, b, rel=1e-6):
    """The slope of the flow jumps where flaps begin and end to open: there the fixed steps are good to 1e-6 only."""
    if abs(a - b) > rel * max(abs(b), 1e-3):
        raise ArithmeticError(f"{what}: {a} by fixed steps, {b} by DOP853")


def check_by_dop853(sec):
    """The compiled landings against DOP853: stated, soft and firm bag."""
    from bag import Bag

    for i in (None, sec.soft, sec.firm):
        knots, beta = (None, None) if i is None else sec.draws[i]
        bag = Bag(sec.s, beta, knots)
        depth = sec.stated_hard_depth if i is None else sec.hard_depths[i]
        load = sec.stated_light_load if i is None else sec.light_loads[i]
        if depth < 1.5 * sec.limit:
            agree("hard depth", depth, bag.landing(*sec.hard, p_i=bag.p_op, supplied=False, back=False)["depth_m"])
        agree("light load", load, bag.landing(*sec.soft_light, p_i=bag.p_op, back=False)["felt_load_g"], 3e-6)
        stop = sec.stated_by_depth if i is None else sec.by_depth[i]
        if bag.ps * 1.001 < stop < math.inf:
            agree("stop by depth", bag.landing(*sec.hard, p_i=stop, supplied=False, back=False)["depth_m"], sec.limit)


def bag_row(sec, i):
    knots, beta = (sec.bag.area.knots, sec.bag.beta) if i is None else sec.draws[i]
    return {
        "draw": None if i is None else i + 1,
        "knots": [list(knot) for knot in knots],
        "skin_stretch": beta,
        "stop_by_depth_pa": finite(sec.stated_by_depth if i is None else sec.by_depth[i]),
        "power_loss_to_stop_s": finite(sec.decay(beta, sec.bag.p_op, sec.stop)),
        "hard_depth_m": finite(sec.stated_hard_depth if i is None else sec.hard_depths[i]),
        "light_load_g": finite(sec.stated_light_load if i is None else sec.light_loads[i]),
    }


def chances(now, then):
    if now is None:
        return None
    return now | {"worst": max(now.values()), "if_measured": None if then is None else max(then.values())}


def compute(s, bag, case, cases):
    """All of section 10. `cases(height)` gives the case of a lower start."""
    now = Section(s, bag, case)
    then = Section(s, bag, case, measured=True, memo=now.memo)
    check_by_dop853(now)
    low, high, empty = now.band
    levels, lifted_to = now.levels(), then.levels()
    lifted = [topic for topic in TOPICS if lifted_to[topic] < levels[topic]]
    provisional = None
    if lifted and all(topic in lifted for topic in TOPICS if levels[topic] == 2):
        provisional = {"lifted": lifted, "first_day_start_m": first_day(s, bag, cases)}
    if bag.lost_flow(bag.p_op) == 0.0:  # sealed: every landing is like the first
        count = 0 if now.holds[0] == 0.0 else 200
    else:
        count = repeated(s, bag, *now.hard, now.limit)
    push = bag.landing(*now.hard, p_i=bag.p_op, back=False)["felt_load_g"] * now.hard[0] * G * s.skin_friction
    chance, share = now.ground
    return {
        "stop_pa": now.stop,
        "stop_rule": now.stop_rule,
        "room_pa": now.room,
        "floor_pa": now.floor,
        "dip_pa": case.dip,
        "firm_pa": finite(now.firm_pa),
        "comfort_pa": finite(now.comfort_pa),
        "band_low_pa": None if empty else low,
        "band_high_pa": None if empty else high,
        "band_empty": empty,
        "wait_pa": now.wait,
        "commitment_s": case.commitment,
        "alarm_delay_s": now.alarm_delay,
        "needed_s": now.needed,
        "hard_speed_mps": case.hard_speed,
        "hard_thickness_m": case.thickness,
        "hard_mass_kg": case.heavy,
        "light_mass_kg": case.light,
        "landings_without_supply": count,
        "stated": bag_row(now, None),
        "soft": bag_row(now, now.soft),
        "firm": bag_row(now, now.firm),
        "holds_for_s": finite(now.holds[0]),
        "holds_for_p05_s": finite(now.holds[1]),
        "seconds_missing": now.seconds_missing,
        "ground": chances(chance, then.ground[0]),
        "ground_share": share,
        "ground_cut": chances(now.ground_cut, then.ground_cut),
        "one_blower_lost": now.one_blower,
        "table": {topic: {"stated": LEVELS[levels[topic]], "if_measured": LEVELS[lifted_to[topic]]} for topic in TOPICS},
        "provisional": provisional,
        "push_n": push,
        "if_measured": {
            "stop_pa": then.stop,
            "soft": bag_row(then, then.soft),
            "firm": bag_row(then, then.firm),
            "needed_s": then.needed,
            "wait_pa": then.wait,
            "holds_for_p05_s": finite(then.holds[1]),
            "ground_share": then.ground[1],
        },
    }


def up(x, step):
    return math.ceil(x / step - 1e-9) * step


def box(s, bag, p):
    """Section 12's thresholds from section 10's pressures."""
    e, n, op = s.sensor_error, s.sensor_noise, bag.p_op
    stop, wait = p["stop_pa"], p["wait_pa"]
    if wait is not None:
        off = max(wait, 0.45 * stop + 0.55 * op) + e
    elif s.supply_sense:
        off = max(max(stop, s.p_min), 0.45 * stop + 0.55 * op) + e
    else:
        off = max(0.98 * op - e - n, 0.45 * stop + 0.55 * op) + e
    return {"siren_at_pa": stop + e, "permit_off_under_pa": off, "permit_back_from_pa": off + 0.02 * op}


def anchors(s, push=None):
    q = 0.5 * s.rho * s.anchor_wind**2
    wind = q * s.side_coefficient * max(s.length, s.width) * max(s.front, s.back)
    side = wind + (push or 0.0)
    lift = q * s.lift_coefficient * s.length * s.width

    def count(force):
        return max(6, math.ceil(1.5 * force / s.anchor_capacity))

    return {
        "wind_side_force_n": wind,
        "side_force_n": side,
        "lift_n": lift,
        "anchors_needed": count(math.hypot(side, lift)),
        "anchors_needed_by": {"resultant": count(math.hypot(side, lift)), "sum": count(side + lift), "larger": count(max(side, lift))},
    }


def place_of(s, fl):
    """Thickness at a landing on the bag; None off it."""
    if fl is None or fl["outcome"] not in ("on", "edge"):
        return None
    return (s.front + fl["along_m"] * (s.back - s.front) / s.length) * math.cos(s.phi)


def dip(s, bag, mass, fl):
    """What the mean landing takes off the slow pressure: at least 10 Pa, and 10 Pa where there is no touch-down or
    it meets the ground."""
    thickness = place_of(s, fl)
    if thickness is None:
        return 10.0
    hit = bag.landing(landed_mass(s, mass), fl["impact_normal_mps"], p_i=bag.p_op, thickness=thickness)
    if hit["ground_speed_mps"] is not None:
        return 10.0
    return max(10.0, bag.p_op - bag.pressure(bag.g_op - hit["gas_lost_back_m3"]))


def along_the_top(s, fl, time_to_deepest, rebound, friction):
    """Speed left along the top, and the run-out behind."""
    slowed = friction * (fl["impact_normal_mps"] + G * math.cos(s.phi) * time_to_deepest)
    left = fl["impact_along_mps"] - min(fl["impact_along_mps"], slowed)
    return left, left * left / (2.0 * friction * G) + 2.0 * left * rebound / G + 1.0


def touchdown(s, bag, mass, fl):
    """The mean landing at the operating pressure; None off the bag."""
    thickness = place_of(s, fl)
    if thickness is None:
        return None
    landing = dict(p_i=bag.p_op, thickness=thickness)
    hit = bag.landing(landed_mass(s, mass), fl["impact_normal_mps"], **landing)
    bottomed = hit["ground_speed_mps"] is not None
    rebounds = [
        None if bottomed else bag.landing(landed_mass(s, mass), fl["impact_normal_mps"], skin_loss=loss, **landing)["rebound_mps"]
        for loss in (0.8, 0.3)
    ]
    left, run_out, other, ride_out = None, None, [None, None], None
    if not bottomed:
        left, run_out = along_the_top(s, fl, hit["time_to_deepest_s"], hit["rebound_mps"], s.skin_friction)
        other = [along_the_top(s, fl, hit["time_to_deepest_s"], hit["rebound_mps"], mu)[1] for mu in (0.2, 0.6)]
        if s.phi < 0.0:
            run_out, other = None, [None, None]
            way = (s.length - fl["along_m"]) / math.cos(s.phi)
            gain = 2.0 * G * (-math.sin(s.phi) - s.mean["rolling_resistance"] * math.cos(s.phi)) * way
            ride_out = math.sqrt(max(fl["impact_along_mps"] ** 2 + gain, 0.0))
    return {
        "thickness_m": thickness,
        "depth_m": hit["depth_m"],
        "clearance_m": 0.0 if bottomed else thickness - hit["depth_m"],
        "felt_load_g": hit["felt_load_g"],
        "peak_pressure_pa": hit["peak_pressure_pa"],
        "time_to_deepest_s": hit["time_to_deepest_s"],
        "gas_lost_m3": hit["gas_lost_m3"],
        "rebound_mps": hit["rebound_mps"],
        "rebound_low_mps": rebounds[0],
        "rebound_high_mps": rebounds[1],
        "back_at_s": hit["back_at_s"],
        "gas_lost_back_m3": None if bottomed else hit["gas_lost_back_m3"],
        "recovery_s": None if bottomed else bag.recovery_time(hit["gas_lost_back_m3"]),
        "ground_speed_mps": hit["ground_speed_mps"],
        "ground_fall_height_m": hit["ground_fall_height_m"],
        "sinks_on_mps": hit["sinks_on_mps"],
        "along_left_mps": left,
        "run_out_m": run_out,
        "run_out_friction_02_m": other[0],
        "run_out_friction_06_m": other[1],
        "ride_out_mps": ride_out,
    }

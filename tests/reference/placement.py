"""Sections 6, 7 and 11: where the bag should stand, the ends of the band, hold winds, sizing."""

import copy
import math

import numpy as np
from scipy.optimize import brentq
from scipy.stats import qmc

import flight
import ride
import sample
import spread
from site_file import INPUTS, takeoff_shape

SEARCH_LOG2 = 15


def riders(s):
    return {"lightest": s.lightest, "mean": s.mass, "heaviest": s.heaviest}


def search_normals(seed):
    """A scrambled low-discrepancy set for the searches (the same numbers at every place tried): normals
    of the inputs, and a share that says which runs are botched."""
    from scipy.stats import norm

    u = qmc.Sobol(len(INPUTS) + 1, scramble=True, seed=seed).random_base2(SEARCH_LOG2).T
    return norm.ppf(np.clip(u[:-1], 1e-12, 1.0 - 1e-12)), u[-1]


class Field:
    """The runs of all three riders, and the chance of a miss for a moved bag."""

    def __init__(self, s, seed, n=spread.RUNS):
        self.s, self.seed, self.n = s, seed, n
        self.botched = spread.botched_runs(s, seed, n)
        self.q = sample.draw(s, spread.normals(seed, n), botched=self.botched)
        self.masses = riders(s)
        self.runs = {}
        for name, mass in self.masses.items():
            same = [m for m in self.runs if self.masses[m] == mass]
            self.runs[name] = self.runs[same[0]] if same else sample.run(s, mass, self.q)
        self.cache = {}

    def distinct(self):
        seen = {}
        for name, mass in self.masses.items():
            seen.setdefault(mass, name)
        return seen.values()

    def at(self, name, gap, runs=None):
        """Landings with the bag at `gap`."""
        if self.s.phi == 0.0 or gap == self.s.gap:
            return self.runs[name]
        key = (name, gap)
        if key not in self.cache:
            if len(self.cache) > 12:
                self.cache.clear()
            self.cache[key] = sample.run(self.s, self.masses[name], self.q, gap=gap, releases=self.runs[name])
        return self.cache[key]

    def miss(self, gap, offset=None):
        return max(sample.misses(self.s, self.at(name, gap), gap, offset) for name in self.distinct()) / self.n

    def interval(self, gap, axis="along"):
        """Lowest 0.1 % and highest 99.9 % over the three riders."""
        lows, highs = [], []
        for name in self.distinct():
            code, along, across = sample.outcomes(self.s, self.at(name, gap), gap)
            v = (along if axis == "along" else across)[code < sample.OUTCOMES.index("front")]
            if len(v) < 100:
                return None
            lows.append(np.quantile(v, 0.001))
            highs.append(np.quantile(v, 0.999))
        return float(min(lows)), float(max(highs))


THIN = 8192


def best_place(s, field):
    """Band of gaps, best gap and offset."""
    keys = ("gap_low_m", "gap_low_bracket", "gap_high_m", "gap_high_bracket", "best_gap_m", "best_offset_m", "miss_at_best", "smallest_miss")
    out = {k: None for k in keys}
    out["miss_now"] = field.miss(s.gap)
    if field.interval(s.gap) is None:
        return out
    middle = 0.5 * (s.edge_front + s.length - s.edge_back)
    gap = s.gap
    sloped = s.phi != 0.0
    for _ in range(12):
        ends = field.interval(gap)
        if ends is None:
            break
        new = max(0.0, gap + 0.5 * (ends[0] + ends[1]) - middle)
        done = abs(new - gap) < 1e-4
        gap = new
        if done or not sloped:
            break
    out["unclamped_best_gap_m"] = gap
    target, n = s.target_miss, field.n
    inside = gap if field.miss(gap) <= target else None
    if inside is None:  # look for the gap of least miss
        thin = Field(s, field.seed, THIN) if sloped else field
        low, high = 0.0, max(s.gap, gap) + s.length
        for _ in range(3):
            grid = np.linspace(low, high, 41)
            least = min((thin.miss(g), g) for g in grid)[1]
            step = grid[1] - grid[0]
            low, high = max(0.0, least - step), least + step
        if field.miss(least) <= target:
            inside = least
    if inside is not None:
        tol = 2e-4
        if field.miss(0.0) <= target:
            out["gap_low_m"], out["gap_low_bracket"] = 0.0, [0.0, 0.0]
        else:
            out["gap_low_m"], out["gap_low_bracket"] = spread.crossing(field.miss, inside, 0.0, target, n, tol)
        far = inside + 0.5
        while field.miss(far) <= target:
            far += 0.5
        out["gap_high_m"], out["gap_high_bracket"] = spread.crossing(field.miss, inside, far, target, n, tol)
        best = min(max(gap, out["gap_low_m"]), out["gap_high_m"])
    else:
        best = least
        out["smallest_miss"] = field.miss(least)
    if out["smallest_miss"] == 1.0:  # nothing lands wherever the bag stands
        return out
    out["best_gap_m"] = best
    across = field.interval(best, "across")
    if across is not None:
        out["best_offset_m"] = s.offset + 0.5 * (across[0] + across[1])
    out["miss_at_best"] = field.miss(best)
    out["miss_at_best_low"], out["miss_at_best_high"] = spread.clopper_pearson(round(out["miss_at_best"] * n), n)
    # ends of the pooled interval move the best gap by half their own noise
    noise = [0.0, 0.0]
    for name in field.distinct():
        r = spread.sampling(s, field.at(name, best), best)
        if r.get("along_p001_bracket"):
            for i, key in enumerate(("along_p001_bracket", "along_p999_bracket")):
                noise[i] = max(noise[i], 0.5 * (r[key][1] - r[key][0]))
    out["best_gap_tolerance"] = 0.5 * (noise[0] + noise[1])
    return out


class Search:
    """Chance of a miss or of coming down short as start height or wind change."""

    def __init__(self, s, seed):
        self.s = s
        self.z, self.fate = search_normals(seed)
        self.n = self.z.shape[1]
        masses = sorted({s.lightest, s.heaviest})
        self.masses = masses  # drag alone depends on mass: the mean rider lies between these two
        self.cross = {}
        self.now = None

    def share(self, what, mass, n=None, **changed):
        """Share of one rider's runs (the first n) that are a "miss", "short" (or do not land), or "long"."""
        n = n or self.n
        mean = {**self.s.mean, **changed}
        q = sample.draw(self.s, self.z[:, :n], mean, self.fate[:n] < self.s.botched)
        if set(changed) == {"wind_across"}:  # does not touch the ride down
            if mass not in self.cross:
                self.cross[mass] = sample.run(self.s, mass, q)
            r = sample.run(self.s, mass, q, releases=self.cross[mass])
        else:
            r = sample.run(self.s, mass, q)
        code, _, _ = sample.outcomes(self.s, r)
        counted = {"miss": code != 0, "short": (code == 2) | (code >= 6), "long": code == sample.OUTCOMES.index("long")}[what]
        return int(np.count_nonzero(counted)) / n

    def worst(self, what, **changed):
        return max(self.share(what, mass, **changed) for mass in self.masses)

    def keeps(self, what, **changed):
        """Whether every rider keeps to the target."""
        return all(self.share(what, mass, **changed) <= self.s.target_miss for mass in self.masses)

    def passes(self, what, place, inside, outside, tol):
        """Where the worst rider's share passes the target; `place` turns a number into changed
        means. Solved for the rider who is worst outside; if the other one is past the target
        there, then for that one between."""
        shares = {mass: self.share(what, mass, **place(outside)) for mass in self.masses}
        left = sorted((m for m in self.masses if shares[m] > self.s.target_miss), key=lambda m: -shares[m])
        found = None
        for mass in left:
            if found is not None:
                if self.share(what, mass, **place(found[0])) <= self.s.target_miss:
                    continue
                outside = found[0]
            f = lambda x, mass=mass: self.share(what, mass, **place(x))
            found = spread.crossing(f, inside, outside, self.s.target_miss, self.n, tol)
        return found

    def lowest_height(self):
        """The lowest start height that the roll-in's first sloping straight allows."""
        length, _, theta = self.s.chain[self.s.adjust]
        return max(self.s.start_height + length * math.sin(theta), 0.0) if theta < 0.0 else 0.0

    def heights(self):
        """From the lowest to 40 m, finely as far as one and a half times the stated start."""
        low, stated = self.lowest_height(), self.s.mean["start_height"]
        grid = list(np.arange(low + 1e-3, 1.5 * stated, 0.1))
        while grid[-1] < 40.0:
            grid.append(grid[-1] * 1.03)
        return grid

    def lowest_clearing_start(self):
        """Going up from the lowest start that there is: the first that is not short."""
        target = self.s.target_miss
        place = lambda height: {"start_height": height}
        heights = self.heights()
        for i, height in enumerate(heights):
            thin = max(self.share("short", mass, 2048, **place(height)) for mass in self.masses)
            if thin <= 2.0 * target and self.keeps("short", **place(height)):
                while i > 0 and self.keeps("short", **place(heights[i - 1])):
                    i -= 1
                if i == 0:
                    return self.lowest_height(), [self.lowest_height()] * 2
                return self.passes("short", place, heights[i], heights[i - 1], 1e-3)
        return None, "no start clears"

    def lowest_start_by_miss(self):
        """Going down from the stated start: as far as the chance of a miss keeps to the target."""
        inside = self.s.mean["start_height"]
        place = lambda height: {"start_height": height}
        if not self.keeps("miss", **place(inside)):
            return None, "the stated start misses"
        while True:
            height = max(inside - 0.25, self.lowest_height() + 1e-3)
            if not self.keeps("miss", **place(height)):
                return self.passes("miss", place, inside, height, 1e-3)
            if height == self.lowest_height() + 1e-3:
                return self.lowest_height(), [self.lowest_height()] * 2
            inside = height

    def highest_start_with_gust(self):
        """The highest of all starts that keep to the target: above it every start misses."""
        s, target = self.s, self.s.target_miss
        stated = s.mean["start_height"]
        wind = s.mean["wind_along"] + s.gust
        place = lambda height: {"start_height": height, "wind_along": wind}
        keeps = lambda height: self.keeps("miss", **place(height))
        # From where runs go long no higher start brings them back.
        long = lambda height: max(self.share("long", mass, 2048, **place(height)) for mass in self.masses) > 6.0 * target
        low, top = self.lowest_height() + 0.05, 1.5 * stated
        while not long(top) and top < 40.0:
            top = min(1.2 * top, 40.0)
        if keeps(top):
            return None, "not reached"
        # A window may be narrow: a fine grid, first with few runs.
        grid = np.linspace(top, low, max(121, int((top - low) / 0.08)))
        for i in range(1, len(grid)):
            thin = max(self.share("miss", mass, 2048, **place(grid[i])) for mass in self.masses)
            if thin <= 3.0 * target and keeps(grid[i]):
                return self.passes("miss", place, grid[i], grid[i - 1], 1e-3)
        return None, "no start keeps to the target"

    def hold(self, name, sign):
        """Wind outward from the site's at which the chance of a miss passes the target."""
        s, target = self.s, self.s.target_miss
        at = s.mean[name]
        cap = sign * s.anchor_wind
        place = lambda w: {name: w}
        if self.now is None:
            self.now = self.worst("miss")
        if self.now > target:
            return None, None
        answer = self.passes("miss", place, at, cap, 2e-3)
        if answer is None:
            return s.anchor_wind, [s.anchor_wind, s.anchor_wind]
        found, ends = answer
        ends = [None if e is None else min(sign * e, s.anchor_wind) for e in ends]
        return sign * found, ends if sign > 0 else ends[::-1]

    def hold_winds(self):
        out = {}
        tail, head = self.hold("wind_along", 1.0), self.hold("wind_along", -1.0)
        sides = [self.hold("wind_across", 1.0), self.hold("wind_across", -1.0)]
        across = (None, None) if sides[0][0] is None else min(sides, key=lambda v: v[0])
        for key, (value, bracket) in (("hold_along_tail", tail), ("hold_along_head", head), ("hold_across", across)):
            out[key + "_mps"], out[key + "_bracket"] = value, bracket
        out["hold_across_each_side_mps"] = [v[0] for v in sides]
        return out


def launched(s, mass, q, speeds, gap=None):
    """Landings for many lip speeds at the means."""
    n = len(speeds)
    many = {k: np.full(n, v) for k, v in q.items()}
    r = {"theta": np.full(n, ride.release_angle(s, q["carry"])), "v": np.asarray(speeds, float)}
    return sample.flights(s, mass, many, sample.launch(s, many, r), gap, dt=0.005)


def short_zone(s, mass, q):
    """The lip speed that clears the gap, and what slower runs meet."""
    def clear(v):
        r = launched(s, mass, q, v)
        return r["landed"] & (r["x_up"] <= s.gap) & (r["x"] >= s.gap)

    low, high = 1.4, 40.0
    grid = np.linspace(low, high, 200)
    ok = clear(grid)
    if not np.any(ok):
        return {"clearing_speed_mps": None}
    i = int(np.argmax(ok))
    if i == 0:
        return {"clearing_speed_mps": 1.4, "clears_from_walking_pace": True}
    a, b = grid[i - 1], grid[i]
    for _ in range(6):
        grid = np.linspace(a, b, 100)
        i = int(np.argmax(clear(grid)))
        a, b = grid[max(i - 1, 0)], grid[i]
    cleared = 0.5 * (a + b)
    level = s.base + q["contact_height"]

    def height(v):
        state = ride.launch(s, {"theta_r": ride.release_angle(s, q["carry"]), "speed": v}, {**q, "lip_speed": 0.0})
        return flight.height_at(s, mass, q, state, s.gap)

    def hits_ground(v):
        z = height(v)
        return z is None or z <= level

    rows = []
    for v in np.linspace(1.4, cleared, 7):
        z = height(v)
        rows.append({"lip_speed_mps": v, "com_height_at_gap_m": z, "hits": "ground" if z is None or z <= level else "bag front"})
    change = None
    if hits_ground(1.4) and not hits_ground(cleared):
        lo, hi = 1.4, cleared
        for _ in range(60):
            mid = 0.5 * (lo + hi)
            lo, hi = (mid, hi) if hits_ground(mid) else (lo, mid)
        change = 0.5 * (lo + hi)
    return {"clearing_speed_mps": cleared, "ground_up_to_mps": change, "rows": rows}


def nominal(s, mass, q):
    """Ride and flight of one run; flight None where there is none."""
    r = ride.ride_down(s, mass, q)
    if r["stall"] or r["leaves_surface"]:
        return r, None
    return r, flight.fly(s, mass, q, ride.launch(s, r, q))


def size_start(s, key, wanted):
    """Start height whose deterministic run has `key` = wanted."""
    def f(height):
        _, fl = nominal(s, s.mass, {**s.mean, "start_height": height})
        if fl is None:
            return None
        if key == "apex_above_lip_m":
            return fl[key] - wanted
        return fl[key] - wanted if key in fl else None

    high = s.start_height * 1.5
    low = s.start_height * 0.95
    a, b = f(low), f(high)
    if a is None or b is None or a * b > 0.0:
        return None
    return brentq(f, low, high, xtol=1e-11)


def radius_table(s):
    """Slacker against steeper: the same height on other radii, the rest unchanged."""
    rows = []
    for radius in [s.radius * k for k in (0.8, 1.0, 1.25, 1.6, 2.0)]:
        if s.height / radius >= 1.0 - math.cos(math.radians(85.0)) or radius <= s.h + 0.2:
            continue
        t = copy.copy(s)
        t.height, t.radius, t.lip = takeoff_shape({"height": f"{s.height!r} m", "radius": f"{radius!r} m"})
        t.lag = math.asin(t.wheelbase / (2.0 * t.radius))
        if t.lip <= t.lag:
            continue
        r, fl = nominal(t, s.mass, s.mean)
        if fl is None or "airtime_s" not in fl:
            continue
        part = r["pieces"][-1]
        rows.append(
            {
                "radius_m": radius,
                "lip_angle_deg": math.degrees(t.lip),
                "lip_speed_mps": r["speed"],
                "airtime_s": fl["airtime_s"],
                "apex_above_lip_m": fl["apex_above_lip_m"],
                "distance_from_lip_m": fl["distance_from_lip_m"],
                "arc_load_g": ride.peak(t, part[4], part[2], part[3]),
                "equivalent_fall_height_m": fl["equivalent_fall_height_m"],
            }
        )
    return rows

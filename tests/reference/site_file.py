"""Reads a site file into SI numbers (written from the file format's description alone)."""

import copy
import math
import re
import tomllib
from types import SimpleNamespace

G = 9.80665

LENGTH = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "in": 0.0254}
UNITS = {
    "length": LENGTH,
    "angle": {"deg": math.pi / 180.0, "rad": 1.0},
    "speed": {"m/s": 1.0, "km/h": 1.0 / 3.6, "mph": 0.44704, "kn": 1852.0 / 3600.0, "ft/s": 0.3048},
    "mass": {"kg": 1.0, "g": 0.001, "lb": 0.45359237},
    "area": {"m2": 1.0, "cm2": 1e-4, "ft2": 0.3048**2, "in2": 0.0254**2},
    "volume": {"m3": 1.0, "l": 1e-3, "ft3": 0.3048**3},
    "flow": {"m3/s": 1.0, "m3/h": 1.0 / 3600.0, "l/s": 1e-3, "cfm": 0.3048**3 / 60.0},
    "pressure": {
        "Pa": 1.0,
        "hPa": 100.0,
        "kPa": 1000.0,
        "mbar": 100.0,
        "psi": 4.4482216152605 / 0.0254**2,
        "inH2O": 249.08891,
        "mmH2O": 9.80665,
    },
    "force": {"N": 1.0, "kN": 1000.0, "lbf": 4.4482216152605},
    "time": {"s": 1.0, "min": 60.0},
    "stretch": {"/Pa": 1.0, "/kPa": 1e-3},
    "surface_mass": {"kg/m2": 1.0, "lb/ft2": 0.45359237 / 0.3048**2},
}
NUMBER = r"[-+]?[0-9]*\.?[0-9]+(?:[eE][-+]?[0-9]+)?"


def quantity(text, kind):
    """One quantity with its unit, in SI."""
    if kind == "number":
        return float(text)
    if not isinstance(text, str):
        raise ValueError(f"{text!r}: a {kind} needs its unit")
    if kind == "temperature":
        value, unit = re.fullmatch(rf"\s*({NUMBER})\s*(degC|degF|K)\s*", text).groups()
        value = float(value)
        return {"K": value, "degC": value + 273.15, "degF": (value - 32.0) * 5.0 / 9.0 + 273.15}[unit]
    parts = re.findall(rf"({NUMBER})\s*([^\s0-9][^\s]*)", text)
    if not parts or (len(parts) > 1 and kind != "length"):
        raise ValueError(f"{text!r}: not a {kind}")
    return sum(float(value) * UNITS[kind][unit] for value, unit in parts)


def needed(table, key, kind):
    return quantity(table[key], kind)


def optional(table, key, kind, default):
    return quantity(table[key], kind) if key in table else default


SPREAD = [
    ("start_height", "length", 0.03),
    ("push_off", "speed", 0.10),
    ("rolling_resistance", "number", 0.002),
    ("drag_area_rolling", "number", 0.08),
    ("drag_area_flying", "number", 0.15),
    ("lip_speed", "speed", 0.20),
    ("carry", "number", 0.15),
    ("pop", "speed", 0.5),
    ("yaw", "angle", math.radians(2.0)),
    ("line", "length", 0.20),
    ("wind_along", "speed", 0.5),
    ("wind_across", "speed", 0.5),
    ("contact_height", "length", 0.15),
]
INPUTS = [name for name, _, _ in SPREAD]
# inputs whose standard deviation is larger in a botched try
BOTCHED = ("carry", "pop", "yaw", "contact_height")
# error and noise of the pressure sensors that are known by name, Pa
SENSORS = {"bridge20": (12.5, 20.0)}
UNKNOWN = {"area_body": 0.30, "area_growth": 0.40, "area_limit": 0.35, "skin_stretch": 0.42}


def takeoff_shape(table):
    """Height, radius and lip angle of a circular take-off from any two of them."""
    height = optional(table, "height", "length", None)
    radius = optional(table, "radius", "length", None)
    angle = optional(table, "lip_angle", "angle", None)
    if height is None:
        height = radius * (1.0 - math.cos(angle))
    if radius is None:
        radius = height / (1.0 - math.cos(angle))
    return height, radius, math.acos(1.0 - height / radius)


def roll_in(table):
    """The chain of (kind, length, curvature, angle at its start), and the place of the straight
    that a change of the start height lengthens."""
    start = needed(table, "start_height", "length")
    if "section" not in table:
        slope = needed(table, "slope", "angle")
        radius = needed(table, "bottom_radius", "length")
        flat = needed(table, "flat_run", "length")
        drop = start - radius * (1.0 - math.cos(slope))
        if drop <= 0.0:
            raise ValueError("the straight of the roll-in has no drop")
        chain = [[drop / math.sin(slope), 0.0, -slope], [radius * slope, 1.0 / radius, -slope], [flat, 0.0, 0.0]]
        return start, [part for part in chain if part[0] > 0.0], 0
    angle, chain, drop = None, [], 0.0
    for part in table["section"]:
        if "straight" in part:
            length = quantity(part["straight"], "length")
            if "slope" in part:
                stated = -quantity(part["slope"], "angle")
                if angle is not None and abs(stated - angle) > math.radians(0.1):
                    raise ValueError("the sections meet with a kink")
                angle = stated if angle is None else angle
            elif angle is None:
                angle = 0.0
            chain.append([length, 0.0, angle])
            drop -= length * math.sin(angle)
        else:
            radius = quantity(part["arc"], "length")
            turn = quantity(part["turn"], "angle")
            angle = 0.0 if angle is None else angle
            kappa = math.copysign(1.0 / radius, turn)
            chain.append([radius * abs(turn), kappa, angle])
            drop += (math.cos(angle + turn) - math.cos(angle)) / kappa
            angle += turn
    if abs(angle) > math.radians(0.1):
        raise ValueError("the roll-in does not end level")
    if abs(drop - start) > 0.01:
        raise ValueError(f"the sections make a drop of {drop} m, not {start} m")
    first = next(i for i, (_, kappa, theta) in enumerate(chain) if kappa == 0.0 and abs(theta) > 1e-9)
    return start, chain, first


def read(path):
    """A site in SI, as a namespace of plain numbers."""
    with open(path, "rb") as file:
        doc = tomllib.load(file)
    place, rider, bag, blower = doc["site"], doc["rider"], doc["bag"], doc["blower"]
    ramp, wind = doc["roll_in"], doc.get("wind", {})
    watch, session = doc.get("watch", {}), doc.get("session", {})
    spread, anchors = doc.get("spread", {}), doc.get("anchors", {})
    s = SimpleNamespace(name=place["name"])

    s.altitude = optional(place, "altitude", "length", 0.0)
    s.temperature = optional(place, "air_temperature", "temperature", 288.15)
    s.outside = optional(place, "air_pressure", "pressure", None)
    if s.outside is None:
        s.outside = 101325.0 * (1.0 - 0.0065 * s.altitude / 288.15) ** 5.255876
    s.rho = s.outside / (287.05287 * s.temperature)

    s.mass = needed(rider, "mass", "mass")
    s.lightest = optional(rider, "lightest", "mass", s.mass)
    s.heaviest = optional(rider, "heaviest", "mass", s.mass)
    s.bike = optional(rider, "bike_mass", "mass", 14.0)
    s.lands_with_bike = rider.get("lands_with_bike", True)
    s.h = optional(rider, "mass_height", "length", 1.0)
    s.wheelbase = optional(rider, "wheelbase", "length", 1.05)
    s.rotating = optional(rider, "rotating_mass", "mass", 2.2)
    s.braking = optional(rider, "braking", "number", 0.4)
    s.reaction = optional(rider, "reaction", "time", 1.0)
    s.arc_load_limit = optional(rider, "arc_load_limit", "number", 4.0)
    s.arc_load_stop = optional(rider, "arc_load_stop", "number", 6.0)

    s.start_height, s.chain, s.adjust = roll_in(ramp)
    s.height, s.radius, s.lip = takeoff_shape(doc["takeoff"])
    s.lag = math.asin(s.wheelbase / (2.0 * s.radius))

    s.mean = {
        "start_height": s.start_height,
        "push_off": optional(ramp, "push_off", "speed", 0.0),
        "rolling_resistance": optional(ramp, "rolling_resistance", "number", 0.012),
        "drag_area_rolling": optional(rider, "drag_area_rolling", "area", 0.45),
        "drag_area_flying": optional(rider, "drag_area_flying", "area", 0.60),
        "lip_speed": 0.0,
        "carry": optional(rider, "carry", "number", 0.5),
        "pop": optional(rider, "pop", "speed", 0.0),
        "yaw": 0.0,
        "line": 0.0,
        "wind_along": optional(wind, "along", "speed", 0.0),
        "wind_across": optional(wind, "across", "speed", 0.0),
        "contact_height": optional(rider, "contact_height", "length", 0.7),
    }
    s.sd = {name: optional(spread, name, kind, default) for name, kind, default in SPREAD}
    for name in ("drag_area_rolling", "drag_area_flying"):
        s.sd[name] *= s.mean[name]
    s.botched = optional(spread, "botched", "number", 0.05)
    s.botched_factor = optional(spread, "botched_factor", "number", 2.0)
    s.gust = optional(wind, "gust", "speed", 3.0)
    s.target_miss = optional(spread, "target_miss", "number", 0.001)

    s.length = needed(bag, "length", "length")
    s.width = needed(bag, "width", "length")
    s.front = needed(bag, "front_height", "length")
    s.back = needed(bag, "back_height", "length")
    s.gap = needed(bag, "gap", "length")
    s.offset = optional(bag, "offset", "length", 0.0)
    s.base = optional(bag, "base_level", "length", 0.0)
    s.edge_front = optional(bag, "edge_front", "length", 1.0)
    s.edge_back = optional(bag, "edge_back", "length", 1.0)
    s.edge_side = optional(bag, "edge_side", "length", 1.0)
    s.volume = optional(bag, "volume", "volume", s.length * s.width * (s.front + s.back) / 2.0)
    for gone in ("dish_radius", "fitted"):
        if gone in bag:
            raise ValueError(f"bag.{gone} is no key: the force area stands in its place")
    unknown = doc.get("unknown", {})
    s.measured_knots = None
    if "area" in bag:
        rows = [(quantity(x, "length"), quantity(a, "area")) for x, a in bag["area"]]
        if not 1 <= len(rows) <= 12 or rows[0][0] <= 0.0 or rows[0][1] <= 0.0:
            raise ValueError("bag.area: 1 to 12 knots after (0, 0)")
        if any(b[0] <= a[0] or b[1] < a[1] for a, b in zip(rows, rows[1:])):
            raise ValueError("bag.area: depth rises, area does not fall")
        if any(key in bag for key in ("area_body", "area_growth", "area_limit")):
            raise ValueError("bag.area: instead of the three numbers, not beside them")
        if any(key in unknown for key in ("area_body", "area_growth", "area_limit")):
            raise ValueError("unknown: with bag.area only area and skin_stretch")
        s.measured_knots = rows
    elif "area" in unknown:
        raise ValueError("unknown.area: only with bag.area")
    s.area_body = optional(bag, "area_body", "area", 0.5)
    s.area_growth = optional(bag, "area_growth", "length", 6.0)
    s.area_limit = optional(bag, "area_limit", "area", 4.0)
    s.unknown = {key: optional(unknown, key, "number", sd) for key, sd in UNKNOWN.items()}
    s.unknown["area"] = optional(unknown, "area", "number", 0.15)
    s.settled = optional(bag, "settled_pressure", "pressure", None)
    if s.settled is not None and "leak_coefficient" in bag:
        raise ValueError("bag.settled_pressure: the leak follows from it and is not stated")
    s.stretch = optional(bag, "skin_stretch", "stretch", 3e-5)
    s.slack_pressure = optional(bag, "skin_weight", "surface_mass", 0.65) * G
    s.vent_area = optional(bag, "vent_area", "area", 0.0)
    s.discharge = optional(bag, "vent_coefficient", "number", 0.6)
    s.relief_area = optional(bag, "relief_area", "area", 0.0)
    s.relief_opens = optional(bag, "relief_opens", "pressure", math.inf)
    s.relief_full = optional(bag, "relief_full", "pressure", math.inf)
    s.leak = optional(bag, "leak_coefficient", "number", 0.0)
    s.leak_exponent = optional(bag, "leak_exponent", "number", 0.6)
    s.p_min = needed(bag, "pressure_min", "pressure")
    s.p_max = needed(bag, "pressure_max", "pressure")
    s.skin_loss = optional(bag, "skin_loss", "number", 0.65)
    s.depth_limit = optional(bag, "depth_limit", "number", 0.8)
    s.load_limit = optional(bag, "load_limit", "number", 15.0)
    s.load_stop = optional(bag, "load_stop", "number", 20.0)
    s.skin_friction = optional(bag, "skin_friction", "number", 0.4)
    s.target_ground = optional(bag, "target_ground", "number", 0.001)
    s.target_cut = optional(bag, "target_cut", "number", 0.1)
    s.stop_floor = optional(bag, "stop_floor", "number", 0.6)

    s.blowers = int(blower.get("count", 1))
    s.curve = [(quantity(q, "flow"), quantity(p, "pressure")) for q, p in blower["curve"]]
    s.blower_speed = optional(blower, "speed", "number", 1.0)
    s.duct_loss = optional(blower, "duct_loss", "number", 0.0)
    s.duct_diameter = optional(blower, "duct_diameter", "length", None)
    s.closing_flap = blower.get("closing_flap", True)
    s.backflow_area = 0.0 if s.closing_flap else needed(blower, "backflow_area", "area")

    s.supply_sense = watch.get("supply_sense", True)
    s.sensor_error, s.sensor_noise = SENSORS[watch.get("sensor", "bridge20")]
    s.interval = optional(session, "interval", "time", 20.0)
    s.anchor_capacity = optional(anchors, "capacity", "force", 1600.0)
    s.side_coefficient = optional(anchors, "side_coefficient", "number", 1.2)
    s.lift_coefficient = optional(anchors, "lift_coefficient", "number", 0.5)
    s.anchor_wind = optional(anchors, "wind", "speed", 38.0 / 3.6)
    s.phi = math.atan2(s.back - s.front, s.length)
    s.groups = {str(part["name"]): group(s, part) for part in doc.get("group", [])}
    return s


def group(site, table):
    """The site as the riders of one group have it; what the group does not state is the site's."""
    s = copy.copy(site)
    s.mean, s.sd = dict(site.mean), dict(site.sd)
    s.mass = optional(table, "mass", "mass", s.mass)
    s.lightest = optional(table, "lightest", "mass", s.lightest)
    s.heaviest = optional(table, "heaviest", "mass", s.heaviest)
    if not s.lightest <= s.mass <= s.heaviest:
        raise ValueError(f"group {table['name']}: lightest, mass and heaviest do not rise")
    s.lands_with_bike = table.get("lands_with_bike", s.lands_with_bike)
    s.mean["start_height"] = optional(table, "start_height", "length", s.mean["start_height"])
    s.mean["pop"] = optional(table, "pop", "speed", s.mean["pop"])
    s.sd["lip_speed"] = optional(table, "lip_speed_sd", "speed", s.sd["lip_speed"])
    s.sd["pop"] = optional(table, "pop_sd", "speed", s.sd["pop"])
    s.botched = optional(table, "botched", "number", s.botched)
    return s


def top(s, gap, x):
    """Height of the bag's top above the take-off's foot at x (an unbounded plane)."""
    return s.base + s.front + (x - gap) * (s.back - s.front) / s.length

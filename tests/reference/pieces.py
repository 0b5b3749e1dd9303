"""Fixtures for closed pieces of the model, each with all its inputs beside it."""

import math
from types import SimpleNamespace

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.stats import norm

import flight
import force_area
import pressures
import quick
import ride
from bag import Bag, Supply
from site_file import G
from spread import Normals, clopper_pearson


def ridden():
    """One section at a time: from a stated speed (or rest) with drag, rolling and wind."""
    rows = []
    cases = [
        # mass, CdA, Crr, rho, rotating, h, kind, length/radius, slope at the start (up +) deg, turn deg, v0, head wind
        (95.0, 0.6, 0.01, 1.225, 0.0, 1.0, "straight", 10.0, -30.0, 0.0, 0.0, 0.0),
        (95.0, 0.6, 0.02, 1.225, 0.0, 1.0, "straight", 10.0, -30.0, 0.0, 0.0, 0.0),
        (95.0, 0.6, 0.05, 1.225, 0.0, 1.0, "straight", 10.0, -30.0, 0.0, 0.0, 0.0),
        (92.0, 0.45, 0.012, 1.225, 2.2, 1.0, "straight", 6.0, -32.0, 0.0, 0.0, 0.0),
        (92.0, 0.45, 0.012, 1.225, 2.2, 1.0, "straight", 6.0, -32.0, 0.0, 0.0, 4.0),
        (92.0, 0.45, 0.012, 1.225, 2.2, 1.0, "straight", 6.0, -32.0, 0.0, 0.0, -6.0),
        (76.0, 0.55, 0.03, 0.96, 2.6, 0.9, "straight", 12.0, 0.0, 0.0, 7.0, 3.0),
        (76.0, 0.55, 0.03, 0.96, 2.6, 0.9, "straight", 12.0, 0.0, 0.0, 2.0, -8.0),
        (92.0, 0.45, 0.012, 1.225, 2.2, 1.0, "arc", 8.0, -32.0, 32.0, 7.5, 0.0),
        (92.0, 0.45, 0.012, 1.225, 2.2, 1.0, "arc", 8.0, -32.0, 32.0, 7.5, 5.0),
        (92.0, 0.45, 0.012, 1.225, 2.2, 1.0, "arc", 5.0, 0.0, 55.0, 8.5, 0.0),
        (92.0, 0.45, 0.012, 1.225, 2.2, 1.0, "arc", 3.0, 0.0, 62.0, 7.8, -3.0),
        (92.0, 0.45, 0.012, 1.225, 2.2, 1.0, "arc", 6.0, 0.0, -30.0, 1.4, 0.0),
        (92.0, 0.45, 0.012, 1.225, 2.2, 1.0, "arc", 6.0, 10.0, -30.0, 5.0, 2.0),
        (92.0, 0.45, 0.012, 1.225, 2.2, 1.0, "arc", 2.0, 10.0, -40.0, 5.0, 0.0),
        (92.0, 0.45, 0.05, 1.225, 2.2, 1.0, "arc", 5.0, 0.0, 50.0, 5.0, 0.0),
        (120.0, 0.0, 0.0, 1.225, 0.0, 1.1, "arc", 10.0, -40.0, 40.0, 0.0, 0.0),
        (120.0, 0.7, 0.0, 1.1, 3.0, 1.1, "arc", 10.0, -40.0, 40.0, 0.0, 2.0),
    ]
    for mass, cda, crr, rho, rotating, h, kind, size, slope, turn, v0, wind in cases:
        s = SimpleNamespace(bike=0.0, rotating=rotating, rho=rho, h=h)
        q = {"drag_area_rolling": cda, "rolling_resistance": crr, "wind_along": -wind}
        if kind == "straight":
            part = [size, 0.0, math.radians(slope)]
        else:
            part = [size * abs(math.radians(turn)), math.copysign(1.0 / size, turn), math.radians(slope)]
        what, place, v, t, sol = ride.section(s, mass, q, part, v0)
        rows.append(
            {
                "total_mass_kg": mass, "drag_area_m2": cda, "rolling_resistance": crr, "density_kgpm3": rho,
                "rotating_mass_kg": rotating, "mass_height_m": h, "kind": kind, "size_m": size,
                "slope_at_start_deg": slope, "turn_deg": turn, "start_speed_mps": v0, "head_wind_mps": wind,
                "length_m": part[0], "ends_by": what, "place_m": place, "speed_mps": v, "time_s": t,
                "peak_load_g": ride.peak(s, part, t, sol) if sol is not None else None,
            }
        )  # fmt: skip
    return rows


def flown():
    """From a stated release over a plane, with drag, wind and yaw."""
    rows = []
    cases = [
        # total mass, CdA, rho, (x, y, z), (vx, vy, vz), wind along, across, plane z at x = 0, slope deg, contact height
        (92.0, 0.6, 1.225, (-0.9, 0.0, 3.0), (4.5, 0.0, 6.2), 0.0, 0.0, 2.2, 0.0, 0.7),
        (92.0, 0.6, 1.225, (-0.9, 0.1, 3.0), (4.5, 0.2, 6.2), 3.0, 2.0, 2.2, 0.0, 0.7),
        (76.0, 0.7, 0.96, (-0.9, -0.2, 3.0), (5.5, -0.3, 5.0), -4.0, 1.0, 1.8, 6.0, 0.35),
        (76.0, 0.7, 0.96, (-0.9, -0.2, 3.0), (5.5, -0.3, 5.0), 4.0, -3.0, 2.6, -8.0, 1.0),
        (110.0, 0.5, 1.1, (-1.0, 0.0, 2.5), (7.0, 0.5, 3.0), 0.0, 0.0, 0.0, -15.0, 0.7),
        (60.0, 0.9, 1.225, (-0.8, 0.0, 3.4), (4.0, 0.0, 8.0), 8.0, 6.0, 4.5, 3.0, 0.7),
        (92.0, 0.0, 1.225, (0.0, 0.0, 1.0), (5.0, 0.0, 5.0), 0.0, 0.0, 0.3, 0.0, 0.7),
    ]
    for mass, cda, rho, place, velocity, along, across, level, slope, c in cases:
        phi = math.radians(slope)
        s = SimpleNamespace(rho=rho, bike=0.0, phi=phi, base=0.0, front=level + 50.0 * math.tan(phi), back=level + 150.0 * math.tan(phi),
                            length=100.0, width=1e3, height=0.0, edge_front=0.0, edge_back=0.0, edge_side=0.0)  # fmt: skip
        q = {"drag_area_flying": cda, "wind_along": along, "wind_across": across, "contact_height": c}
        f = flight.fly(s, mass, q, (*place, *velocity), gap=50.0, offset=0.0)
        if f["outcome"] == "front":
            raise ArithmeticError("a flight fixture that does not land")
        rows.append(
            {
                "total_mass_kg": mass, "drag_area_m2": cda, "density_kgpm3": rho, "place_m": place,
                "velocity_mps": velocity, "wind_along_mps": along, "wind_across_mps": across,
                "plane_at_lip_m": level, "plane_slope_deg": slope, "contact_height_m": c,
                "airtime_s": f["airtime_s"], "contact_x_m": f["distance_from_lip_m"], "contact_y_m": f["across_m"],
                "apex_m": f["apex_above_lip_m"], "speed_mps": f["impact_speed_mps"],
                "normal_mps": f["impact_normal_mps"], "along_plane_mps": f["impact_along_mps"],
                "equivalent_fall_height_m": f["equivalent_fall_height_m"],
            }
        )  # fmt: skip
    return rows


def takeoffs():
    rows = []
    for height, radius, wheelbase, h, carry, v, pop, yaw in [
        (2.4, 5.0, 1.05, 1.0, 0.5, 7.4, 0.0, 0.0),
        (2.4, 5.0, 1.05, 1.0, 0.0, 7.4, 0.5, 2.0),
        (2.4, 5.0, 1.05, 1.0, 1.0, 7.4, -0.5, -2.0),
        (8 * 0.3048, 15 * 0.3048, 1.05, 1.0, 0.5, 8.0, 0.3, 0.0),
        (1.2, 9.0, 1.1, 0.95, 0.3, 6.0, 0.0, 1.0),
        (1.8, 2.9, 0.95, 0.9, 0.7, 6.5, 1.0, 0.0),
    ]:
        lip = math.acos(1.0 - height / radius)
        lag = math.asin(wheelbase / (2.0 * radius))
        s = SimpleNamespace(height=height, radius=radius, lip=lip, h=h)
        theta = lip - (1.0 - carry) * lag
        q = {"lip_speed": 0.0, "line": 0.0, "pop": pop, "yaw": math.radians(yaw)}
        x, y, z, vx, vy, vz = ride.launch(s, {"theta_r": theta, "speed": v}, q)
        rows.append(
            {
                "height_m": height, "radius_m": radius, "wheelbase_m": wheelbase, "mass_height_m": h, "carry": carry,
                "speed_mps": v, "pop_mps": pop, "yaw_deg": yaw, "lip_angle_deg": math.degrees(lip),
                "base_length_m": radius * math.sin(lip), "face_length_m": radius * lip, "lag_deg": math.degrees(lag),
                "release_angle_deg": math.degrees(theta), "place_m": (x, y, z), "velocity_mps": (vx, vy, vz),
            }
        )  # fmt: skip
    return rows


def fall_heights():
    """Drag-free surface form of the equivalent fall height (Hubbard 2009, J. ASTM Int. 6(10))."""
    rows = []
    for angle, x, y, slope in [(20, 10, -2, -20), (30, 8, 0, 0), (25, 12, -1, -30), (10, 10, -3, -25), (55, 4, 0.3, 5), (60, 3, -1, 0)]:
        t0, yp = math.radians(angle), math.tan(math.radians(slope))
        fall = x * x / (4.0 * (x * math.tan(t0) - y) * math.cos(t0) ** 2) - y
        meeting = math.atan(2.0 * y / x - math.tan(t0)) - math.atan(yp)
        rows.append({"take_off_deg": angle, "x_m": x, "y_m": y, "slope_deg": slope, "equivalent_fall_height_m": fall * math.sin(meeting) ** 2})
    return rows


def projectiles():
    """Quadratic drag, a = g v^2 / vt^2, back at a stated height."""
    rows = []
    for name, v0, angle, vt, g, end in [
        ("Taylor, Classical Mechanics (2005), example 2.6", 30.0, 50.0, 35.0, 9.8, 0.0),
        ("general case", 40.0, 45.0, 40.0, 9.81, 0.0),
        ("90 kg, CdA 0.6 m2", 10.0, 30.0, math.sqrt(2 * 90 * 9.80665 / (1.225 * 0.6)), 9.80665, 0.0),
        ("90 kg, CdA 0.6 m2", 12.0, 45.0, math.sqrt(2 * 90 * 9.80665 / (1.225 * 0.6)), 9.80665, 0.0),
        ("90 kg, CdA 0.6 m2", 10.0, 30.0, math.sqrt(2 * 90 * 9.80665 / (1.225 * 0.6)), 9.80665, -2.0),
        ("80 kg, CdA 0.7 m2", 14.0, 35.0, math.sqrt(2 * 80 * 9.80665 / (1.225 * 0.7)), 9.80665, 1.0),
    ]:
        def rhs(_, y, k=g / vt**2, g=g):
            v = math.hypot(y[2], y[3])
            return (y[2], y[3], -k * v * y[2], -k * v * y[3] - g)

        def lands(_, y, end=end):
            return y[1] - end

        def crest(_, y):
            return y[3]

        lands.terminal, lands.direction, crest.direction = True, -1, -1
        a = math.radians(angle)
        state = (0.0, 0.0, v0 * math.cos(a), v0 * math.sin(a))
        sol = solve_ivp(rhs, (0.0, 60.0), state, "DOP853", rtol=1e-12, atol=1e-13, events=[lands, crest], max_step=0.1)
        y = sol.y_events[0][-1]
        rows.append(
            {
                "case": name, "speed_mps": v0, "angle_deg": angle, "terminal_speed_mps": vt, "gravity_mps2": g,
                "end_height_m": end, "range_m": y[0], "time_s": sol.t_events[0][-1], "apex_m": sol.y_events[1][0][1],
                "end_speed_mps": math.hypot(y[2], y[3]), "end_angle_deg": math.degrees(math.atan2(y[3], y[2])),
            }
        )  # fmt: skip
    return rows


def cycling():
    """Terms of the road-cycling power model of Martin et al. 1998 (J. Appl. Biomech. 14:276-291),
    with the inputs of its worked example."""
    m, length, time, grade, rho, cda, fw = 90.0, 471.8, 56.42, 0.003, 1.2234, 0.2565, 0.0044
    crr, inertia, wheel, vi, vf, ec, g = 0.0032, 0.14, 0.311, 8.28, 8.45, 0.97698, 9.81
    v = length / time
    yaw = math.radians(340.0 - 310.0)
    va = v + 2.94 * math.cos(yaw)
    terms = {
        "speed_mps": v,
        "air_speed_along_mps": va,
        "aero_w": 0.5 * rho * (cda + fw) * va**2 * v,
        "rolling_w": v * math.cos(math.atan(grade)) * crr * m * g,
        "bearings_w": v * (91.0 + 8.7 * v) * 1e-3,
        "climbing_w": v * m * g * math.sin(math.atan(grade)),
        "kinetic_w": 0.5 * (m + inertia / wheel**2) * (vf**2 - vi**2) / time,
    }
    total = sum(terms[k] for k in terms if k.endswith("_w"))
    terms["total_w"] = total / ec
    terms["coasting_force_n"] = (terms["aero_w"] + terms["rolling_w"] + terms["bearings_w"]) / v
    return terms


def air():
    rows = []
    for altitude in (0.0, 250.0, 500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0):
        p = 101325.0 * (1.0 - 0.0065 * altitude / 288.15) ** 5.255876
        for celsius in (-10.0, 15.0, 38.0):
            rows.append({"altitude_m": altitude, "temperature_c": celsius, "pressure_pa": p, "density_kgpm3": p / (287.05287 * (celsius + 273.15))})
    return rows


KNOTS = [[0.1, 1.1], [3.5 / 6.0, 4.0]]


def make_bag(knots=KNOTS, **changed):
    """A level bag of 110 m3 with every gas-side number stated."""
    values = dict(
        outside=101325.0, rho=1.2, slack_pressure=0.65 * G, volume=110.0, stretch=3e-5, knots=knots, phi=0.0,
        vent_area=0.16, discharge=0.6, relief_area=0.0, relief_opens=math.inf, relief_full=math.inf,
        leak=0.0, leak_exponent=0.6, skin_loss=0.65, blowers=2, blower_speed=1.0, duct_loss=0.0,
        duct_diameter=None, backflow_area=0.0, settled=None,
        curve=[(3.2, 0.0), (2.6, 600.0), (1.9, 1100.0), (1.0, 1600.0), (0.0, 2000.0)],
    )  # fmt: skip
    values.update(changed)
    return SimpleNamespace(**values, measured_knots=[tuple(k) for k in knots])


def blowers():
    rows = []
    for changed in (
        {},
        {"rho": 0.95, "blower_speed": 0.85, "blowers": 3},
        {"duct_loss": 1.8, "duct_diameter": 0.45},
        {"relief_area": 0.6, "relief_opens": 1000.0, "relief_full": 1500.0, "vent_area": 0.05},
        {"leak": 0.01, "leak_exponent": 0.65, "vent_area": 0.0},
        {"vent_area": 0.0},
        {"curve": [(1.0, 0.0), (0.95, 500.0), (0.5, 520.0), (0.0, 1500.0)]},
    ):
        s = make_bag(**changed)
        bag, supply = Bag(s), Supply(s)
        grid = [supply.shut * k / 20.0 for k in range(22)]
        rows.append(
            {
                "changed": changed,
                "shut_off_pa": supply.shut,
                "pressure_pa": grid,
                "flow_m3ps": [supply.flow(p) for p in grid],
                "outflow_m3ps": [bag.outflow(p) for p in grid],
                "operating_pressure_pa": bag.p_op,
                "operating_flow_m3ps": supply.flow(bag.p_op),
                "gas_at_operating_m3": bag.g_op,
                "fill_time_s": bag.fill_time(),
                "recovery_of_half_m3_s": bag.recovery_time(0.5),
                "power_loss_to_half_s": bag.decay_time(bag.p_op, 0.5 * bag.p_op),
                "power_loss_to_slack_s": bag.decay_time(bag.p_op, bag.ps),
            }
        )
    return rows


def touchdowns():
    rows = []
    cases = [
        ({}, 92.0, 6.5, None, None, True, None),
        ({}, 92.0, 6.5, None, None, False, None),
        ({}, 92.0, 6.5, 300.0, None, False, None),
        ({}, 92.0, 6.5, None, 109.0, False, None),
        ({}, 140.0, 9.0, 300.0, None, False, 1.5),
        ({"phi": math.radians(8.0)}, 92.0, 6.5, None, None, True, 2.2),
        ({"vent_area": 0.0}, 92.0, 6.5, 1000.0, None, False, None),
        ({"vent_area": 0.0, "stretch": 0.0}, 92.0, 6.5, 1000.0, None, False, None),
        ({"vent_area": 0.0, "stretch": 0.0, "volume": 1e9}, 92.0, 6.5, 1000.0, None, False, None),
        ({"knots": [[0.1, 0.7], [0.4, 1.1]]}, 60.0, 5.0, 800.0, None, True, None),
        ({"knots": [[0.05, 0.4], [0.2, 0.9], [0.45, 1.8], [0.8, 2.6], [1.1, 2.9]]}, 92.0, 6.5, None, None, True, 2.2),
        ({"knots": [[0.3, 1.0]]}, 75.0, 7.0, None, None, False, 2.2),
        ({"knots": [[0.1, 1.3], [0.9, 6.2]], "stretch": 7e-5}, 62.0, 8.0, None, None, True, None),
        ({"skin_loss": 0.0}, 78.0, 7.0, 900.0, None, True, None),
        ({"relief_area": 0.6, "relief_opens": 1000.0, "relief_full": 1500.0, "vent_area": 0.05}, 92.0, 7.0, None, None, True, 2.2),
        ({"backflow_area": 0.06}, 92.0, 7.0, None, None, False, 2.2),
        ({"outside": 75000.0, "rho": 0.95}, 92.0, 7.0, 900.0, None, True, None),
    ]
    for changed, mass, speed, pressure, gas, supplied, thickness in cases:
        bag = Bag(make_bag(**changed))
        start = {"gas": gas} if gas is not None else {"p_i": bag.p_op if pressure is None else pressure}
        hit = bag.landing(mass, speed, supplied=supplied, thickness=thickness, **start)
        rows.append(
            {
                "changed": changed, "mass_kg": mass, "normal_speed_mps": speed,
                "start_pressure_pa": None if gas is not None else start["p_i"], "start_gas_m3": gas,
                "operating_pressure_pa": bag.p_op, "supplied": supplied, "thickness_m": thickness, **hit,
            }
        )  # fmt: skip
    return rows


def constant_pressure_depth():
    """V0 without limit: m v^2 / 2 + m g x = p V_d(x). `constant_area_m2`: the same area from the first touch on."""
    rows = []
    cases = [
        (92.0, 6.5, 1000.0, KNOTS, None),
        (60.0, 4.0, 600.0, [[0.1, 0.7], [0.4, 1.1]], None),
        (120.0, 8.0, 1500.0, [[0.05, 0.4], [0.2, 0.9], [0.45, 1.8], [0.8, 2.6], [1.1, 2.9]], None),
        (75.0, 7.0, 900.0, None, 1.6),
    ]
    for mass, v, p, knots, constant in cases:
        area = force_area.ForceArea(knots) if knots else force_area.ForceArea.constant(constant)
        depth = brentq(lambda x: 0.5 * mass * v * v + mass * G * x - p * area.at(x)[0], 1e-3, 50.0, xtol=1e-13)
        rows.append({"mass_kg": mass, "normal_speed_mps": v, "pressure_pa": p, "knots": knots, "constant_area_m2": constant, "depth_m": depth})
    return rows


def force_areas():
    """Areas and volumes over depth, of measured knots and of three assumed numbers (body, growth, limit)."""
    rows = []
    for three, knots in [
        ((0.5, 6.0, 4.0), None),
        ((0.5, 6.0, 0.9), None),
        ((0.31, 9.4, 2.2), None),
        (None, [[0.05, 0.4], [0.2, 0.9], [0.45, 1.8], [0.8, 2.6], [1.1, 2.9]]),
        (None, [[0.3, 1.0]]),
        (None, [[0.1 * k, 0.3 * k if k < 9 else 2.4] for k in range(1, 13)]),
    ]:
        area = force_area.ForceArea(force_area.assumed(*three) if three else knots)
        depths = [0.0, 0.02, 0.05, 0.1, 0.15, 0.3, 0.45, 0.583, 0.8, 1.1, 1.7, 2.5]
        rows.append(
            {
                "assumed": three and dict(zip(("area_body_m2", "area_growth_m", "area_limit_m2"), three)),
                "knots": [list(k) for k in area.knots],
                "depth_m": depths,
                "volume_m3": [area.at(x)[0] for x in depths],
                "area_m2": [area.at(x)[1] for x in depths],
            }
        )
    return rows


def draws():
    """The fixed draws: first and last rows, and sums over all 256."""
    out = {}
    for dimensions in (4, 2):
        z = force_area.normals(dimensions)
        out[f"of_{dimensions}"] = {
            "first": [{"j": j, "u": [float(norm.cdf(v)) for v in z[j - 1]], "z": [float(v) for v in z[j - 1]]} for j in (1, 2, 3, 4)],
            "last": [{"j": j, "u": [float(norm.cdf(v)) for v in z[j - 1]], "z": [float(v) for v in z[j - 1]]} for j in (254, 255, 256)],
            "sum_z": [float(v) for v in z.sum(axis=0)],
            "sum_z2": [float(v) for v in (z * z).sum(axis=0)],
        }
    return out


def possible():
    """Possible bags of a description, and of the same once it is measured."""
    rows = []
    for description, measured in [
        (dict(area_body=0.5, area_growth=6.0, area_limit=4.0, stretch=3e-5), False),
        (dict(area_body=0.5, area_growth=6.0, area_limit=4.0, stretch=3e-5), True),
        (dict(area_body=0.8, area_growth=7.0, area_limit=2.0, stretch=0.0), False),
        (dict(measured_knots=[(0.2, 0.8), (0.6, 2.1), (1.0, 2.8)], stretch=2e-5), False),
        (dict(measured_knots=[(0.2, 0.8), (0.6, 2.1), (1.0, 2.8)], stretch=2e-5), True),
    ]:
        unknown = {"area_body": 0.30, "area_growth": 0.40, "area_limit": 0.35, "skin_stretch": 0.42, "area": 0.2}
        s = SimpleNamespace(**{"measured_knots": None, **description}, unknown=unknown)
        bags = force_area.possible_bags(s, measured)
        rows.append(
            {
                "description": {k: v for k, v in description.items()},
                "unknown": unknown,
                "if_measured": measured,
                "bags": [
                    {"j": j, "knots": [list(k) for k in bags[j - 1][0]], "skin_stretch": bags[j - 1][1]}
                    for j in (1, 2, 3, 100, 255, 256)
                ],
            }
        )
    return rows


def mixtures():
    """Quantiles and survival of the mixture of good and botched tries (weight, mean, sd)."""
    rows = []
    for parts in [
        [(0.95, 6.6, 0.40), (0.05, 6.5, 0.72)],
        [(0.8, 4.2, 0.5), (0.2, 4.0, 1.1)],
        [(1.0, 7.0, 0.3), (0.0, 7.0, 0.6)],
        [(0.999, 5.0, 0.2), (0.001, 6.0, 0.5)],
    ]:
        mixture = Normals(parts)
        rows.append(
            {
                "parts": [list(p) for p in parts],
                "mean": mixture.mean,
                "sd": mixture.sd,
                "quantiles": [{"p": p, "x": mixture.quantile(p)} for p in (1e-6, 0.001, 0.05, 0.5, 0.9, 0.999, 0.999999)],
                "survival": [{"x": x, "s": mixture.survival(x)} for x in (4.0, 5.5, 7.0, 8.0, 9.5, 11.0)],
            }
        )
    return rows


def ride_pressures():
    """Stop pressure by depth, time that a landing is held, critical speeds of sample bags with supply and some
    time after it is lost; by the compiled landings, the roots found again by DOP853."""
    rows = []
    bag = Bag(make_bag())
    soft = [[0.1, 0.85], [0.62, 2.3]]
    hard = [[0.1, 1.3], [0.7, 5.9]]
    cases = [
        # changed, hard mass, speed, depth limit, light mass, ground, seconds after the cut
        ({}, 109.0, 8.2, 1.76, 62.0, 2.2, 0.8),
        ({"knots": soft}, 109.0, 8.2, 1.76, 62.0, 2.2, 0.8),
        ({"knots": hard}, 109.0, 8.2, 1.76, 62.0, 2.2, 0.8),
        ({"stretch": 8e-5}, 95.0, 7.4, 1.6, 40.0, 2.0, 3.0),
        ({"vent_area": 0.0, "leak": 0.004, "leak_exponent": 0.65}, 95.0, 7.4, 1.6, 40.0, 2.0, 20.0),
        ({"backflow_area": 0.06}, 109.0, 8.2, 1.76, 62.0, 2.2, 0.5),
        ({"phi": math.radians(8.0), "knots": soft}, 109.0, 7.6, 1.76, 62.0, 2.2, 0.3),
        ({"relief_area": 0.6, "relief_opens": 1000.0, "relief_full": 1500.0, "vent_area": 0.05}, 109.0, 8.2, 1.76, 62.0, 2.2, 1.5),
        ({"outside": 75000.0, "rho": 0.95}, 109.0, 8.2, 1.76, 62.0, 2.2, 0.8),
        ({"duct_loss": 1.8, "duct_diameter": 0.45, "blowers": 3}, 109.0, 8.2, 1.76, 62.0, 2.2, 0.8),
    ]
    for changed, heavy, speed, limit, light, ground, after in cases:
        bag = Bag(make_bag(**changed))
        numbers = quick.numbers(bag)
        kx, ka, kv, beta = quick.fleet([(bag.area.knots, bag.beta)])
        one = (*numbers, kx[0], ka[0], kv[0], beta[0])
        stop = float(quick.stop_by_depth(*one, heavy, speed, limit))
        if bag.ps < stop < math.inf:
            pressures.agree("stop by depth", bag.landing(heavy, speed, p_i=stop, supplied=False, back=False)["depth_m"], limit)
        full, later = bag.g_op, bag.decay(bag.g_op, after)
        found = {}
        for name, gas, supplied in (("critical_mps", full, True), ("critical_cut_mps", later, False)):
            found[name] = v = float(quick.critical_speed(*one, heavy, gas, supplied, ground, True))
            if 0.0 < v < math.inf:
                pressures.agree("critical speed", bag.landing(heavy, v * (1.0 - 1e-8), gas=gas, supplied=supplied, back=False)["depth_m"], ground, 1e-4)
        rows.append(
            {
                "changed": changed, "operating_pressure_pa": bag.p_op, "heavy_kg": heavy, "hard_speed_mps": speed, "depth_limit_m": limit,
                "light_kg": light, "ground_m": ground, "after_s": after, "gas_after_m3": later,
                "stop_by_depth_pa": pressures.finite(stop),
                "hard_depth_m": bag.landing(heavy, speed, p_i=bag.p_op, supplied=False, back=False)["depth_m"],
                "light_load_g": bag.landing(light, speed, p_i=bag.p_op, back=False)["felt_load_g"],
                "firm_at_20_g_pa": pressures.finite(quick.firm_pressure(*one, light, speed, 20.0)),
                "comfort_at_8_g_pa": pressures.finite(quick.firm_pressure(*one, light, speed, 8.0)),
                "holds_for_s": pressures.finite(quick.holds(*one, stop, heavy, speed, limit, 120.0)),
                **{k: pressures.finite(v) for k, v in found.items()},
                "critical_all_rest": found["critical_mps"] == math.inf,
                "critical_cut_all_rest": found["critical_cut_mps"] == math.inf,
            }
        )  # fmt: skip
    return rows


def one_blower_lost():
    rows = []
    for changed, stop in [
        ({}, 600.0),
        ({"blowers": 3}, 700.0),
        ({"backflow_area": 0.06}, 500.0),
        ({"blowers": 3, "backflow_area": 0.06, "duct_loss": 1.8, "duct_diameter": 0.45}, 700.0),
        ({"vent_area": 0.8, "backflow_area": 0.5}, 20.0),
        ({"blowers": 1}, 500.0),
        ({}, 300.0),
        ({"vent_area": 0.0}, 500.0),
    ]:
        bag = Bag(make_bag(**changed))
        rows.append({"changed": changed, "stop_pa": stop, "operating_pressure_pa": bag.p_op, "result": bag.one_blower_lost(stop)})
    return rows


def settled():
    """The leak that makes the bag settle where the gauge read."""
    rows = []
    for changed in ({"settled": 900.0}, {"settled": 1020.0}, {"settled": 700.0, "leak_exponent": 0.5}, {"settled": 1500.0, "vent_area": 0.02}, {"settled": 2050.0, "vent_area": 0.0}):
        bag = Bag(make_bag(**changed))
        rows.append({"changed": changed, "operating_pressure_pa": bag.p_op, "leak_coefficient": bag.leak, "no_leak": bag.settled_note is not None})
    return rows


def along_the_top():
    rows = []
    for normal, along, t, rebound, mu, slope in [
        (6.6, 4.6, 0.21, 1.6, 0.4, 0.0),
        (6.6, 4.6, 0.21, 1.6, 0.2, 0.0),
        (6.6, 4.6, 0.21, 1.6, 0.6, 0.0),
        (3.0, 7.0, 0.18, 0.8, 0.4, 6.0),
        (5.0, 6.0, 0.30, 0.0, 0.3, 3.0),
    ]:
        s = SimpleNamespace(phi=math.radians(slope))
        left, run_out = pressures.along_the_top(s, {"impact_normal_mps": normal, "impact_along_mps": along}, t, rebound, mu)
        rows.append(
            {
                "normal_mps": normal, "along_mps": along, "time_to_deepest_s": t, "rebound_mps": rebound, "friction": mu,
                "slope_deg": slope, "along_left_mps": left, "run_out_m": run_out,
            }
        )  # fmt: skip
    return rows


def clean(x):
    """Infinities of unused settings as null."""
    if isinstance(x, dict):
        return {k: clean(v) for k, v in x.items()}
    if isinstance(x, (list, tuple)):
        return [clean(v) for v in x]
    return None if isinstance(x, float) and math.isinf(x) else x


def compute():
    probabilities = [1e-9, 1e-6, 1e-4, 0.001, 0.01, 0.025, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.75, 0.9, 0.975, 0.999, 0.999999]
    grid = np.linspace(-6.0, 6.0, 25)
    trials = [(0, 10), (0, 100_000), (1, 100), (5, 1000), (10, 10), (50, 100), (100, 100_000), (99_999, 100_000), (317, 40_000)]
    return clean(
        {
            "air": air(),
            "ride_sections": ridden(),
            "flights": flown(),
            "take_offs": takeoffs(),
            "fall_heights": fall_heights(),
            "projectiles": projectiles(),
            "cycling_power": cycling(),
            "blowers": blowers(),
            "base_bag": {k: v for k, v in vars(make_bag()).items() if k != "measured_knots"},
            "touch_downs": touchdowns(),
            "constant_pressure_depths": constant_pressure_depth(),
            "force_areas": force_areas(),
            "possible_bag_draws": draws(),
            "possible_bags": possible(),
            "mixtures": mixtures(),
            "ride_pressures": ride_pressures(),
            "one_blower_lost": one_blower_lost(),
            "settled_pressures": settled(),
            "along_the_top": along_the_top(),
            "normal_quantiles": [{"p": p, "z": float(norm.ppf(p))} for p in probabilities],
            "normal_cdf": [{"z": float(z), "p": float(norm.cdf(z))} for z in grid],
            "clopper_pearson_95": [dict(zip(("k", "n", "low", "high"), (k, n, *clopper_pearson(k, n)))) for k, n in trials],
        }
    )

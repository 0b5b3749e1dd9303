"""Flight of one run over the bag's plane: DOP853 with events."""

import math

from scipy.integrate import solve_ivp

from site_file import G, top

RTOL, ATOL = 1e-11, 1e-13


def path(s, mass, q, state, until=30.0, events=()):
    k = s.rho * q["drag_area_flying"] / (2.0 * (mass + s.bike))

    def rhs(_, y):
        ux, uy, uz = y[3] - q["wind_along"], y[4] - q["wind_across"], y[5]
        drag = k * math.sqrt(ux * ux + uy * uy + uz * uz)
        return (y[3], y[4], y[5], -drag * ux, -drag * uy, -drag * uz - G)

    return solve_ivp(rhs, (0.0, until), state, "DOP853", rtol=RTOL, atol=ATOL, max_step=0.05, events=list(events))


def outcome(s, gap, offset, along, across):
    """Name of the place of a landing."""
    side = s.width / 2.0
    if along < 0.0:
        return "short"
    if along > s.length:
        return "long"
    if across > side:
        return "left"
    if across < -side:
        return "right"
    inside = s.edge_front <= along <= s.length - s.edge_back and abs(across) <= side - s.edge_side
    return "on" if inside else "edge"


def fly(s, mass, q, state, gap=None, offset=None):
    """The landing on the bag's unbounded plane, or the reason why there is none."""
    gap = s.gap if gap is None else gap
    offset = s.offset if offset is None else offset
    cos, sin, c = math.cos(s.phi), math.sin(s.phi), q["contact_height"]

    def over(_, y):
        return (y[2] - top(s, gap, y[0])) * cos - c

    def falls(_, y):
        return (y[2] - top(s, gap, y[0])) * cos - c

    falls.terminal, falls.direction = True, -1
    over.direction = 1

    def crest(_, y):
        return y[5]

    crest.direction = -1

    def hopeless(_, y):
                return y[2] + 60.0

    hopeless.terminal = True
    sol = path(s, mass, q, state, events=[falls, over, crest, hopeless])
    starts_above = over(0.0, state) > 0.0
    out = {"starts_above": starts_above, "sol": sol}
    crests = [y[2] for y in sol.y_events[2]] or [state[2]]
    out["apex_above_lip_m"] = max(crests + [state[2]]) - s.height
    if not len(sol.t_events[0]):
        out["outcome"] = "front"
        return out
    if not starts_above:
        if not len(sol.t_events[1]) or sol.y_events[1][0][0] > gap:
            out["outcome"] = "front"
            return out
    t, y = sol.t_events[0][0], sol.y_events[0][0]
    x, across_abs = y[0] + c * sin, y[1]
    normal = y[3] * sin - y[5] * cos
    speed = math.sqrt(y[3] ** 2 + y[4] ** 2 + y[5] ** 2)
    out.update(
        airtime_s=t,
        along_m=x - gap,
        across_m=across_abs - offset,
        distance_from_lip_m=x,
        impact_speed_mps=speed,
        impact_normal_mps=normal,
        impact_along_mps=math.sqrt((y[3] * cos + y[5] * sin) ** 2 + y[4] ** 2),
        equivalent_fall_height_m=normal**2 / (2.0 * G),
    )
    out["outcome"] = outcome(s, gap, offset, out["along_m"], out["across_m"])
    return out


def height_at(s, mass, q, state, x):
    """COM height where it passes x; None if it never does within the flight to 30 m below."""
    def passes(_, y):
        return y[0] - x

    def deep(_, y):
        return y[2] + 30.0

    passes.terminal = deep.terminal = True
    passes.direction = 1
    sol = path(s, mass, q, state, events=[passes, deep])
    return sol.y_events[0][0][2] if len(sol.t_events[0]) else None

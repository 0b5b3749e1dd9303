"""The force area of a body in the bag's top, and the bags that fit a description.

A list of knots (depth, area) after (0, 0): straight between knots, constant beyond the last."""

import math

import numpy as np
from scipy.stats import norm

DRAWS = 256
PLACE = 244  # of 256, rising: the 95 % place
LOW_PLACE = 13  # of 256, rising: the 5 % place
FACTORS = {4: 1.1673039782614187, 2: 1.324717957244746}
MEASURED_SD = 0.15


def assumed(body, growth, limit):
    """Knots from what a body covers at once, how fast the crest widens, and where it ends."""
    limit = max(limit, body + 0.1 * growth + 0.01)
    return [(0.1, body + 0.1 * growth), ((limit - body) / growth, limit)]


def stated(s):
    return s.measured_knots or assumed(s.area_body, s.area_growth, s.area_limit)


class ForceArea:
    def __init__(self, knots):
        self.knots = [(float(x), float(a)) for x, a in knots]
        self.x = [0.0] + [x for x, _ in self.knots]
        self.a = [0.0] + [a for _, a in self.knots]
        self.v = [0.0]
        for i in range(1, len(self.x)):
            self.v.append(self.v[-1] + 0.5 * (self.a[i] + self.a[i - 1]) * (self.x[i] - self.x[i - 1]))

    @classmethod
    def constant(cls, area):
        """The same area from the first touch on, as published drop tests have it."""
        out = cls([])
        out.a = [float(area)]
        return out

    def at(self, x):
        """Displaced volume and area at a depth."""
        if x <= 0.0:
            return 0.0, 0.0
        for i in range(1, len(self.x)):
            if x <= self.x[i]:
                by = x - self.x[i - 1]
                slope = (self.a[i] - self.a[i - 1]) / (self.x[i] - self.x[i - 1])
                return self.v[i - 1] + by * (self.a[i - 1] + 0.5 * slope * by), self.a[i - 1] + slope * by
        return self.v[-1] + self.a[-1] * (x - self.x[-1]), self.a[-1]


def normals(dimensions):
    """The fixed draws: 256 rows of standard normals."""
    f = FACTORS[dimensions]
    j = np.arange(1, DRAWS + 1)[:, None]
    a = np.array([f**-k for k in range(1, dimensions + 1)])[None, :]
    return norm.ppf(np.mod(0.5 + j * a, 1.0))


def possible_bags(s, measured=False):
    """(knots, stretch) of the 256 possible bags. `measured`: as the measurement leaves them."""
    sd = dict(s.unknown)
    if measured:
        sd["area"] = min(MEASURED_SD, sd["area"]) if s.measured_knots else MEASURED_SD
        sd["skin_stretch"] = min(MEASURED_SD, sd["skin_stretch"])
    if measured or s.measured_knots:
        z = normals(2)
        return [
            ([(x, a * math.exp(sd["area"] * za)) for x, a in stated(s)], s.stretch * math.exp(sd["skin_stretch"] * zb))
            for za, zb in z
        ]
    out = []
    for body, growth, limit, stretch in normals(4):
        knots = assumed(
            s.area_body * math.exp(sd["area_body"] * body),
            s.area_growth * math.exp(sd["area_growth"] * growth),
            s.area_limit * math.exp(sd["area_limit"] * limit),
        )
        out.append((knots, s.stretch * math.exp(sd["skin_stretch"] * stretch)))
    return out

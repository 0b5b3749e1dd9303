"""The run in Numba, written twice: a run at a time (`by_run`), as one writes it from the equations, and in step for many
runs (`by_lanes`), so that its compiler puts sixteen into a register.

Both: single precision, `fastmath`, `prange` over blocks, Runge-Kutta steps of fourth order for the losses with gravity
exact (total energy), flight steps of at most 0.8 s, random numbers and elementary functions written out below (those of
the library are calls, which keep a loop from being vectorised).
"""
import math

import numba as nb
import numpy as np

f32, u32, i32, u64 = np.float32, np.uint32, np.int32, np.uint64
G, SIXTH = f32(9.80665), f32(1 / 6)
TWO_G = f32(2 * 9.80665)
ZERO, HALF, ONE, TWO = f32(0), f32(0.5), f32(1), f32(2)
FLIGHT_STEP_S = f32(0.8)
BLOCK = 4096
options = {"fastmath": True, "error_model": "numpy"}
inline = nb.njit(inline="always", **options)


@inline
def sin_cos(x):
    # Taylor's series, to 1e-6 within a quarter turn.
    q = x * x
    s = x * (ONE + q * (f32(-1 / 6) + q * (f32(1 / 120) + q * (f32(-1 / 5040) + q * f32(1 / 362880)))))
    c = ONE + q * (f32(-1 / 2) + q * (f32(1 / 24) + q * (f32(-1 / 720) + q * (f32(1 / 40320) + q * f32(-1 / 3628800)))))
    return s, c


@inline
def logarithm(x):
    # x = 2^e m with m in √½..√2; ln m by its series in (m − 1)/(m + 1).
    bits = u32(f32(x).view(u32) - u32(0x3F3504F3))
    exponent = f32(i32(i32(bits) >> i32(23)))
    m = u32((bits & u32(0x007FFFFF)) + u32(0x3F3504F3)).view(f32)
    t = (m - ONE) / (m + ONE)
    q = t * t
    return exponent * f32(math.log(2)) + t * (TWO + q * (f32(2 / 3) + q * (f32(2 / 5) + q * f32(2 / 7))))


@inline
def advance(s0, s1):
    """xoroshiro64* (Blackman & Vigna): a word and the next state."""
    word = u32(s0 * u32(0x9E3779BB))
    s1 = u32(s1 ^ s0)
    s0 = u32(u32(u32(s0 << u32(26)) | u32(s0 >> u32(6))) ^ s1 ^ u32(s1 << u32(9)))
    return word, s0, u32(u32(s1 << u32(13)) | u32(s1 >> u32(19)))


@inline
def seeded(seed, number):
    """A generator's start from its number, by SplitMix64 (Steele, Lea & Flood)."""
    x = u64(seed) * u64(0xD1342543DE82EF95) + u64(number + 1) * u64(0x9E3779B97F4A7C15)
    x = (x ^ (x >> u64(30))) * u64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> u64(27))) * u64(0x94D049BB133111EB)
    x = x ^ (x >> u64(31))
    return u32(x), u32(u32(x >> u64(32)) | u32(1))


@inline
def pair(radius, angle):
    """Two standard normals (Box & Muller) from two words."""
    r = math.sqrt(max(f32(-2) * logarithm((f32(radius) + HALF) * f32(2.0**-32)), ZERO))
    # Half the angle lies within a quarter turn.
    s, c = sin_cos(f32(i32(angle)) * f32(math.pi / 2 * 2.0**-31))
    return r * (ONE - TWO * s * s), TWO * r * s * c


@inline
def within(x, low, high):
    x = x if x > low else low
    return x if x < high else high


@inline
def rate(energy, gcos, curve, drag, wind, rolling):
    u = math.sqrt(max(energy, ZERO)) + wind
    return u * abs(u) * drag + max(energy * curve + gcos, ZERO) * rolling


@inline
def ride_step(e, p0, p1, p2, c0, c1, c2, z1, z2, curve, drag, wind, rolling, inertia, per):
    total = e * inertia
    k_1 = rate(e, c0, curve, drag, wind, rolling) * p0
    k_2 = rate((total - HALF * k_1 - z1) * per, c1, curve, drag, wind, rolling) * p1
    k_3 = rate((total - HALF * k_2 - z1) * per, c1, curve, drag, wind, rolling) * p1
    k_4 = rate((total - k_3 - z2) * per, c2, curve, drag, wind, rolling) * p2
    return (total - (k_1 + TWO * (k_2 + k_3) + k_4) * SIXTH - z2) * per


@inline
def takeoff_step(e, s0, c0, sin_half, cos_half, turn, n, drag, wind, rolling, inertia, per):
    """One step of the take-off's arc; its angles differ from run to run."""
    s1, c1 = s0 * cos_half + c0 * sin_half, c0 * cos_half - s0 * sin_half
    s2, c2 = s1 * cos_half + c1 * sin_half, c1 * cos_half - s1 * sin_half
    shrink = ONE - n[5] / n[2]
    reach = TWO_G * (n[2] - n[5])
    pace = n[2] * turn
    e = ride_step(e, pace, pace, pace, c0 * G, c1 * G, c2 * G, reach * (c0 - c1), reach * (c0 - c2),
                  ONE / (n[2] * shrink), drag * shrink, wind, rolling, inertia, per)
    return e, s2, c2


@inline
def release(e, s, c, sin_lip, cos_lip, lip_speed, pop, yaw, n):
    """Place and velocity off the lip."""
    v = max(math.sqrt(max(e, ZERO)) + lip_speed, ZERO)
    forward, vz = v * c - pop * s, v * s + pop * c
    sin_yaw, cos_yaw = sin_cos(yaw)
    x = -n[2] * (sin_lip - s) - n[5] * s
    z = n[1] - n[2] * (c - cos_lip) + n[5] * c
    return x, z, forward * cos_yaw, forward * sin_yaw, vz


@inline
def in_vacuum(x, z, vx, vz, offset, n):
    """Height over the bag's plane, and how long the flight down to it takes without air."""
    high, up, pull = x * n[8] + z * n[9] - offset, vx * n[8] + vz * n[9], G * n[9]
    inside = up * up + TWO * pull * high
    return high, inside, (up + math.sqrt(max(inside, ZERO))) / pull


@inline
def acceleration(vx, vy, vz, k, wx, wy):
    u, v = vx - wx, vy - wy
    q = -k * math.sqrt(u * u + v * v + vz * vz)
    return q * u, q * v, q * vz - G


@inline
def fly_step(x, y, z, vx, vy, vz, dt, k, wx, wy):
    half, sixth = HALF * dt, SIXTH * dt
    ax, ay, az = acceleration(vx, vy, vz, k, wx, wy)
    bx, by, bz = acceleration(vx + half * ax, vy + half * ay, vz + half * az, k, wx, wy)
    cx, cy, cz = acceleration(vx + half * bx, vy + half * by, vz + half * bz, k, wx, wy)
    dx, dy, dz = acceleration(vx + dt * cx, vy + dt * cy, vz + dt * cz, k, wx, wy)
    px, py, pz = bx + cx, by + cy, bz + cz
    return (x + dt * (vx + sixth * (ax + px)), y + dt * (vy + sixth * (ay + py)), z + dt * (vz + sixth * (az + pz)),
            vx + sixth * (ax + TWO * px + dx), vy + sixth * (ay + TWO * py + dy), vz + sixth * (az + TWO * pz + dz))


@inline
def touch(x, y, z, vx, vy, vz, k, wx, wy, offset, n):
    """Onto the plane by the parabola from where it is."""
    ax, ay, az = acceleration(vx, vy, vz, k, wx, wy)
    d, r, a = x * n[8] + z * n[9] - offset, vx * n[8] + vz * n[9], ax * n[8] + az * n[9]
    dt = f32(-2) * d / (r - math.sqrt(max(r * r - TWO * a * d, ZERO)))
    half = HALF * dt
    return (x + dt * (vx + half * ax), y + dt * (vy + half * ay), z + dt * (vz + half * az),
            vx + dt * ax, vy + dt * ay, vz + dt * az)


@inline
def at_edge(x, y, z, vx, vy, vz, k, wx, wy, offset, n):
    """Height over the bag's plane where it passes the front edge."""
    ex, _, ez, ux, _, uz = fly_step(x, y, z, vx, vy, vz, (n[6] - x) / max(vx, f32(0.05)), k, wx, wy)
    # The air has held it up a little.
    rest = (n[6] - ex) / max(ux, f32(0.05))
    return (ex + rest * ux) * n[8] + (ez + rest * uz) * n[9] - offset


@inline
def on_field(along, across, n):
    return (along >= n[16]) & (along <= n[14] - n[17]) & (abs(across) <= HALF * n[15] - n[18])


# A run at a time.
@nb.njit(**options)
def by_run(nodes, n, lip_steps, x):
    inertia, per = n[13], ONE / n[13]
    drag, rolling, wind, offset = n[11] / n[12] * x[3], TWO * x[2], -x[10], n[10] + x[12]
    e = x[1] * x[1]
    low = ONE
    for i in range(nodes.shape[0]):
        s = max(nodes[i, 1] - (x[0] - n[0]) * nodes[i, 2], ZERO)
        e = ride_step(e, nodes[i, 3] * s, nodes[i, 4] * s, nodes[i, 5] * s, nodes[i, 6], nodes[i, 7], nodes[i, 8],
                      nodes[i, 9] * s, nodes[i, 10] * s, nodes[i, 11], drag * nodes[i, 12], wind, rolling, inertia, per)
        low = min(low, e)
    turn = (n[3] - (ONE - x[6]) * n[4]) / f32(lip_steps)
    sin_half, cos_half = sin_cos(HALF * turn)
    s, c = ZERO, ONE
    for _ in range(lip_steps):
        e, s, c = takeoff_step(e, s, c, sin_half, cos_half, turn, n, drag, wind, rolling, inertia, per)
        low = min(low, e)
    px, pz, vx, vy, vz = release(e, s, c, n[20], n[21], x[5], x[7], x[8], n)
    py = x[9]
    high, inside, duration = in_vacuum(px, pz, vx, vz, offset, n)
    low = min(low, inside)
    k = n[11] / (TWO * n[12]) * x[4]
    if high < ZERO:
        low = min(low, max(high, at_edge(px, py, pz, vx, vy, vz, k, x[10], x[11], offset, n)))
    count = int(duration / FLIGHT_STEP_S) + 1
    dt = duration / f32(count)
    for _ in range(count):
        px, py, pz, vx, vy, vz = fly_step(px, py, pz, vx, vy, vz, dt, k, x[10], x[11])
    for _ in range(2):
        px, py, pz, vx, vy, vz = touch(px, py, pz, vx, vy, vz, k, x[10], x[11], offset, n)
    return px - x[12] * n[8] - n[6], py - n[7], low > ZERO


@nb.njit(parallel=True, **options)
def sample_by_run(nodes, n, lip_steps, mean, sd, low, high, blocks, seed):
    """Runs in blocks of 4,096; how many miss the landing field."""
    misses = np.zeros(blocks, dtype=np.int64)
    for block in nb.prange(blocks):
        s0, s1 = seeded(seed, block)
        x = np.empty(14, dtype=f32)
        missed = 0
        for _ in range(BLOCK):
            for i in range(0, 13, 2):
                radius, s0, s1 = advance(s0, s1)
                angle, s0, s1 = advance(s0, s1)
                x[i], x[i + 1] = pair(radius, angle)
            for i in range(13):
                x[i] = within(mean[i] + sd[i] * x[i], low[i], high[i])
            along, across, ok = by_run(nodes, n, lip_steps, x)
            missed += 0 if ok and on_field(along, across, n) else 1
        misses[block] = missed
    return misses.sum()


@nb.njit(**options)
def land_by_run(nodes, n, lip_steps, inputs, out):
    for i in range(inputs.shape[0]):
        out[i, 0], out[i, 1], _ = by_run(nodes, n, lip_steps, inputs[i])


# In step for many runs: one list for all that is known of them, so that the compiler can tell its parts apart.
LANES = 256
START, PUSH, ROLL, RIDE, FLY, LIP, CARRY, POP, YAW, LINE, ALONG, ACROSS, CONTACT = (LANES * k for k in range(13))
ENERGY, LOW, X, Y, Z, VX, VY, VZ, DURATION, SIN, COS, HIGH = (LANES * k for k in range(13, 25))
ROWS = 25
stage = nb.njit(**options)


@stage
def draw_words(words):
    for k in range(LANES):
        words[2 * LANES + k], s0, s1 = advance(words[k], words[LANES + k])
        words[3 * LANES + k], words[k], words[LANES + k] = advance(s0, s1)


@stage
def draw_normals(out, words):
    for k in range(LANES):
        out[k], out[LANES + k] = pair(words[2 * LANES + k], words[3 * LANES + k])


@stage
def place(out, mean, sd, low, high):
    for k in range(LANES):
        out[k] = within(mean + sd * out[k], low, high)


@stage
def begin(w):
    for k in range(LANES):
        w[ENERGY + k] = w[PUSH + k] * w[PUSH + k]
        w[LOW + k] = ONE
        w[SIN + k], w[COS + k] = ZERO, ONE


@stage
def straight(w, n, length, slant, p0, p1, p2, gcos, z1, z2):
    inertia, per, drag = n[13], ONE / n[13], n[11] / n[12]
    for k in range(LANES):
        s = max(length - (w[START + k] - n[0]) * slant, ZERO)
        e = ride_step(w[ENERGY + k], p0 * s, p1 * s, p2 * s, gcos, gcos, gcos, z1 * s, z2 * s, ZERO,
                      drag * w[RIDE + k], -w[ALONG + k], TWO * w[ROLL + k], inertia, per)
        w[ENERGY + k] = e
        w[LOW + k] = min(w[LOW + k], e)


@stage
def arc(w, n, pace, c0, c1, c2, z1, z2, curve, shrink):
    inertia, per, drag = n[13], ONE / n[13], n[11] / n[12] * shrink
    for k in range(LANES):
        e = ride_step(w[ENERGY + k], pace, pace, pace, c0, c1, c2, z1, z2, curve, drag * w[RIDE + k], -w[ALONG + k],
                      TWO * w[ROLL + k], inertia, per)
        w[ENERGY + k] = e
        w[LOW + k] = min(w[LOW + k], e)


@stage
def takeoff(w, n, part):
    inertia, per, drag = n[13], ONE / n[13], n[11] / n[12]
    for k in range(LANES):
        turn = (n[3] - (ONE - w[CARRY + k]) * n[4]) * part
        sin_half, cos_half = sin_cos(HALF * turn)
        e, w[SIN + k], w[COS + k] = takeoff_step(w[ENERGY + k], w[SIN + k], w[COS + k], sin_half, cos_half, turn, n,
                                                 drag * w[RIDE + k], -w[ALONG + k], TWO * w[ROLL + k], inertia, per)
        w[ENERGY + k] = e
        w[LOW + k] = min(w[LOW + k], e)


@stage
def leave(w, n):
    sin_lip, cos_lip = n[20], n[21]
    for k in range(LANES):
        x, z, vx, vy, vz = release(w[ENERGY + k], w[SIN + k], w[COS + k], sin_lip, cos_lip, w[LIP + k], w[POP + k],
                                   w[YAW + k], n)
        w[X + k], w[Y + k], w[Z + k] = x, w[LINE + k], z
        w[VX + k], w[VY + k], w[VZ + k] = vx, vy, vz
        w[HIGH + k], inside, w[DURATION + k] = in_vacuum(x, z, vx, vz, n[10] + w[CONTACT + k], n)
        w[LOW + k] = min(w[LOW + k], inside)


@stage
def extremes(w):
    lowest, longest = ONE, ZERO
    for k in range(LANES):
        high, duration = w[HIGH + k], w[DURATION + k]
        lowest = high if high < lowest else lowest
        longest = duration if duration > longest else longest
    return lowest, longest


@stage
def front(w, n):
    drag = n[11] / (TWO * n[12])
    for k in range(LANES):
        passed = at_edge(w[X + k], w[Y + k], w[Z + k], w[VX + k], w[VY + k], w[VZ + k], drag * w[FLY + k],
                         w[ALONG + k], w[ACROSS + k], n[10] + w[CONTACT + k], n)
        w[LOW + k] = min(w[LOW + k], max(w[HIGH + k], passed) + f32(1e-30))


@stage
def flight(w, n, part):
    drag = n[11] / (TWO * n[12])
    for k in range(LANES):
        (w[X + k], w[Y + k], w[Z + k], w[VX + k], w[VY + k], w[VZ + k]) = fly_step(
            w[X + k], w[Y + k], w[Z + k], w[VX + k], w[VY + k], w[VZ + k], w[DURATION + k] * part,
            drag * w[FLY + k], w[ALONG + k], w[ACROSS + k])


@stage
def land(w, n):
    drag = n[11] / (TWO * n[12])
    for k in range(LANES):
        offset, kf, wx, wy = n[10] + w[CONTACT + k], drag * w[FLY + k], w[ALONG + k], w[ACROSS + k]
        x, y, z, vx, vy, vz = touch(w[X + k], w[Y + k], w[Z + k], w[VX + k], w[VY + k], w[VZ + k], kf, wx, wy, offset, n)
        x, y, _, _, _, _ = touch(x, y, z, vx, vy, vz, kf, wx, wy, offset, n)
        w[X + k] = x - w[CONTACT + k] * n[8] - n[6]
        w[Y + k] = y - n[7]


@stage
def count_misses(w, n):
    missed = 0
    for k in range(LANES):
        missed += 0 if (w[LOW + k] > ZERO) & on_field(w[X + k], w[Y + k], n) else 1
    return missed


@nb.njit(**options)
def by_lanes(nodes, n, lip_steps, w):
    begin(w)
    for i in range(nodes.shape[0]):
        r = nodes[i]
        if r[0] == ZERO:
            straight(w, n, r[1], r[2], r[3], r[4], r[5], r[6], r[9], r[10])
        else:
            arc(w, n, r[3], r[6], r[7], r[8], r[9], r[10], r[11], r[12])
    for _ in range(lip_steps):
        takeoff(w, n, ONE / f32(lip_steps))
    leave(w, n)
    lowest, longest = extremes(w)
    if lowest < ZERO:
        front(w, n)
    count = int(longest / FLIGHT_STEP_S) + 1
    for _ in range(count):
        flight(w, n, ONE / f32(count))
    land(w, n)


@nb.njit(parallel=True, **options)
def sample_by_lanes(nodes, n, lip_steps, mean, sd, low, high, blocks, seed):
    """Runs in blocks of 4,096; how many miss the landing field."""
    misses = np.zeros(blocks, dtype=np.int64)
    for block in nb.prange(blocks):
        w = np.empty(ROWS * LANES, dtype=f32)
        words = np.empty(4 * LANES, dtype=u32)
        for k in range(LANES):
            words[k], words[LANES + k] = seeded(seed, block * LANES + k)
        missed = 0
        for _ in range(BLOCK // LANES):
            for i in range(0, 13, 2):
                draw_words(words)
                draw_normals(w[i * LANES : (i + 2) * LANES], words)
            for i in range(13):
                place(w[i * LANES : (i + 1) * LANES], mean[i], sd[i], low[i], high[i])
            by_lanes(nodes, n, lip_steps, w)
            missed += count_misses(w, n)
        misses[block] = missed
    return misses.sum()


@nb.njit(**options)
def land_by_lanes(nodes, n, lip_steps, inputs, out):
    w = np.empty(ROWS * LANES, dtype=f32)
    many = inputs.shape[0]
    for at in range(0, many, LANES):
        for k in range(LANES):
            for i in range(13):
                w[i * LANES + k] = inputs[min(at + k, many - 1), i]
        by_lanes(nodes, n, lip_steps, w)
        for k in range(min(LANES, many - at)):
            out[at + k, 0], out[at + k, 1] = w[X + k], w[Y + k]

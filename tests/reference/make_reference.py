"""Writes expected/<site>.json for every sites/*.toml, and expected/pieces.json.

    python make_reference.py            recompute and write everything
    python make_reference.py --check    recompute and compare with the committed files
    python make_reference.py NAME...    only the sites whose file name contains NAME

Deterministic: fixed seeds, no cache. `--check` compares within TOLERANCES and exits with 1 where a
number is outside them."""

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

import argparse
import copy
import hashlib
import json
import math
import multiprocessing
import pathlib
import sys
import time
import traceback
import zlib

import numpy as np

import pieces
import placement
import pressures
import ride
import sample
import site_file
import spread
from bag import Bag

HERE = pathlib.Path(__file__).parent

# (part of the path of a value, relative, absolute). The first that matches counts. Sampled values
# may move by a run or two between machines (another last bit in a sine); the searches stop at
# 2e-4 m, 1e-3 m and 2e-3 m/s; the rest are solved to 1e-9 or better.
TOLERANCES = [
    ("bracket", 5e-2, 2e-2),
    ("_se", 1e-3, 1e-6),
    ("/sampling/", 1e-4, 3e-5),
    ("/riders/", 1e-4, 3e-5),
    ("/placement/", 2e-3, 3e-3),
    ("/wind/hold", 2e-3, 6e-3),
    ("hold_a", 2e-3, 6e-3),
    ("start_low_by_miss", 2e-3, 3e-3),
    ("/first_day", 0.0, 1e-9),
    ("", 1e-6, 1e-8),
]


def plain(x):
    """Plain Python numbers; refuses what JSON cannot hold."""
    if isinstance(x, dict):
        return {k: plain(v) for k, v in x.items()}
    if isinstance(x, (list, tuple)):
        return [plain(v) for v in x]
    if isinstance(x, np.bool_):
        return bool(x)
    if isinstance(x, np.integer):
        return int(x)
    if isinstance(x, (float, np.floating)):
        x = float(x)
        if not math.isfinite(x):
            raise ArithmeticError("a number that is not finite")
        return x
    return x


def air(s, bag):
    middle = 0.5 * (s.p_min + s.p_max)
    p = bag.p_op
    return {
        "outside_pressure_pa": s.outside,
        "density_kgpm3": s.rho,
        "operating_pressure_pa": p,
        "operating_flow_m3ps": bag.supply.flow(p),
        "leak_coefficient": bag.leak,
        "settled_note": bag.settled_note,
        "status": "low" if p < s.p_min else "high" if p > s.p_max else "in range",
        "no_opening": bag.no_opening,
        "margin_low_pa": p - s.p_min,
        "margin_high_pa": s.p_max - p,
        "shut_off_pressure_pa": bag.supply.shut,
        "needed_pressure_pa": middle,
        "needed_flow_m3ps": bag.outflow(middle),
        "fill_time_s": bag.fill_time(),
    }


FLIGHT = ("airtime_s", "apex_above_lip_m", "along_m", "across_m", "distance_from_lip_m", "impact_speed_mps",
          "impact_normal_mps", "impact_along_mps", "equivalent_fall_height_m", "outcome")  # fmt: skip


def rider_rows(groups, dd, fields):
    """Landing masses and normal speeds of section 10, and the interval of `along`. None where a rider has neither
    differences nor 100 sampled landings."""
    riders, ends = {name: [] for name in pressures.RIDERS}, []
    for key, g in groups.items():
        for name, mass in placement.riders(g).items():
            d = dd[key][name]
            sampled = None
            if fields is not None:
                code, along, _ = sample.outcomes(g, fields[key].runs[name])
                reach = code < sample.OUTCOMES.index("front")
                if np.count_nonzero(reach) >= 100:
                    sampled = along[reach], fields[key].runs[name]["normal"][reach]
            if d is None and sampled is None:
                return None, None
            speeds = d["mixtures"]["normal"] if d else spread.Sampled(sampled[1])
            riders[name].append((pressures.landed_mass(g, mass), speeds))
            if sampled:
                ends += [float(np.quantile(sampled[0], p)) for p in (0.001, 0.999)]
            else:
                ends += [d["along_p001_m"], d["along_p999_m"]]
    return riders, (min(ends), max(ends))


def commitment_of(g, r, fl):
    """Time from the last stop line, or the start, to touch-down of a group's mean rider."""
    if fl is None or "airtime_s" not in fl:
        return None
    line = ride.last_stop(g, g.mass, g.mean, r, g.braking)
    return r["time"] + fl["airtime_s"] - (line[1] if line else 0.0)


def case_of(s, bag, groups, dd, fields, nominal):
    """Section 10's case from the rides and the spread of all groups; None where a rider has none."""
    riders, ends = rider_rows(groups, dd, fields)
    if riders is None:
        return None
    commitments = [commitment_of(g, *nominal[key]) for key, g in groups.items()]
    return pressures.Case(
        riders,
        max(pressures.landed_mass(g, g.heaviest) for g in groups.values()),
        min(g.lightest for g in groups.values()),
        pressures.thinnest(s, *ends),
        None if None in commitments else max(commitments),
        max(nominal[key][0]["peak_load"] for key in groups),
        pressures.dip(s, bag, s.mass, nominal["site"][1]),
    )


def lower_cases(s, bag, groups):
    """(start height, case) from the highest stated start down in whole 5 cm; the last case is None."""
    highest = max(g.mean["start_height"] for g in groups.values())
    k = math.ceil(highest / 0.05 - 1e-9) - 1
    while k > 0:
        height = round(0.05 * k, 10)
        low = {}
        for key, g in {**groups, "site": s}.items():
            low[key] = copy.copy(g)
            low[key].mean = {**g.mean, "start_height": min(g.mean["start_height"], height)}
        site = low.pop("site")
        dd = {key: {name: spread.differences(g, mass) for name, mass in placement.riders(g).items()} for key, g in low.items()}
        if not all(d for rows in dd.values() for d in rows.values()):
            yield height, None
            return
        nominal = {key: placement.nominal(g, g.mass, g.mean) for key, g in {**low, "site": site}.items()}
        yield height, case_of(site, bag, low, dd, None, nominal)
        k -= 1
    yield 0.0, None


def differing(d):
    """Without the distributions, which are no result."""
    return d and {k: v for k, v in d.items() if k != "mixtures"}


def compute(path):
    s = site_file.read(path)
    seed = zlib.crc32(path.stem.encode())
    q = s.mean
    out = {"site": s.name, "file": path.name}

    r, fl = placement.nominal(s, s.mass, q)
    lands = fl is not None and "airtime_s" in fl
    gone = r["stall"] or r["leaves_surface"]
    out["ride"] = {
        "lip_speed_mps": None if gone else r["speed"],
        "lip_angle_deg": math.degrees(s.lip),
        "release_angle_deg": math.degrees(r["theta_r"]),
        "time_to_lip_s": None if gone else r["time"],
        "peak_load_g": r["peak_load"],
        "surface_to_foot_m": r["foot"],
        "stall": r["stall"],
        "leaves_surface": r["leaves_surface"],
    }
    out["flight"] = None if fl is None else {k: fl.get(k) for k in FLIGHT}
    if gone and fl is None:
        out["flight"] = {k: None for k in FLIGHT} | {"outcome": "stall" if r["stall"] else "leaves_surface"}

    # spread: all three riders
    field = placement.Field(s, seed)
    dd = {name: spread.differences(s, mass) for name, mass in placement.riders(s).items()}
    samples = {name: spread.sampling(s, field.runs[name], botched=field.botched) for name in field.masses}
    out["riders"] = {}
    for name in ("lightest", "heaviest"):
        r2, fl2 = placement.nominal(s, field.masses[name], q)
        ok = fl2 is not None and "airtime_s" in fl2
        d = dd[name]
        out["riders"][name] = {
            "along_m": fl2["along_m"] if ok else None,
            "airtime_s": fl2["airtime_s"] if ok else None,
            "impact_normal_mps": fl2["impact_normal_mps"] if ok else None,
            "lip_speed_mps": r2["speed"] if fl2 is not None else None,
            "mean_along_m": d and d["mean_along_m"],
            "sd_along_m": d and d["sd_along_m"],
            "mean_normal_mps": d and d["mean_normal_mps"],
            "sd_normal_mps": d and d["sd_normal_mps"],
            "miss": samples[name]["miss"],
            "sampling": samples[name],
            "differences": differing(d),
        }
    counts = {name: samples[name]["miss"] for name in ("mean", "lightest", "heaviest")}
    most = max(counts.values())
    out["worst"] = next(name for name, v in counts.items() if v == most)
    out["worst_tied"] = [name for name, v in counts.items() if v == most]
    out["spread"] = {"differences": differing(dd["mean"]), "sampling": samples["mean"] | {"seed": seed}}

    # placement
    place = placement.best_place(s, field)
    search = placement.Search(s, seed)
    for name, (value, more) in (
        ("lowest_clearing_start", search.lowest_clearing_start()),
        ("highest_start_with_gust", search.highest_start_with_gust()),
    ):
        place[f"{name}_m"] = value
        place[f"{name}_bracket" if value is not None else f"{name}_note"] = more
    stops = {}
    for name, brake in (("", s.braking), ("_braking_less", s.braking - 0.1), ("_braking_more", s.braking + 0.1)):
        line = None if gone else ride.last_stop(s, s.mass, q, r, brake)
        stops[f"last_stop_before_foot{name}_m"] = line and line[0]
        stops[f"last_stop_to_touchdown{name}_s"] = line and lands and r["time"] - line[1] + fl["airtime_s"] or None
    place.update(stops)
    place["short_zone"] = None if gone else placement.short_zone(s, s.mass, q)
    out["placement"] = place

    out["sizing"] = None
    if lands:
        wanted = {
            "airtime_s": fl["airtime_s"] + 0.1,
            "apex_above_lip_m": fl["apex_above_lip_m"] + 0.3,
            "along_m": fl["along_m"] + 0.8,
        }
        out["sizing"] = {
            key: {"wanted": value, "start_height_m": placement.size_start(s, key, value)} for key, value in wanted.items()
        }
        out["sizing"]["radius_table"] = placement.radius_table(s)

    # air, touch-down, pressures
    bag = Bag(s)
    out["air"] = air(s, bag)
    out["touchdown"] = pressures.touchdown(s, bag, s.mass, fl)

    # groups: where there are any, they are the riders
    groups = s.groups or {"all": s}
    fields = {key: field if g is s else placement.Field(g, seed) for key, g in groups.items()}
    all_dd = {"all": dd}
    nominal = {"site": (r, fl), "all": (r, fl)}
    if s.groups:
        all_dd = {key: {name: spread.differences(g, mass) for name, mass in placement.riders(g).items()} for key, g in groups.items()}
        nominal |= {key: placement.nominal(g, g.mass, g.mean) for key, g in groups.items()}
    case = case_of(s, bag, groups, all_dd, fields, nominal)
    out["pressures"] = None
    if case is not None:
        out["pressures"] = p = pressures.compute(s, bag, case, lower_cases(s, bag, groups))
        out["pressures"]["normal_speeds"] = {
            name: [
                {"landing_mass_kg": mass, "mixture": [list(part) for part in speeds.parts] if isinstance(speeds, spread.Normals) else None}
                for mass, speeds in rows
            ]
            for name, rows in case.riders.items()
        }
    push = out["pressures"] and out["pressures"].pop("push_n")
    if out["touchdown"]:
        out["touchdown"]["push_n"] = push
    hold = search.hold_winds()
    out["wind"] = hold | pressures.anchors(s, push)
    out["ride_by"] = ride_by(s, bag, groups, out["pressures"], {"all": (search, hold)}, seed, nominal)
    return plain(out)


def ride_by(s, bag, groups, p, known, seed, nominal):
    """Section 13: the marks and pressures to ride by. Of the stops that bound the start from below only the
    chance of a miss is looked for here (`start_low_by_miss_m`, not rounded)."""
    out = {}
    levels = p and pressures.box(s, bag, p)
    first_day = p and p["provisional"] and p["provisional"]["first_day_start_m"]
    for key, g in groups.items():
        search, hold = known.get(key) or (placement.Search(g, seed), None)
        hold = hold or search.hold_winds()
        low, bracket = search.lowest_start_by_miss()
        r, fl = nominal[key]
        line = None if r["stall"] or r["leaves_surface"] else ride.last_stop(g, g.mass, g.mean, r, g.braking)
        high = g.mean["start_height"]
        holds = p and p["holds_for_p05_s"]
        out[key] = {
            "start_high_m": min(high, first_day) if first_day else high,
            "start_low_by_miss_m": low,
            "start_low_by_miss_bracket": bracket if low is not None else None,
            "start_low_by_miss_note": None if low is not None else bracket,
            "box": levels,
            "next_rider_from_pa": levels and pressures.up(levels["permit_back_from_pa"], 10.0),
            "everybody_off_under_pa": levels and pressures.up(levels["siren_at_pa"], 10.0),
            "seconds_between": s.interval,
            "holds_for_s": None if holds is None else math.floor(holds),
            "stop_line_before_foot_m": line and line[0],
            "hold_along_tail_mps": hold["hold_along_tail_mps"],
            "hold_along_head_mps": hold["hold_along_head_mps"],
            "hold_across_mps": hold["hold_across_mps"],
            "lightest_kg": g.lightest,
            "heaviest_kg": g.heaviest,
        }
    return out


def compare(name, want, got, path=""):
    """Differences beyond the tolerances, as lines of text."""
    where = f"{name}{path}"
    if isinstance(want, dict) and isinstance(got, dict):
        faults = [f"{where}: keys differ" for _ in [0] if want.keys() != got.keys()]
        return faults + [f for k in want.keys() & got.keys() for f in compare(name, want[k], got[k], f"{path}/{k}")]
    if isinstance(want, list) and isinstance(got, list) and len(want) == len(got):
        return [f for i, (a, b) in enumerate(zip(want, got)) for f in compare(name, a, b, f"{path}/{i}")]
    number = lambda v: isinstance(v, (int, float)) and not isinstance(v, bool)
    if number(want) and number(got):
        _, rel, tol = next(t for t in TOLERANCES if t[0] in path)
        if "counts" in path:
            rel, tol = 1e-3, 3
        return [] if abs(want - got) <= tol + rel * abs(want) else [f"{where}: {want!r} became {got!r}"]
    return [] if want == got else [f"{where}: {want!r} became {got!r}"]


# What a result is made from: its digest says whether it has to be made again.
SOURCES = ("bag.py", "flight.py", "force_area.py", "make_reference.py", "placement.py", "pressures.py", "quick.py", "requirements.txt",
           "ride.py", "sample.py", "site_file.py", "spread.py")  # fmt: skip
DIGESTS = HERE / "expected" / "inputs.sha256"


def digest(path):
    """Of the programs, the pinned packages and the site that a result is made from."""
    names = [HERE / name for name in SOURCES]
    names.append(path if path.suffix == ".toml" else HERE / "pieces.py")
    return digest_of(names)


def digest_of(names):
    total = hashlib.sha256()
    for name in names:
        total.update(name.name.encode() + b"\0" + name.read_bytes() + b"\0")
    return total.hexdigest()


def committed_digests():
    if not DIGESTS.exists():
        return {}
    return {name: value for value, name in (line.split() for line in DIGESTS.read_text().splitlines())}


def write_digests(new):
    known = {**committed_digests(), **new}
    DIGESTS.write_text("".join(f"{known[name]}  {name}\n" for name in sorted(known)))


def job(path):
    start = time.process_time()
    try:
        result = compute(path) if path.suffix == ".toml" else plain(pieces.compute())
    except Exception:  # the other sites still get their answer
        result = traceback.format_exc()
    return path, result, time.process_time() - start


def main():
    parser = argparse.ArgumentParser(description="Reference solutions of the model")
    parser.add_argument("names", nargs="*")
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--changed", action="store_true", help="only what is made from other inputs than the committed")
    parser.add_argument("--jobs", type=int, default=min(2, os.cpu_count() or 1))
    args = parser.parse_args()
    paths = sorted((HERE / "sites").glob("*.toml")) + [HERE / "pieces"]
    if args.names:
        paths = [p for p in paths if any(n in p.name for n in args.names)]
    if args.changed:
        known = committed_digests()
        paths = [p for p in paths if known.get(p.stem) != digest(p)]
    faults, made = [], {}
    with multiprocessing.Pool(args.jobs) as pool:
        for path, result, seconds in pool.imap_unordered(job, paths):
            target = HERE / "expected" / f"{path.stem}.json"
            print(f"{path.stem}: {seconds:.1f} s of one core", file=sys.stderr)
            if isinstance(result, str):
                faults.append(f"{path.stem}: {result}")
            elif args.check:
                made[path.stem] = digest(path)
                if not target.exists():
                    faults.append(f"{path.stem}: no committed file")
                else:
                    faults += compare(path.stem, json.loads(target.read_text()), result)
            else:
                target.parent.mkdir(exist_ok=True)
                target.write_text(json.dumps(result, indent=1) + "\n")
                write_digests({path.stem: digest(path)})
    if args.check:
        known = committed_digests()
        for name in made:
            if made[name] != known.get(name) and not any(f.startswith(name) for f in faults):
                print(f"{name}: its inputs changed, its results did not: write it again to renew its digest", file=sys.stderr)
    for fault in faults:
        print(fault)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())

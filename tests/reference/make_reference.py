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
    field = placement.Field(s, spread.normals(seed))
    dd = {name: spread.differences(s, mass) for name, mass in placement.riders(s).items()}
    samples = {name: spread.sampling(s, field.runs[name]) for name in field.masses}
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
        }
    counts = {name: samples[name]["miss"] for name in ("mean", "lightest", "heaviest")}
    most = max(counts.values())
    out["worst"] = next(name for name, v in counts.items() if v == most)
    out["worst_tied"] = [name for name, v in counts.items() if v == most]
    out["spread"] = {"differences": dd["mean"], "sampling": samples["mean"] | {"seed": seed}}

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
    commitment = stops["last_stop_to_touchdown_s"]
    if commitment is None and lands:
        commitment = r["time"] + fl["airtime_s"]

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
    out["pressures"] = None
    if all(dd.values()):
        hard = max(d["mean_normal_mps"] + 3.09 * d["sd_normal_mps"] for d in dd.values())
        ends = (
            min(d["mean_along_m"] - 3.09 * d["sd_along_m"] for d in dd.values()),
            max(d["mean_along_m"] + 3.09 * d["sd_along_m"] for d in dd.values()),
        )
        out["pressures"] = pressures.compute(s, hard, ends, commitment)
        sampled = field.interval(s.gap)
        out["pressures"]["hard_thickness_by_sampling_m"] = sampled and pressures.thinnest(s, *sampled)
    out["wind"] = search.hold_winds() | pressures.anchors(s)
    return plain(out)


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
    parser.add_argument("--jobs", type=int, default=min(2, os.cpu_count() or 1))
    args = parser.parse_args()
    paths = sorted((HERE / "sites").glob("*.toml")) + [HERE / "pieces"]
    if args.names:
        paths = [p for p in paths if any(n in p.name for n in args.names)]
    faults = []
    with multiprocessing.Pool(args.jobs) as pool:
        for path, result, seconds in pool.imap_unordered(job, paths):
            target = HERE / "expected" / f"{path.stem}.json"
            print(f"{path.stem}: {seconds:.1f} s of one core", file=sys.stderr)
            if isinstance(result, str):
                faults.append(f"{path.stem}: {result}")
            elif args.check:
                if not target.exists():
                    faults.append(f"{path.stem}: no committed file")
                else:
                    faults += compare(path.stem, json.loads(target.read_text()), result)
            else:
                target.parent.mkdir(exist_ok=True)
                target.write_text(json.dumps(result, indent=1) + "\n")
    for fault in faults:
        print(fault)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())

"""Ours, Numba, SciPy and NumPy on the same runs: accuracy, then speed in turns, then cost against size as plots."""
import json
import os
import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

import numba as nb
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import contenders as c
import numba_run

HERE = Path(__file__).parent
SAMPLER = HERE / "../../target/release/bench-sampler"
SITES = ["demo", "03_roller_lane", "10_clay_pit", "13_terrace", "18_crooked_lane"]
QUICK = "--quick" in sys.argv
THREADS = os.cpu_count() or 1
SAME = 1e-3  # m, the accuracy at which the contenders are compared
TIGHT = 1e-4  # m, what the planner takes
NUMBA_STEPS = (3, 1, 1, 2)  # first straight, arcs, other straights, take-off
BY_RUN, BY_LANES = numba_run.sample_by_run, numba_run.sample_by_lanes
# Where a run in twenty to some thousand misses (front, edge, short): all must count the same, up to chance.
COUNTED = ["12_granary", "14_chalk_notch", "15_long_meadow"]
f32 = np.float32


def path_of(site):
    return site if ":" in site or site == "demo" else str(HERE / "../reference/sites" / f"{site}.toml")


def ours(what, site, *rest):
    return subprocess.run([SAMPLER, what, path_of(site), *map(str, rest)], check=True, capture_output=True, text=True).stdout


def children_s():
    use = resource.getrusage(resource.RUSAGE_CHILDREN)
    return use.ru_utime + use.ru_stime


def rate_ours(site, tolerance, runs, threads=THREADS):
    """Runs a second of processor time, and of the clock; misses."""
    before = children_s()
    wall, missed = ours("rate", site, tolerance, runs, threads).split()
    return runs / (children_s() - before), runs / float(wall), int(missed)


def rate_numba(sample, site, runs):
    lists = (x.astype(f32) for x in (site.numbers, site.mean, site.sd, site.low, site.high))
    n, mean, sd, low, high = lists
    blocks = runs // numba_run.BLOCK
    runs = blocks * numba_run.BLOCK
    nodes = site.nodes(NUMBA_STEPS)
    begin, wall = time.process_time(), time.perf_counter()
    missed = sample(nodes, n, NUMBA_STEPS[3], mean, sd, low, high, blocks, 1)
    return runs / (time.process_time() - begin), runs / (time.perf_counter() - wall), missed


def rate_numpy(site, runs):
    rng = np.random.default_rng(1)
    c.numpy_sample(site, runs, rng)
    begin = time.process_time()
    for _ in range(3):
        c.numpy_sample(site, runs, rng)
    return 3 * runs / (time.process_time() - begin)


def accuracy(name, site):
    """Largest deviation of the landings from DOP853 at rtol 1e-10, in millimetres, over the same runs."""
    count = 60 if QUICK else 200
    runs = {t: json.loads(ours("land", name, t, count)) for t in (SAME, TIGHT)}
    inputs = np.array([run["inputs"] for run in runs[SAME]], dtype=np.float64)
    landed = [i for i, run in enumerate(runs[SAME]) if run["landed"]]
    solved = {}
    for label, method, rtol, atol, every in (("reference", "DOP853", 1e-10, 1e-12, 1), ("SciPy RK45", "RK45", 1e-5, 1e-7, 1)):
        begin = time.process_time()
        results = [c.scipy_run(site, inputs[i], method, rtol, atol) for i in landed]
        solved[label] = (np.array(results, dtype=np.float64), len(landed) / (time.process_time() - begin))
    exact = solved["reference"][0]

    def worst(found):
        return 1000 * float(np.nanmax(np.abs(found - exact)))

    found = {}
    for label, land in (("Numba by run", numba_run.land_by_run), ("Numba by lanes", numba_run.land_by_lanes)):
        out = np.zeros((len(inputs), 2), dtype=f32)
        land(site.nodes(NUMBA_STEPS), site.numbers.astype(f32), NUMBA_STEPS[3], inputs.astype(f32), out)
        found[label] = worst(out[landed])
    listed = np.stack(c.numpy_land(site, inputs.T.astype(f32))).T
    take = lambda t: np.array([[runs[t][i]["along"], runs[t][i]["across"]] for i in landed])
    return {
        "ours, 1 mm": worst(take(SAME)), "ours, 0.1 mm": worst(take(TIGHT)), **found,
        "NumPy": worst(listed[landed]), "SciPy RK45": worst(solved["SciPy RK45"][0]),
    }, {"SciPy RK45": solved["SciPy RK45"][1], "SciPy DOP853": solved["reference"][1]}, len(landed)


def main():
    nb.set_num_threads(THREADS)
    rounds, runs = (3, 4_096_000) if QUICK else (7, 16_384_000)
    table = []
    for name in SITES:
        described = json.loads(ours("describe", name))
        site = c.Site(described)
        errors, scipy, landed = accuracy(name, site)
        print(f"\n{name}: largest deviation from SciPy DOP853 (rtol 1e-10) over {landed} landings")
        print("  " + ", ".join(f"{who} {mm:.3f} mm" for who, mm in errors.items()))
        print(f"  our steps at 1 mm {described['steps'][0]}\n            0.1 mm {described['steps'][1]}")
        for sample in (BY_RUN, BY_LANES):
            rate_numba(sample, site, 8192)  # compiled here
        rounds_of = [[] for _ in range(4)]
        for _ in range(rounds):
            # In turns, so that whatever else the machine does falls on all.
            for list_, taken in zip(rounds_of, (rate_ours(name, SAME, runs), rate_ours(name, TIGHT, runs),
                                                rate_numba(BY_RUN, site, runs // 8), rate_numba(BY_LANES, site, runs))):
                list_.append(taken)
        same, tight, by_run, by_lanes = (statistics.median(r[0] for r in list_) for list_ in rounds_of)
        over_run, over_lanes = (statistics.median(a[0] / b[0] for a, b in zip(rounds_of[0], rounds_of[i])) for i in (2, 3))
        spread = max(max(r[0] for r in list_) / min(r[0] for r in list_) for list_ in rounds_of)
        numpy = rate_numpy(site, 100_000)
        table.append({"site": name, "mm": errors, "ours": same, "tight": tight, "by run": by_run, "by lanes": by_lanes,
                      "numpy": numpy, **scipy, "over run": over_run, "over lanes": over_lanes})
        print(f"  million runs a second and core: ours {same / 1e6:.2f} at 1 mm, {tight / 1e6:.2f} at 0.1 mm; Numba "
              f"{by_run / 1e6:.2f} by run, {by_lanes / 1e6:.2f} by lanes; NumPy {numpy / 1e6:.3f}; SciPy RK45 "
              f"{scipy['SciPy RK45'] / 1e6:.6f}, DOP853 {scipy['SciPy DOP853'] / 1e6:.6f}")
        print(f"  ratios: {over_run:.1f} × Numba by run, {over_lanes:.2f} × by lanes, {same / numpy:.0f} × NumPy, "
              f"{same / scipy['SciPy RK45']:,.0f} × RK45, {same / scipy['SciPy DOP853']:,.0f} × DOP853; a round's fastest "
              f"was up to {spread:.2f} × its slowest")
        for who in ("ours, 1 mm", "ours, 0.1 mm", "Numba by run", "Numba by lanes"):
            assert errors[who] < 1.0, f"{name}: {who} is {errors[who]} mm off"
    print()
    for name in COUNTED:
        site = c.Site(json.loads(ours("describe", name)))
        many, fewer = 65_536_000, 8_192_000
        missed = {"ours": (rate_ours(name, TIGHT, many)[2], many),
                  "Numba by lanes": (rate_numba(BY_LANES, site, many)[2], many),
                  "Numba by run": (rate_numba(BY_RUN, site, fewer)[2], fewer)}
        print(f"{name}: misses " + ", ".join(f"{who} {count:,} of {of:,}" for who, (count, of) in missed.items()))
        count, of = missed["ours"]
        for who, (other, of_other) in missed.items():
            # Five standard errors of a difference of two shares.
            error = (count / of**2 + other / of_other**2) ** 0.5
            assert abs(count / of - other / of_other) < 5 * error, f"{name}: {who}: {missed}"
    print("\n| site | ours | ours, 0.1 mm | Numba by run | Numba by lanes | × by run | × by lanes | × NumPy | × RK45 | × DOP853 "
          "| ours mm | Numba mm |")
    print("| --- |" + " ---: |" * 11)
    for r in table:
        print(f"| {r['site']} | {r['ours'] / 1e6:.1f} | {r['tight'] / 1e6:.1f} | {r['by run'] / 1e6:.2f} | "
              f"{r['by lanes'] / 1e6:.1f} | {r['over run']:.1f} | {r['over lanes']:.2f} | {r['ours'] / r['numpy']:.0f} | "
              f"{r['ours'] / r['SciPy RK45']:,.0f} | {r['ours'] / r['SciPy DOP853']:,.0f} | {r['mm']['ours, 1 mm']:.2f} | "
              f"{r['mm']['Numba by lanes']:.2f} |")
    if not QUICK:
        plots()


def plots():
    import matplotlib

    matplotlib.use("svg")
    matplotlib.rcParams["svg.hashsalt"] = "landfall"
    import matplotlib.pyplot as plt

    def save(figure, name):
        figure.tight_layout()
        (HERE / "plots").mkdir(exist_ok=True)
        figure.savefig(HERE / "plots" / f"{name}.svg", metadata={"Date": None})
        plt.close(figure)

    site = c.Site(json.loads(ours("describe", "demo")))
    sizes = [4096 * 4**k for k in range(7)]

    def cost(rate, n):
        """Processor seconds of a sample, the middle of a few: what a thread pool spends on waiting comes and goes."""
        return statistics.median(n / rate(n) for _ in range(3 if n > 1_000_000 else 15))

    figure, axes = plt.subplots(figsize=(5, 3.4))
    for label, marker, many, rate in (
        ("ours, 1 mm", "o-", 7, lambda n: rate_ours("demo", SAME, n)[0]),
        ("Numba by lanes", "s-", 7, lambda n: rate_numba(BY_LANES, site, n)[0]),
        ("Numba by run", "v-", 6, lambda n: rate_numba(BY_RUN, site, n)[0]),
        ("NumPy", "^-", 4, lambda n: rate_numpy(site, n)),
    ):
        axes.loglog(sizes[:many], [cost(rate, n) for n in sizes[:many]], marker, label=label)
    axes.set(title="Cost of a sample (demo)", xlabel="runs", ylabel="processor time, s")
    axes.legend()
    save(figure, "samples")
    figure, axes = plt.subplots(figsize=(5, 3.4))
    counts = [3, 4, 6, 8, 10, 12, 14, 16]
    for tolerance, label in ((SAME, "1 mm"), (TIGHT, "0.1 mm")):
        axes.plot(counts, [1e9 / rate_ours(f"sections:{k}", tolerance, 8_192_000)[0] for k in counts], "o-", label=label)
    axes.set(title="Cost of a run against the ride down", xlabel="sections of the ride down", ylabel="processor time a run, ns", ylim=(0, None))
    axes.legend()
    save(figure, "sections")
    figure, axes = plt.subplots(figsize=(5, 3.4))
    threads = [1, 2, 4, 8]
    rates = [rate_ours("demo", SAME, 16_384_000, t) for t in threads]
    axes.plot(threads, [r[0] / 1e6 for r in rates], "o-", label="a processor second")
    axes.plot(threads, [r[1] / 1e6 for r in rates], "s-", label="a second by the clock")
    axes.set(title="Threads (demo, 1 mm)", xlabel=f"threads ({THREADS} processors)", ylabel="million runs", ylim=(0, None))
    axes.legend()
    save(figure, "threads")


if "--plots" in sys.argv:
    for sample in (BY_RUN, BY_LANES):
        rate_numba(sample, c.Site(json.loads(ours("describe", "demo"))), 8192)  # compiled here
    plots()
else:
    main()

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

HERE = Path(__file__).parent
SAMPLER = HERE / "../../target/release/bench-sampler"
SITES = ["demo", "03_roller_lane", "10_clay_pit", "13_terrace", "18_crooked_lane"]
QUICK = "--quick" in sys.argv
THREADS = os.cpu_count() or 1
SAME = 1e-3  # m, the accuracy at which the contenders are compared
TIGHT = 1e-4  # m, what the planner takes
NUMBA_STEPS = np.array([3, 1, 1, 2], dtype=np.int64)
f32 = np.float32


def path_of(site):
    return site if ":" in site or site == "demo" else str(HERE / "../reference/sites" / f"{site}.toml")


def ours(what, site, *rest):
    return subprocess.run([SAMPLER, what, path_of(site), *map(str, rest)], check=True, capture_output=True, text=True).stdout


def children_s():
    use = resource.getrusage(resource.RUSAGE_CHILDREN)
    return use.ru_utime + use.ru_stime


def rate_ours(site, tolerance, runs, threads=THREADS):
    """Runs a second of processor time, and of the clock."""
    before = children_s()
    wall, _ = ours("rate", site, tolerance, runs, threads).split()
    return runs / (children_s() - before), runs / float(wall)


def rate_numba(site, runs):
    seg, n, mean, sd = (x.astype(f32) for x in (site.segments, site.numbers, site.mean, site.sd))
    blocks = runs // 4096
    begin, wall = time.process_time(), time.perf_counter()
    missed = c.numba_sample(seg, n, NUMBA_STEPS, mean, sd, blocks, 1)
    return blocks * 4096 / (time.process_time() - begin), blocks * 4096 / (time.perf_counter() - wall), missed


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

    seg, n = site.segments.astype(f32), site.numbers.astype(f32)
    out = np.zeros((len(inputs), 2), dtype=f32)
    c.numba_land(seg, n, NUMBA_STEPS, inputs.astype(f32), out)
    listed = np.stack(c.numpy_land(site, inputs.T.astype(f32))).T
    take = lambda t: np.array([[runs[t][i]["along"], runs[t][i]["across"]] for i in landed])
    return {
        "ours, 1 mm": worst(take(SAME)), "ours, 0.1 mm": worst(take(TIGHT)), "Numba": worst(out[landed]),
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
        rate_numba(site, 8192)  # compiled here
        pairs = []
        for _ in range(rounds):
            # In turns, so that whatever else the machine does falls on both.
            pairs.append((rate_ours(name, SAME, runs), rate_ours(name, TIGHT, runs), rate_numba(site, runs // 4)))
        same, tight, numba = (statistics.median(p[i][0] for p in pairs) for i in range(3))
        ratio = statistics.median(p[0][0] / p[2][0] for p in pairs)
        ratio_tight = statistics.median(p[1][0] / p[2][0] for p in pairs)
        clock = statistics.median(p[0][1] / p[2][1] for p in pairs)
        numpy = rate_numpy(site, 100_000)
        row = {"site": name, "errors_mm": errors, "ours": same, "ours_tight": tight, "numba": numba, "numpy": numpy,
               **scipy, "over_numba": ratio, "tight_over_numba": ratio_tight, "clock_over_numba": clock}
        table.append(row)
        print(f"  runs a second and core: ours {same / 1e6:.2f} M at 1 mm, {tight / 1e6:.2f} M at 0.1 mm; Numba "
              f"{numba / 1e6:.2f} M; NumPy {numpy / 1e6:.3f} M; SciPy RK45 {scipy['SciPy RK45']:.0f}, "
              f"DOP853 {scipy['SciPy DOP853']:.0f}")
        print(f"  ratios: {ratio:.1f} × Numba ({clock:.1f} × by the clock, {ratio_tight:.1f} × at 0.1 mm), "
              f"{same / numpy:.0f} × NumPy, {same / scipy['SciPy RK45']:,.0f} × RK45, "
              f"{same / scipy['SciPy DOP853']:,.0f} × DOP853")
        for who in ("ours, 1 mm", "ours, 0.1 mm"):
            assert errors[who] < 1.0, f"{name}: {who} is {errors[who]} mm off"
    print("\n| site | ours M/s | Numba M/s | × Numba | × Numba at 0.1 mm | × NumPy | × RK45 | × DOP853 | ours mm | Numba mm |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    for r in table:
        print(f"| {r['site']} | {r['ours'] / 1e6:.1f} | {r['numba'] / 1e6:.2f} | {r['over_numba']:.1f} | "
              f"{r['tight_over_numba']:.1f} | {r['ours'] / r['numpy']:.0f} | {r['ours'] / r['SciPy RK45']:,.0f} | "
              f"{r['ours'] / r['SciPy DOP853']:,.0f} | {r['errors_mm']['ours, 1 mm']:.2f} | {r['errors_mm']['Numba']:.2f} |")
    if not QUICK:
        plots()


def plots():
    import matplotlib

    matplotlib.use("svg")
    matplotlib.rcParams["svg.hashsalt"] = "landfall"
    import matplotlib.pyplot as plt

    def save(figure, name):
        figure.tight_layout()
        figure.savefig(HERE / "plots" / f"{name}.svg", metadata={"Date": None})
        plt.close(figure)

    site = c.Site(json.loads(ours("describe", "demo")))
    sizes = [4096 * 4**k for k in range(7)]
    figure, axes = plt.subplots(figsize=(5, 3.4))
    axes.loglog(sizes, [n / rate_ours("demo", SAME, n)[0] for n in sizes], "o-", label="ours, 1 mm")
    axes.loglog(sizes, [n / rate_numba(site, n)[0] for n in sizes], "s-", label="Numba")
    axes.loglog(sizes[:4], [n / rate_numpy(site, n) for n in sizes[:4]], "^-", label="NumPy")
    axes.set(xlabel="runs", ylabel="processor time, s")
    axes.legend()
    save(figure, "samples")
    figure, axes = plt.subplots(figsize=(5, 3.4))
    counts = [3, 4, 6, 8, 10, 12, 14, 16]
    for tolerance, label in ((SAME, "1 mm"), (TIGHT, "0.1 mm")):
        axes.plot(counts, [1e9 / rate_ours(f"sections:{k}", tolerance, 8_192_000)[0] for k in counts], "o-", label=label)
    axes.set(xlabel="sections of the ride down", ylabel="processor time a run, ns", ylim=(0, None))
    axes.legend()
    save(figure, "sections")
    figure, axes = plt.subplots(figsize=(5, 3.4))
    threads = [1, 2, 4, 8]
    axes.plot(threads, [rate_ours("demo", SAME, 16_384_000, t)[1] / 1e6 for t in threads], "o-")
    axes.set(xlabel=f"threads ({THREADS} processors)", ylabel="million runs a second by the clock", ylim=(0, None))
    save(figure, "threads")


main()

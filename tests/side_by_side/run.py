"""The engine beside reference libraries, on the same random inputs in one run: digits and times.

    cargo build --release -p benchring-stats --example side_by_side
    python tests/side_by_side/run.py --engine target/release/examples/side_by_side > tests/results/side-by-side.md

References: metafor (R; Debian's r-cran-metafor) and statsmodels' combine_effects. One that is missing is left out, and
the table says so. Each number is also held against forty digits (precise.py), so that a difference has a verdict.
"""

import argparse
import csv
import json
import platform
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from datetime import date
from pathlib import Path

import precise

HERE = Path(__file__).parent
METHODS = ("REML", "DL", "PM")
NUMBERS = ("estimate", "se", "tau2", "lower", "upper", "tau2_lower", "tau2_upper")
SIZES = {10: 24, 100: 12, 1000: 4, 10000: 2}
AGREEMENT = 1e-8
NETWORKS = ((10, 5), (100, 10), (300, 20))


def inputs(seed):
    """Variances over four powers of ten, or six; no spread of true effects, some, or much."""
    chance = random.Random(seed)
    pairs = []
    for k, count in SIZES.items():
        for place in range(count):
            tau = (0.0, 0.02, 0.1, 0.5)[place % 4]
            lowest, highest = ((-4, 0), (-6, 0))[place // 4 % 2]
            vi = [10 ** chance.uniform(lowest, highest) for _ in range(k)]
            yi = [0.1 + chance.gauss(0, 1) * (v + tau * tau) ** 0.5 for v in vi]
            pairs.append({"id": f"k{k}-{place}", "k": k, "yi": yi, "vi": vi})
    return pairs


def networks(seed):
    """Trials of two to four treatments, the first few joined in a chain so that all are connected; one trial a unit."""
    chance = random.Random(seed)
    found = []
    for trials, treatments in NETWORKS:
        effects = [chance.gauss(0, 0.1) for _ in range(treatments)]
        drawn = []
        for place in range(trials):
            own = set(chance.sample(range(treatments), chance.choice((2, 2, 3, 4))))
            if place < treatments - 1:
                own |= {place, place + 1}
            level = chance.gauss(1, 1)
            arm = lambda t: {
                "treatment": t,
                "variance": (v := 10 ** chance.uniform(-4, -2)),
                "effect": level + effects[t] + chance.gauss(0, (v + 0.05**2 / 2) ** 0.5),
            }
            drawn.append([arm(t) for t in sorted(own)])
        found.append({"id": f"{trials}/{treatments}", "trials": drawn})
    return found


def least_seconds(call):
    started, times = time.perf_counter(), []
    while len(times) < 5 or time.perf_counter() - started < 0.2:
        begun = time.perf_counter()
        call()
        times.append(time.perf_counter() - begun)
    return min(times)


def by_engine(program, folder, pairs, nets):
    path = folder / "inputs.json"
    path.write_text(json.dumps({"pairs": pairs, "networks": nets}))
    text = subprocess.run([program, str(path)], check=True, capture_output=True, text=True).stdout
    found = json.loads(text)
    return {(a["id"], a["method"]): a for a in found["pairs"]}, {a["id"]: a for a in found["networks"]}


def networks_by_r(folder, nets):
    """rma.mv with the full covariance of every trial's contrasts against its first treatment."""
    found = {}
    for net in nets:
        table, output = folder / "network.csv", folder / "network.out"
        with table.open("w") as out:
            rows = csv.writer(out)
            rows.writerow(["trial", "treatment", "yi", "vi"])
            for place, arms in enumerate(net["trials"]):
                rows.writerows([place, a["treatment"], repr(a["effect"]), repr(a["variance"])] for a in arms)
        subprocess.run(["Rscript", str(HERE / "network.R"), str(table), str(output)], check=True)
        found[net["id"]] = {name: [float(v) for v in values] for name, *values in csv.reader(output.open())}
    return found


def networks_table(engine, r):
    lines = ["| trials/treatments | engine, ms | rma.mv, ms | ratio | tau2, relative | estimates, of one SE | SE, relative |"]
    lines.append("|---|---|---|---|---|---|---|")
    for identity, own in engine.items():
        got = r[identity]
        tau2 = abs(own["tau2"] / got["tau2"][0] - 1)
        estimates = max(abs(a - b) / s for a, b, s in zip(own["estimates"], got["estimates"], own["ses"], strict=True))
        ses = max(abs(a / b - 1) for a, b in zip(own["ses"], got["ses"], strict=True))
        lines.append(
            f"| {identity} | {1e3 * own['seconds']:.3f} | {1e3 * got['seconds'][0]:.4g} | "
            f"{got['seconds'][0] / own['seconds']:,.0f} | {tau2:.1e} | {estimates:.1e} | {ses:.1e} |"
        )
    return lines


def by_r(folder, pairs, largest):
    if not shutil.which("Rscript") or subprocess.run(
        ["Rscript", "-e", "library(metafor)"], capture_output=True
    ).returncode:
        return None, "R with metafor is not installed: left out."
    table, output = folder / "inputs.csv", folder / "r.csv"
    with table.open("w") as out:
        rows = csv.writer(out)
        rows.writerow(["id", "yi", "vi"])
        rows.writerows([p["id"], repr(y), repr(v)] for p in pairs for y, v in zip(p["yi"], p["vi"]))
    subprocess.run(["Rscript", str(HERE / "reference.R"), str(table), str(output), str(largest)], check=True)
    found = defaultdict(dict)
    for identity, method, name, value in csv.reader(output.open()):
        text = name in ("version", "r") or name.endswith("failed")
        found[identity, method][name] = value if text else float(value)
    return found, f"metafor {found['all', 'all']['version']}, {found['all', 'all']['r']}; inputs to k = {largest}"


def by_python(pairs):
    try:
        import numpy
        import statsmodels
        from statsmodels.stats.meta_analysis import combine_effects
    except ImportError:
        return None, "statsmodels is not installed: left out."
    found = {}
    for pair in pairs:
        y, v = numpy.array(pair["yi"]), numpy.array(pair["vi"])
        for method, name in (("DL", "dl"), ("PM", "iterated")):
            call = lambda: combine_effects(y, v, method_re=name, use_t=True)
            got = call()
            found[pair["id"], method] = {
                "estimate": float(got.mean_effect_re),
                "tau2": float(got.tau2),
                "se": float(got.sd_eff_w_re),
                "seconds": least_seconds(call),
            }
    return found, f"statsmodels {statsmodels.__version__}, numpy {numpy.__version__}, Python {platform.python_version()}"


def exact(pairs, largest):
    from scipy.stats import chi2, t

    found, hills = {}, 0
    for pair in pairs:
        k = len(pair["yi"])
        if k > largest:
            continue
        limits, quantile = [chi2.ppf(p, k - 1) for p in (0.025, 0.975)], t.ppf(0.975, k - 1)
        for method in METHODS:
            found[pair["id"], method], tops = precise.answer(pair["yi"], pair["vi"], method, limits, quantile)
            hills += tops > 1
    return found, hills


def difference(got, want, tau2):
    """Relative; against the scale of tau2 for its limits where a limit is zero."""
    return abs(float(got) - float(want)) / max(abs(float(want)), 1e-300) if float(want) else abs(float(got)) / max(
        float(tau2), 1e-300
    )


def worst(answers, truth, k, method, names):
    """Largest difference from forty digits, and how many answers lie beyond 1e-8, over the inputs of one size."""
    found = []
    for (identity, own), want in truth.items():
        if own != method or not identity.startswith(f"k{k}-") or "tau2" not in answers.get((identity, own), {}):
            continue
        got = answers[identity, own]
        scale = max(want["tau2"], want["se"] ** 2)
        found.append(max(difference(got[n], want[n], scale) for n in names if n in got and n in want))
    return (max(found), sum(d > AGREEMENT for d in found), len(found)) if found else None


def digits_table(engine, others, truth, sizes):
    lines = [
        "| k | method | numbers | engine | " + " | ".join(name for name, _ in others) + " |",
        "|---|---|---|---|" + "---|" * len(others),
    ]
    for k in sizes:
        for method in METHODS:
            for words, names in (("estimate, SE, tau2, limits", NUMBERS[:5]), ("Q-profile limits", NUMBERS[5:])):
                if method != "REML" and names != NUMBERS[:5]:
                    continue
                cells = [worst(a, truth, k, method, names) for a in (engine, *(a for _, a in others))]
                told = [f"{c[0]:.1e} ({c[1]} of {c[2]})" if c else "–" for c in cells]
                lines.append(f"| {k} | {method} | {words} | " + " | ".join(told) + " |")
    return lines


def times_table(engine, r, python):
    lines = ["| k | method | engine, ms | of it Q-profile | metafor, ms | ratio | statsmodels, ms | ratio |", "|---|---|---|---|---|---|---|---|"]
    for k in SIZES:
        for method in METHODS:
            keys = [key for key in engine if key[1] == method and key[0].startswith(f"k{k}-")]
            middle = lambda source: sorted(source[key]["seconds"] for key in keys if "seconds" in source.get(key, {}))
            own = middle(engine)
            own = own[len(own) // 2]
            profiles = sorted(engine[key]["q_profile_seconds"] for key in keys)
            profile = profiles[len(profiles) // 2]
            cells = []
            for source in (r, python):
                times = middle(source) if source else []
                if times:
                    other = times[len(times) // 2]
                    cells += [f"{1e3 * other:.3g}", f"{other / own:,.1f}"]
                else:
                    cells += ["–", "–"]
            lines.append(f"| {k} | {method} | {1e3 * own:.4f} | {1e3 * profile:.4f} | " + " | ".join(cells) + " |")
    return lines


def disagreements(r, truth, engine):
    """Every input on which metafor is further than 1e-8 from forty digits, with what the engine has there."""
    lines = []
    for (identity, method), got in (r or {}).items():
        if "tight_failed" in got:
            lines.append(f"- {identity} {method}: metafor with tight steps: {got['tight_failed']}; its usual ones were taken")
        want = truth.get((identity, method))
        if not want or "tau2" not in got:
            continue
        own = engine[identity, method]
        scale = max(want["tau2"], want["se"] ** 2)
        for name in NUMBERS:
            if name in got and name in want and difference(got[name], want[name], scale) > AGREEMENT:
                lines.append(
                    f"- {identity} {method} {name}: metafor {got[name]:.15g}, engine {own[name]:.15g}, "
                    f"forty digits {float(want[name]):.15g}"
                )
    return lines


def main():
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--engine", required=True, help="the built example side_by_side")
    options.add_argument("--seed", type=int, default=20260101)
    options.add_argument("--largest-r", type=int, default=1000, help="largest k handed to R")
    options.add_argument("--largest-exact", type=int, default=1000, help="largest k worked out in forty digits")
    asked = options.parse_args()
    pairs = inputs(asked.seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        nets = networks(asked.seed)
        engine, engine_nets = by_engine(asked.engine, folder, pairs, nets)
        python, python_words = by_python(pairs)
        r, r_words = by_r(folder, pairs, asked.largest_r)
        r_nets = networks_by_r(folder, nets) if r else None
    truth, hills = exact(pairs, asked.largest_exact)
    others = [(name, found) for name, found in (("metafor", r), ("statsmodels", python)) if found]
    print("# The engine beside reference libraries\n")
    print(f"{date.today()}, {platform.machine()}, {platform.system()}, one thread, in one run, seed {asked.seed}:\n")
    print("    python tests/side_by_side/run.py --engine target/release/examples/side_by_side\n")
    print(f"- {r_words}\n- {python_words}\n")
    print("## Times\n")
    print(
        "Median over the inputs of a size of the quickest of repeated calls. Engine: the whole answer with interval, Q, I², "
        "Q-profile limits and prediction. metafor: rma.uni, for REML with confint for the Q-profile, its usual settings. "
        "statsmodels: combine_effects.\n"
    )
    print("\n".join(times_table(engine, r, python)))
    print("\n## Digits\n")
    print(
        "Largest relative difference from a calculation in forty digits, and in brackets how many inputs lie beyond 1e-8. "
        "metafor with its steps set as tight as it takes; statsmodels with its usual ones (tolerance 1e-5 on the estimating "
        f"equation of PM). {hills} REML likelihoods had more than one hill.\n"
    )
    print("\n".join(digits_table(engine, others, truth, [k for k in SIZES if k <= asked.largest_exact])))
    found = disagreements(r, truth, engine)
    print(f"\n## Where metafor and forty digits differ by more than 1e-8: {len(found)} numbers\n")
    print("\n".join(found[:60]))
    if len(found) > 60:
        print(f"- and {len(found) - 60} more")
    print("\n## Networks, REML\n")
    if r_nets:
        print(
            "Engine: pool_network whole (fit, Q-profile, consistency; its contrasts are read off afterwards). metafor: one call "
            "of rma.mv with the covariance of every trial's contrasts in full, variance τ² and correlation ½ within a trial, "
            "its usual optimiser with the tightest tolerance at which it reports an end (1e-14 to 1e-10, on the likelihood). Near "
            "its top a likelihood is flat, so that τ² comes out with half as many digits as it; the engine finds the root of "
            "its slope.\n"
        )
        print("\n".join(networks_table(engine_nets, r_nets)))
    else:
        print("R with metafor is not installed: left out.")
    return 0


if __name__ == "__main__":
    sys.exit(main())

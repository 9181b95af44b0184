"""Compares readings with the truth: python3 compare.py OUT RESULTS

OUT is what make.py wrote, RESULTS what read.py wrote. Prints a table, the refusals, the
traps and the readings farthest off. U is twice the standard uncertainty."""
import glob
import json
import math
import os
import sys

import numpy as np


def compare(truth, result):
    row = dict(truth, outcome=result["outcome"], flags=result.get("flags", []))
    if result["outcome"] == "refused":
        row["code"] = result["refusal"]["code"]
        return row
    w = result["width"]
    row["width_mm"] = w["mean_mm"]
    t = truth["strip"]
    if not t:
        return row
    row["error"] = 100 * (w["mean_mm"] / t["mean"] - 1)
    row["u"] = 100 * w["u_mm"] / w["mean_mm"]
    row["z"] = (w["mean_mm"] - t["mean"]) / w["u_mm"]
    (x0, y0), (x1, y1) = [e["card_mm"] for e in result["ends"]]
    a, b = truth["ends"]
    ux, uy = b[0] - a[0], b[1] - a[1]
    n = math.hypot(ux, uy)
    span = ((x0 - x1) * ux + (y0 - y1) * uy) / n
    taper = t["slope"] * span * t["length"] / n  # the first end's width less the other's
    row["taper_error"] = 100 * (w["taper_mm"] - taper) / t["mean"]
    row["taper_z"] = (w["taper_mm"] - taper) / w["taper_u_mm"]
    return row


def line(title, rows):
    got = [r for r in rows if "error" in r]
    if not rows:
        return
    print("| %s (%d) | %.0f %% |" % (title, len(rows), 100 * len(got) / len(rows)), end="")
    if not got:
        print(" | | | |")
        return
    e, te = [np.abs([r[k] for r in got]) for k in ("error", "taper_error")]
    within, taper_within = [100 * np.mean(np.abs([r[k] for r in got]) <= 2) for k in ("z", "taper_z")]
    print(" %.2f %%, %.2f %% | %.2f %% | %.0f %% | %.2f %%, %.2f %% | %.0f %% |" % (
        np.median(e), np.percentile(e, 95), e.max(), within, np.median(te), np.percentile(te, 95), taper_within))


def main():
    out, results = sys.argv[1:3]
    rows = []
    for file in sorted(glob.glob(os.path.join(out, "*.json"))):
        truth = json.load(open(file))
        done = os.path.join(results, truth["name"] + ".json")
        if os.path.exists(done):
            rows.append(compare(truth, json.load(open(done))["results"][0]))
    traps = [r for r in rows if r["kind"].startswith("trap")]
    pairs = [r for r in rows if r["kind"].startswith("pair")]
    plain = [r for r in rows if r not in traps and r not in pairs]
    print("| photos | read | width error: median, 95th percentile | largest | within U | taper error | within U |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for cls in ("good", "fair", "poor"):
        line(cls, [r for r in plain if r["cls"] == cls])
    for kind in sorted({r["kind"] for r in plain}):
        line(kind, [r for r in plain if r["kind"] == kind])
    line("pairs", pairs)
    print("\nrefused:")
    for r in plain + pairs:
        if r["outcome"] == "refused":
            print(r["name"], r["code"])
    print("\ntraps:")
    for r in traps:
        print(r["name"], r["outcome"], r.get("code", ""), r["flags"])
    print("\nfar off:")
    for r in plain + pairs:
        if "error" in r and (abs(r["error"]) > 3 or abs(r["z"]) > 2):
            print("%s error %+.2f %% u %.2f %% z %+.1f" % (r["name"], r["error"], r["u"], r["z"]), r["flags"])


if __name__ == "__main__":
    main()

"""Reads plain photos and compares: python3 compare.py PROGRAM OUT RESULTS

PROGRAM is the built stripgap, OUT what make.py wrote. Each reading's JSON goes to
RESULTS/NAME.json. The program is told that card and strip lie on one flat face, and that
the card's sheet is printed right."""
import glob
import json
import os
import subprocess
import sys

import numpy as np

from make import SERIAL


def read(program, out, results):
    env = dict(os.environ, XDG_CONFIG_HOME=os.path.abspath(os.path.join(results, "settings")))
    subprocess.run([program, "card", "check", "--serial", SERIAL, "--across", "150.0 mm", "--down", "200.0 mm"],
                   env=env, check=True, stdout=subprocess.DEVNULL)
    for path in sorted(glob.glob(os.path.join(out, "*.json"))):
        with open(path) as f:
            truth = json.load(f)
        done = os.path.join(results, truth["name"] + ".json")
        if not os.path.exists(done):
            run = subprocess.run([program, "read", path[:-5] + ".jpg", "--flat", "--format", "json"],
                                 env=env, capture_output=True, text=True)
            with open(done, "w") as f:
                f.write(run.stdout)
        with open(done) as f:
            yield truth, json.load(f)["results"][0]


def row(name, pairs):
    w = [(r["width"], t["width_mm"]) for t, r in pairs if r["outcome"] == "read"]
    e = np.array([100 * (got["mean_mm"] / want - 1) for got, want in w])
    z = np.array([(got["mean_mm"] - want) / got["u_mm"] for got, want in w])
    print(f"| {name} ({len(pairs)}) | {100 * len(w) / len(pairs):.0f} % | {np.median(abs(e)):.2f} %, {np.quantile(abs(e), 0.95):.2f} % "
          f"| {max(abs(e)):.2f} % | {np.median(e):+.2f} % | {100 * np.mean(abs(z) <= 2):.0f} % |")


def main():
    program, out, results = os.path.abspath(sys.argv[1]), sys.argv[2], sys.argv[3]
    os.makedirs(results, exist_ok=True)
    pairs = list(read(program, out, results))
    print("| photos | read | width error: median, 95th percentile | largest | median with its sign | within U |")
    print("| --- | --- | --- | --- | --- | --- |")
    row("all", pairs)
    row("mixed in linear light", [p for p in pairs if p[0]["linear"]])
    row("mixed by displayed values", [p for p in pairs if not p[0]["linear"]])
    for key in ("card", "finish"):
        for v in sorted({t[key] for t, _ in pairs}):
            row(v, [p for p in pairs if p[0][key] == v])
    for t, r in pairs:
        if r["outcome"] != "read":
            print(t["name"], r["refusal"]["code"], t["colour"], "on", t["finish"])


if __name__ == "__main__":
    main()

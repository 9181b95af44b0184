"""Reads the photos: python3 read.py PROGRAM OUT RESULTS [--jobs N]

PROGRAM is the built stripgap, OUT what make.py wrote. Each reading's JSON goes to
RESULTS/NAME.json. A check of the sheet is told to the program where the print's scale
is not 1; the thickness of the card's board never is."""
import argparse
import concurrent.futures
import glob
import json
import os
import subprocess

from card import SHEETS


def check_prints(program, folder):
    """Keeps the check of both sheets in a folder of settings of its own."""
    os.makedirs(folder, exist_ok=True)
    env = dict(os.environ, XDG_CONFIG_HOME=os.path.abspath(folder))
    for serial, _ in SHEETS.values():
        subprocess.run([program, "card", "check", "--serial", serial, "--across", "149.6 mm", "--down", "200.4 mm"],
                       env=env, check=True, stdout=subprocess.DEVNULL)


def read(program, out, results, truth):
    done = os.path.join(results, truth["name"] + ".json")
    if os.path.exists(done):
        return
    folder = os.path.join(results, "settings", "checked" if truth["checked"] else "none")
    env = dict(os.environ, XDG_CONFIG_HOME=os.path.abspath(folder))
    photos = [os.path.join(out, p["file"]) for p in truth["photos"]]
    run = subprocess.run([program, "read", *photos, *truth["args"], "--format", "json", "--jobs", "1"],
                         env=env, capture_output=True, text=True)
    try:
        json.loads(run.stdout)
    except ValueError:
        print(truth["name"], "exit", run.returncode, run.stderr[:500])
        return
    with open(done, "w") as f:
        f.write(run.stdout)


def main():
    p = argparse.ArgumentParser()
    p.add_argument("program")
    p.add_argument("out")
    p.add_argument("results")
    p.add_argument("--jobs", type=int, default=1)
    a = p.parse_args()
    program = os.path.abspath(a.program)
    check_prints(program, os.path.join(a.results, "settings", "checked"))
    truths = [json.load(open(f)) for f in sorted(glob.glob(os.path.join(a.out, "*.json")))]
    with concurrent.futures.ThreadPoolExecutor(a.jobs) as pool:
        list(pool.map(lambda t: read(program, a.out, a.results, t), truths))


if __name__ == "__main__":
    main()

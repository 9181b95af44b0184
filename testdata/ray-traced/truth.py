"""Copies photos here and writes truth.json: python3 truth.py OUT NAME[=REFUSAL]...
A pair is LEFT+RIGHT."""
import json
import shutil
import sys

out, *names = sys.argv[1:]
readings = []
for entry in names:
    name, _, refusal = entry.partition("=")
    parts = [json.load(open(f"{out}/{n}.json")) for n in name.split("+")]
    for p in parts:
        shutil.copy(f"{out}/{p['name']}.jpg", ".")
    told = {k: v for k, v in parts[0]["told"].items() if k != "pair"}
    r = {"photos": [p["name"] + ".jpg" for p in parts], "sha256": [p["sha256"] for p in parts], "told": told,
         **({"refusal": refusal} if refusal else {}), **parts[0]["strips"][0]}
    readings.append(r)
with open("truth.json", "w") as f:
    f.write('{"readings": [\n' + ",\n".join(json.dumps(r) for r in readings) + "\n]}\n")

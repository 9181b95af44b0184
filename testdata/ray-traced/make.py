"""Renders scenes: python3 make.py PROGRAM OUT SCENES.json [NAME...]

PROGRAM is the built stripgap, which draws the card. Each scene becomes OUT/NAME.jpg
and OUT/NAME.json, its truth."""
import hashlib
import json
import os
import re
import subprocess
import sys
import zlib

import cv2
import numpy as np
from scipy.ndimage import map_coordinates

import camera
import card
from scene import Camera, text as scene_text

FINE = 1  # traced samples a pixel, each way, where it matters; at edges POV-Ray takes sixteen rays for one


def trace(text, cam, box, fine, out, flags):
    """Traces part of a picture, or takes what was traced of the same text before; float,
    linear."""
    x0, y0, x1, y1 = box
    text += cam.pov(*box)
    if not (os.path.exists(out + ".png") and open(out + ".pov").read() == text):
        run(text, out, round((x1 - x0) * fine), round((y1 - y0) * fine), flags)
    return cv2.cvtColor(cv2.imread(out + ".png", -1), cv2.COLOR_BGR2RGB).astype(np.float32) / 65535


def run(text, out, w, h, flags):
    if os.path.exists(out + ".png"):
        os.remove(out + ".png")
    with open(out + ".pov", "w") as f:
        f.write(text)
    log = subprocess.run(["povray", f"+I{out}.pov", f"+O{out}.png", f"+W{w}", f"+H{h}", "+FN16", "File_Gamma=1.0",
                          "-D", "+WT1", *flags], capture_output=True, text=True)
    if log.returncode:
        sys.exit(log.stderr[-3000:])


def region(cam, scene, strips):
    """Pixels round card and strips."""
    w, h = card.SIZE[scene["card"]["layout"]]
    pts = [cam.pixel((x, y, 0)) for x in (-w / 2, w / 2) for y in (-h / 2, h / 2)]
    pts += [cam.pixel(p.axis(s)) for p in strips for s in (p.s[0], p.s[-1])]
    lo, hi = np.min(pts, 0) - 75, np.max(pts, 0) + 75
    lo, hi = np.maximum(lo, -40), np.minimum(hi, [cam.w + 40, cam.h + 40])
    return [int(v) for v in (*lo, *hi)]


def photo(scene, program, out, work):
    os.makedirs(work, exist_ok=True)
    rng = np.random.default_rng([scene["seed"], zlib.crc32(scene["name"].encode())])
    png, span = card.texture(program, scene["card"], work, scene["seed"])
    text, strips = scene_text(scene, png, span, work)
    cam, o = Camera(scene["camera"]), scene["optics"]
    pad = 96
    full = (-pad, -pad, cam.w + pad, cam.h + pad)
    # Far off, metal without its lines, which would need many rays to look smooth, and
    # without the card's mirror image, which they would blur.
    plain = re.sub(r" normal \{ average.*?\} \}", "", text).replace("uv_mapping", "no_reflection uv_mapping")
    wide = trace(plain, cam, full, 0.3, work + "/wide", ["+A0.1", "+AM1", "+R2", "+AG1.0"])
    box = region(cam, scene, strips)
    near = trace(text, cam, box, FINE, work + "/near", ["+A0.05", "+AM1", "+R4", "+AG1.0", "+J1.0"])
    exposure = scene["develop"]["expose"]
    wide, near = wide * exposure, near * exposure
    wide, _ = camera.lens(cv2.resize(wide, (cam.w + 2 * pad, cam.h + 2 * pad), interpolation=cv2.INTER_CUBIC), 1, o)
    near, shift = camera.lens(near, FINE, o)  # what a pixel's square gathers is POV-Ray's own mean where FINE is 1
    x0, y0, x1, y1 = box
    mx, my = camera.pinhole_map(cam, o, 1.0, (0, 0, cam.w, cam.h))
    rgb = cv2.remap(wide, mx + pad, my + pad, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    inside = np.argwhere((mx > x0 + 2) & (mx < x1 - 3) & (my > y0 + 2) & (my < y1 - 3))
    (r0, c0), (r1, c1) = inside.min(0), inside.max(0) + 1
    for i, gain in enumerate(o["fringe"]):  # colour by colour: the lens magnifies each by its own
        mx, my = camera.pinhole_map(cam, o, gain, (c0, r0, c1, r1))
        # Sample k of the fine picture lies at x0 - 0.5 + (k + 0.5) / FINE.
        sharp = sample(near[..., i], (mx - x0 + 0.5) * FINE - 0.5 + shift, (my - y0 + 0.5) * FINE - 0.5 + shift)
        seam = np.clip(np.minimum.reduce([mx - x0 - 4, x1 - 5 - mx, my - y0 - 4, y1 - 5 - my]) / 40, 0, 1)
        rgb[r0:r1, c0:c1, i] += seam * (sharp - rgb[r0:r1, c0:c1, i])
    d = scene["develop"]
    camera.save(f"{out}/{scene['name']}.jpg", camera.develop(rgb, d, rng), d, scene["camera"]["focal35"])
    truth = {"name": scene["name"], "told": scene["told"], "strips": [s.truth() for s in strips]}
    truth["sha256"] = hashlib.sha256(open(f"{out}/{scene['name']}.jpg", "rb").read()).hexdigest()
    with open(f"{out}/{scene['name']}.json", "w") as f:
        json.dump(truth, f)
    print(truth)


def sample(a, x, y):
    """A cubic spline through the samples: OpenCV's own interpolation rounds places to a
    32nd of a sample."""
    return map_coordinates(a, [y, x], order=3, mode="nearest", output=np.float32)


if __name__ == "__main__":
    program, out, path, *names = sys.argv[1:]
    os.makedirs(out, exist_ok=True)
    for s in json.load(open(path)):
        if not names or s["name"] in names:
            photo(s, program, out, f"{out}/work-{s.get('trace', s['name'])}")

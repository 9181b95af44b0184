"""Renders scenes: python3 make.py PROGRAM OUT [--seed N] [--count N] [--only WORD] [--jobs N]

PROGRAM is the built stripgap, which draws the card. Each scene becomes OUT/NAME.jpg, or
NAME-l.jpg and NAME-r.jpg of a pair, and OUT/NAME.json, its truth. What is there is kept."""
import argparse
import json
import math
import multiprocessing
import os

import cv2
import numpy as np

from camera import develop, save
from card import SHEETS, CARDS, print_cards
from geometry import metal_point
from optics import photo
from phone import draw_phone, expose, finish, hold
from scene import make_scene
from scenes import scenes


def told(s):
    """What a mechanic tells the program."""
    d, R = s.draw, s.R
    if s.pair:
        return ["--pair"]
    if s.on == "flat":
        return ["--flat"]
    if s.on == "raised":
        return ["--height", "%.1f" % (s.height + d.n(0, 0.2)), "--height-u", "0.3"]
    return ["--%s-radius" % s.on, "%.1f" % (R * (1 + d.n(0, 0.005)))]


def ends(s):
    """The strip's ends in the card's frame, mm."""
    C, x, y, n = s.card_pose
    c, k = math.cos(s.s_ang), math.sin(s.s_ang)
    P = [metal_point(s, s.s_x0 + c * a, s.s_v0 + k * a) - C for a in (-s.length / 2, s.length / 2)]
    return [[float(p @ e) for e in (x, y, n)] for p in P]


def render(out, name, cls, kind, seed):
    s = make_scene(cls, kind, seed)
    draw_phone(s)
    photos = []
    for i in range(len(s.views)):
        seen = hold(s, i, out)
        base, roi = photo(s)
        expose(s, roi)
        rng = np.random.default_rng(seed * 7 + i)
        z = develop(s, base, roi, rng)
        finish(s, rng)
        file = name + ("" if len(s.views) == 1 else "-" + "lr"[i]) + ".jpg"
        save(s, z, os.path.join(out, file))
        scale = 0.5 if s.resize else 1
        photos.append(dict(file=file, width_px=s.width * s.px_mm * scale, all_seen=seen, crop=s.crop, halved=s.halved))
    serial = SHEETS[CARDS[s.card][0]][0]
    truth = dict(name=name, cls=cls, kind=kind, seed=seed, photos=photos, args=told(s), serial=serial,
                 checked=s.checked, board_mm=s.card_t, strip=s.true, ends=ends(s), orient=s.orient,
                 metal=s.metal, finish=s.finish, colour=s.colour)
    with open(os.path.join(out, name + ".json"), "w") as f:
        json.dump(truth, f, indent=1)
    print(name, flush=True)


def main():
    p = argparse.ArgumentParser()
    p.add_argument("program")
    p.add_argument("out")
    p.add_argument("--seed", type=int, default=9000)
    p.add_argument("--count", type=int, default=14)
    p.add_argument("--only", default="", help="render only scenes with this word in their name")
    p.add_argument("--jobs", type=int, default=1)
    a = p.parse_args()
    cv2.setNumThreads(1)
    os.makedirs(a.out, exist_ok=True)
    print_cards(os.path.abspath(a.program), a.out)
    todo = [(a.out, *x) for x in scenes(a.seed, a.count) if a.only in x[0]]
    todo = [x for x in todo if not os.path.exists(os.path.join(a.out, x[1] + ".json"))]
    with multiprocessing.Pool(a.jobs) as pool:
        pool.starmap(render, todo, 1)


if __name__ == "__main__":
    main()

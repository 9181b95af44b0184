"""Puts plain photos of a card and a strip together with OpenCV:
python3 make.py PROGRAM OUT [--seed N] [--count N]

Each scene is drawn flat at 1200 dots to the inch, seen through one homography, blurred
by a Gaussian and given noise. Half are mixed and blurred in linear light, half by their
displayed values, as image editors do. What is true goes to OUT/NAME.json."""
import argparse
import json
import os
import subprocess

import cv2
import numpy as np
from PIL import Image

SERIAL = "6C3H2P"
PER_MM = 1200 / 25.4  # px of the flat drawing
FLAT = {"bench": (130, 110), "rider": (60, 46)}  # mm drawn round each card
SIZES = [(4000, 3000), (4032, 3024), (3264, 2448), (3000, 2250)]
COLOURS = {
    "black": (20, 20, 20), "white": (245, 245, 245), "red": (220, 30, 30), "green": (0, 170, 60),
    "dark green": (20, 80, 40), "blue": (30, 60, 220), "yellow": (240, 220, 40), "magenta": (200, 40, 160),
    "full red": (255, 0, 0), "full green": (0, 255, 0), "full blue": (0, 0, 255),
}
EXIF, FOCAL_35MM = 0x8769, 41989


def light(v):
    """IEC 61966-2-1, displayed to linear, both 0 to 1."""
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def displayed(l):
    return np.where(l <= 0.0031308, l * 12.92, 1.055 * np.maximum(l, 1e-9) ** (1 / 2.4) - 0.055)


def cards(program, out, dpi):
    """Both cards as the program draws them, at 1200 dots to the inch."""
    drawn = {}
    for layout in FLAT:
        path = os.path.join(out, "cards", f"{layout}-{dpi}.png")
        os.makedirs(os.path.dirname(path), exist_ok=True)
        subprocess.run([program, "card", "print", "--card", layout, "--dpi", str(dpi), "--serial", SERIAL,
                        "--out", path, "--force"], check=True, stdout=subprocess.DEVNULL)
        grey = cv2.imread(path, cv2.IMREAD_GRAYSCALE)
        drawn[layout] = cv2.resize(grey, None, fx=1200 / dpi, fy=1200 / dpi, interpolation=cv2.INTER_LINEAR)
    return drawn


def metal(rng, finish, level, w, h):
    m = np.empty((h, w, 3), np.float32)
    m[:] = level * (np.array([1.05, 0.95, 0.8]) if rng.random() < 0.3 else 1)
    if finish == "gradient":
        m *= np.linspace(rng.uniform(0.8, 1), rng.uniform(1, 1.2), w, dtype=np.float32)[None, :, None]
    elif finish == "speckled":
        speck = rng.normal(0, 1, (h, w)).astype(np.float32)
        m += cv2.GaussianBlur(speck, (0, 0), rng.uniform(1, 4))[..., None] * rng.uniform(10, 60)
    elif finish == "brushed":
        line = rng.normal(0, 1, (h, 1)).astype(np.float32)
        m += (cv2.GaussianBlur(line, (1, 0), sigmaX=1, sigmaY=rng.uniform(1, 5)) * rng.uniform(5, 30))[..., None]
    return m


def draw(rng, t, drawn):
    """The flat scene, displayed values 0 to 1, and linear light where t says so."""
    card = drawn[t["card"]]
    w_mm, h_mm = FLAT[t["card"]]
    w, h = int(w_mm * PER_MM), int(h_mm * PER_MM)
    flat = metal(rng, t["finish"], t["level"], w, h)
    middle = np.array([w_mm / 2, 0.63 * h_mm])
    x0, y0 = (np.rint(middle * PER_MM) - np.array(card.shape[::-1]) // 2).astype(int)
    flat[y0:y0 + card.shape[0], x0:x0 + card.shape[1]] = (t["ink"] + (t["paper"] - t["ink"]) * card / 255.0)[..., None]

    length, width, angle = t["length_mm"], t["width_mm"], np.radians(t["angle_deg"])
    gap = rng.uniform(5, 20) if t["card"] == "bench" else rng.uniform(1.5, 4.5)
    off = card.shape[0] / PER_MM / 2 + gap + width / 2 + length / 2 * abs(np.sin(angle))
    at = middle + (rng.uniform(-5, 5), -off)
    top, bottom = max(0, int((at[1] - length) * PER_MM)), min(h, int((at[1] + length) * PER_MM))
    y, x = np.mgrid[top:bottom, 0:w].astype(np.float32)
    dx, dy = (x + 0.5) / PER_MM - at[0], (y + 0.5) / PER_MM - at[1]
    along, across = dx * np.cos(angle) - dy * np.sin(angle), dx * np.sin(angle) + dy * np.cos(angle)
    half = width / 2 + t["taper_mm"] / 2 * along / length
    film = np.clip((half - abs(across)) * PER_MM + 0.5, 0, 1) * np.clip((length / 2 - abs(along)) * PER_MM + 0.5, 0, 1)

    flat = np.clip(flat / 255, 0, 1)
    colour = np.array(COLOURS[t["colour"]]) / 255
    if t["linear"]:
        flat, colour = light(flat).astype(np.float32), light(colour)
    part = flat[top:bottom]
    flat[top:bottom] = part + (colour - part) * film[..., None]
    return flat


def photograph(rng, t, flat):
    w_mm, h_mm = FLAT[t["card"]]
    w, h = t["size"]
    focal = t["focal_35mm"] / np.hypot(36, 24) * np.hypot(w, h)  # px, CIPA DCG-001
    distance = focal * 1.05 * w_mm / w
    tilt, towards, roll = np.radians(t["tilt_deg"]), rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(-20, 20))
    back = np.array([np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)])
    right = np.cross([np.sin(roll), np.cos(roll), 0], back)
    right /= np.linalg.norm(right)
    camera = np.stack([right, -np.cross(back, right), -back])
    lens = np.array([[focal, 0, (w - 1) / 2], [0, focal, (h - 1) / 2], [0, 0, 1]])
    seen = lens @ np.column_stack([camera[:, 0], camera[:, 1], -camera @ back * distance])
    mm = np.array([[1 / PER_MM, 0, 0.5 / PER_MM - w_mm / 2], [0, -1 / PER_MM, h_mm / 2 - 0.5 / PER_MM], [0, 0, 1]])
    double = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1.0]])
    big = cv2.warpPerspective(flat, double @ seen @ mm, (2 * w, 2 * h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    photo = cv2.GaussianBlur(cv2.resize(big, (w, h), interpolation=cv2.INTER_AREA), (0, 0), t["blur_px"])
    t["width_px"] = t["width_mm"] * focal / distance
    if t["linear"]:
        photo = displayed(photo)
    photo = 255 * photo + rng.normal(0, 1, photo.shape) * t["noise"]
    return np.clip(np.rint(photo), 0, 255).astype(np.uint8)


def scene(rng, name):
    width = rng.uniform(0.8, 4.5)
    card = str(rng.choice(list(FLAT)))
    turn = 12 if card == "bench" else 5
    return {
        "name": name, "card": card, "linear": bool(rng.random() < 0.5), "dpi": int(rng.choice([600, 1200])),
        "finish": str(rng.choice(["even", "gradient", "speckled", "brushed"])), "level": rng.uniform(90, 200),
        "paper": rng.uniform(215, 250), "ink": rng.uniform(10, 50), "colour": str(rng.choice(list(COLOURS))),
        "width_mm": width, "taper_mm": float(rng.choice([0, rng.uniform(-0.2, 0.2) * width])),
        "length_mm": rng.uniform(12, 26), "angle_deg": rng.uniform(-turn, turn),
        "size": SIZES[rng.integers(len(SIZES))], "focal_35mm": int(rng.choice([24, 26, 28])), "exif": bool(rng.random() < 0.5),
        "tilt_deg": rng.uniform(0, 18), "blur_px": rng.uniform(0.5, 1.8),
        "noise": float(rng.choice([0, rng.uniform(0, 4), rng.uniform(0, 4)])), "quality": int(rng.choice([75, 85, 92, 98])),
    }


def main():
    p = argparse.ArgumentParser()
    p.add_argument("program")
    p.add_argument("out")
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--count", type=int, default=100)
    a = p.parse_args()
    drawn = {dpi: cards(os.path.abspath(a.program), a.out, dpi) for dpi in (600, 1200)}
    for i in range(a.count):
        rng = np.random.default_rng([a.seed, i])
        t = scene(rng, f"p{i:03d}")
        photo = photograph(rng, t, draw(rng, t, drawn[t["dpi"]]))
        exif = Image.Exif()
        if t["exif"]:
            exif.get_ifd(EXIF)[FOCAL_35MM] = t["focal_35mm"]
        Image.fromarray(photo).save(os.path.join(a.out, t["name"] + ".jpg"), quality=t["quality"], exif=exif)
        with open(os.path.join(a.out, t["name"] + ".json"), "w") as f:
            json.dump(t, f, indent=1)


if __name__ == "__main__":
    main()

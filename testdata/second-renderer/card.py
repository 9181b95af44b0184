"""The printed card: the program's own PDF rasterised, toner spread and made ragged."""
import json
import os
import subprocess

import cv2
import numpy as np
from scipy.special import ndtr

from texture import noise

DPI = 2400
MARGIN = 2.0  # mm of paper kept round a card
SHEETS = {"sheet": ("CW472N", []), "tags": ("FC3WKD", ["--tags", "M1,M2,ROD 4,R5/L"])}
CARDS = {"bench": ("sheet", 0), "rider": ("sheet", 2), "tag0": ("tags", 1), "tag1": ("tags", 2),
         "tag2": ("tags", 3), "tag3": ("tags", 4)}  # sheet and the card's place in it


def print_cards(program, out):
    """Prints both sheets and rasterises each card to out/cards."""
    folder = os.path.join(out, "cards")
    os.makedirs(folder, exist_ok=True)
    for sheet, (serial, more) in SHEETS.items():
        base = os.path.join(folder, sheet)
        if not os.path.exists(base + ".json"):
            subprocess.run([program, "card", "print", "--out", base + ".pdf", "--placements", base + ".json",
                            "--serial", serial, *more], check=True, stdout=subprocess.DEVNULL)
    for name, (sheet, i) in CARDS.items():
        base = os.path.join(folder, name)
        if not os.path.exists(base + ".pgm"):
            x, y, w, h = crop(folder, name)
            subprocess.run(["pdftoppm", "-gray", "-singlefile", "-r", str(DPI), "-x", str(x), "-y", str(y),
                            "-W", str(w), "-H", str(h), os.path.join(folder, sheet + ".pdf"), base], check=True)


def card_of(folder, name):
    sheet, i = CARDS[name]
    with open(os.path.join(folder, sheet + ".json")) as f:
        return json.load(f)["cards"][i]


def crop(folder, name):
    """x, y, width and height of a card with its margin, dots of the sheet."""
    c = card_of(folder, name)
    (cx, cy), w, h, k = c["centre_sheet_mm"], c["width_mm"], c["height_mm"], DPI / 25.4
    return [round(v * k) for v in (cx - w / 2 - MARGIN, cy - h / 2 - MARGIN, w + 2 * MARGIN, h + 2 * MARGIN)]


def card_map(out, name, rng, spread_um, px_per_mm, ragged):
    """Cover of ink, 0 to 255, at about px_per_mm; its dots a mm each way and the card's
    centre in it. Every edge of ink moves outward by spread_um."""
    folder = os.path.join(out, "cards")
    a = 255 - cv2.imread(os.path.join(folder, name + ".pgm"), 0)
    x, y, _, _ = crop(folder, name)
    k = DPI / 25.4
    cx, cy = [v * k - o for v, o in zip(card_of(folder, name)["centre_sheet_mm"], (x, y))]
    sigma = max(1.0, ragged) + 1.0  # dots
    b = cv2.GaussianBlur(a, (0, 0), sigma)
    if ragged > 0:
        n = np.clip(128 + 28 * noise(rng, 1024, 2.0, 2.0), 0, 255).astype(np.uint8)
        H, W = b.shape
        part = 0.35 * min(ragged / 1.5, 1.5)
        b = cv2.addWeighted(b, 1.0, np.tile(n, (H // 1024 + 1, W // 1024 + 1))[:H, :W], part, -128 * part)
    threshold = 255 * ndtr(-spread_um / (25400 / DPI) / sigma)  # where a blurred edge crosses it is the spread's place
    lut = np.clip((np.arange(256) - threshold) / 20 + 0.5, 0, 1) * 255
    b = cv2.LUT(b, lut.astype(np.uint8))
    if px_per_mm < k:
        b = cv2.resize(b, None, fx=px_per_mm / k, fy=px_per_mm / k, interpolation=cv2.INTER_AREA)
    sx, sy = b.shape[1] / a.shape[1], b.shape[0] / a.shape[0]
    return b, (k * sx, k * sy), (cx * sx - 0.5, cy * sy - 0.5)

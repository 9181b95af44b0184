"""Who takes the photo: draws the phone's lens, place, sensor and processing by chance."""
import math

import numpy as np

from card import card_map
from geometry import Camera, look_at, metal_point

SENSORS = [(4000, 3000), (4032, 3024), (3264, 2448), (4000, 2250), (4624, 3468)]


def draw_phone(s):
    """The lens and where it is held, and all that is the same in both photos of a pair."""
    d, q, bench = s.draw, s.draw.cls, s.layout == "bench"
    W, H = SENSORS[int(d.rng.choice(5, p=[0.35, 0.3, 0.15, 0.1, 0.1]))]
    if d.rng.random() < 0.35:
        W, H = H, W
    s.f35 = d.pick(24, 25, 26, 26, 27)
    s.true_f35 = s.f35 * (1 + d.u(0, 0.035) + d.n(0, 0.008))  # what EXIF tells is not what the lens is
    if q == 2 and d.rng.random() < 0.3:
        s.true_f35 *= d.pick(0.93, 1.07)
    f = s.true_f35 / 43.2666 * math.hypot(W, H)
    k1, k2 = d.n(0, 0.012), d.n(0, 0.008)
    if d.rng.random() < 0.2:
        k1 = d.pick(-0.05, 0.05, -0.08) * d.u(0.6, 1)
        k2 = -k1 * d.u(0, 0.8)
    s.lens = (W, H, f, k1, k2)
    s.away = d.u(125, 185) if bench else d.u(80, 130)
    if q == 2 and d.rng.random() < 0.3:
        s.away *= 1.3
    s.target = s.card_pose[0] * 0.5 + metal_point(s, s.s_x0, s.s_v0) * 0.5
    hw, hh = s.card_half
    if bench:  # far enough to see all
        w = s.width
        extent = max((hh * 2 + s.gap + w + 6) / min(W, H), (hw * 2 + 8) / max(W, H))
        s.away = max(s.away, 1.08 * f * extent)
    if s.pair:
        first = d.pick(-1, 1)
        s.views = [(math.radians(d.u(10, 19)), k * math.pi / 2 + d.n(0, 0.3)) for k in (first, -first)]
    else:
        s.views = [(abs(d.n(0, math.radians(d.by(4, 7, 11)))), d.u(0, 6.28))]
    if bench:
        s.roll = (0 if W > H else math.pi / 2) + d.pick(0, math.pi) + d.n(0, 0.06)
    else:
        s.roll = d.pick(0, 1, 2, 3) * math.pi / 2 + d.n(0, 0.15)
    draw_processing(s, f)


def draw_processing(s, f):
    d, q = s.draw, s.draw.cls
    s.full_well = np.exp(d.u(*[math.log(a) for a in d.by((5000, 15000), (1500, 6000), (400, 1800))]))
    s.read_noise = d.u(2, 4)
    s.demosaic = d.pick("ea", "ea", "bil")
    s.wb_raw = np.array([d.u(0.5, 0.8), 1.0, d.u(0.45, 0.8)])
    blue = d.u(0.94, 1.06) if q == 0 else d.u(0.85, 1.15)
    s.wb_cast = np.array([blue, 1.0, d.u(0.94, 1.06) if q == 0 else d.u(0.85, 1.18)])
    s.vignetting = d.u(0, 0.25)
    s.denoise = d.u(0, 1.5) if q == 0 else d.u(0.5, d.by(0, 3.0, 4.5))
    s.local = 0.0 if d.rng.random() < d.by(0.5, 0.35, 0.25) else d.u(0.1, d.by(0.2, 0.35, 0.5))
    s.local_sigma, s.local_kind = d.u(6, 20), d.pick("gauss", "bil")
    s.tone = d.pick("srgb", "filmic", "shoulder", "reinhard")
    s.contrast = d.u(0, d.by(0.3, 0.5, 0.7))
    s.black = d.pick(0.0, 0.0, -0.03, 0.03)
    s.saturation = d.u(0.9, 1.35)
    s.sharpen = (d.u(0.15, d.by(0.6, 1.2, 2.0)), d.u(0.7, d.by(1.1, 1.6, 2.2)), d.pick(0, 0, 0.25, 0.6))
    s.sharpen_from = d.u(0, 0.012)
    s.quality = int(d.u(*d.by((88, 97), (80, 95), (68, 90))))
    s.subsampling = d.pick(0, 2, 2)
    s.orient = int(d.rng.choice([1, 3, 6, 8, 2, 4, 5, 7], p=[0.4, 0.12, 0.2, 0.12, 0.04, 0.04, 0.04, 0.04]))
    s.exif = str(d.rng.choice(["full", "f35", "none"], p=[0.6, 0.2, 0.2]))
    s.psf_sigma = d.u(0.4, 0.75)
    s.aperture = f * d.u(1.4, 2.6)
    s.motion = (abs(d.n(0, d.by(0.4, 1.0, 2.2))), d.u(0, 6.28))
    s.exposure = d.u(0.45, 0.8) if q < 2 else d.u(0.35, 1.05)
    s.focus_off = [d.n(0, d.by(0.8, 2.0, 4.0)) for _ in s.views]
    crop = d.rng.random() < 0.12
    halved = (q == 2 and d.rng.random() < 0.2) or (q == 1 and d.rng.random() < 0.05)
    s.halved = halved and not s.pair  # as a messenger sends it
    s.cropped = crop and q > 0 and not s.pair


def hold(s, i, out):
    """Holds the phone for view i: camera, focus, the part worth rendering finely and the card's print."""
    d, (W, H, f, k1, k2), (tilt, az) = s.draw, s.lens, s.views[i]
    off = d.n(0, 2.0, 3) * np.array([1, 1, 0])
    away = s.away * (1 if i == 0 else d.u(0.94, 1.06))
    roll = s.roll + (0 if i == 0 else d.n(0, 0.05))
    O, R = look_at(s.target + off, np.array([0, 0, 1.0]), away, tilt, az, roll)
    s.cam = Camera(W, H, f, W / 2 - 0.5 + d.n(0, 0.004) * W, H / 2 - 0.5 + d.n(0, 0.004) * W, k1, k2, O, R)
    C, x, y, _ = s.card_pose
    hw, hh = s.card_half
    s.focus = s.cam.depth(metal_point(s, s.s_x0, s.s_v0) * 0.6 + C * 0.4) + s.focus_off[i]
    corners = [C + a * x * (hw + 1) + b * y * (hh + 1) for a in (-1, 1) for b in (-1, 1)]
    c, n = math.cos(s.s_ang), math.sin(s.s_ang)
    ends, sides = np.linspace(-s.length / 2 - 2, s.length / 2 + 2, 9), (-s.width / 2 - 4, s.width / 2 + 4)
    strip = [metal_point(s, s.s_x0 + c * a - n * b, s.s_v0 + n * a + c * b) for a in ends for b in sides]
    P = s.cam.project(np.array(corners + strip))
    (x0, y0), (x1, y1) = P.min(0), P.max(0)
    m = 30
    s.roi = (max(0, int(x0) - m) // 2 * 2, max(0, int(y0) - m) // 2 * 2,
             min(W, int(x1) + m) // 2 * 2, min(H, int(y1) + m) // 2 * 2)
    s.px_mm = f / s.cam.depth(metal_point(s, 0, s.s_v0))
    if i == 0:
        s.card_map, s.card_ppm, s.card_centre = card_map(out, s.card, d.rng, s.spread_um, s.px_mm * 2.3, d.u(0, 1.2))
    return bool(x0 > 5 and y0 > 5 and x1 < W - 5 and y1 < H - 5)


def expose(s, roi):
    """Sets the gain so that the card's paper comes out at s.exposure."""
    C, x, y, _ = s.card_pose
    hw, hh = s.card_half
    (W, H), (x0, y0, _, _) = s.lens[:2], s.roi
    white = []
    for a, b in s.cam.project(np.array([C + 0.55 * hw * x * k + 0.1 * hh * y for k in (-1, -0.2, 0.4, 1)])):
        if 20 < a < W - 20 and 20 < b < H - 20:
            part = roi[max(0, int(b - y0) - 20) : int(b - y0) + 20, max(0, int(a - x0) - 20) : int(a - x0) + 20]
            white.append(np.percentile(part.mean(-1), 80))
    paper = float(s.paper[1])
    s.gain = s.exposure / (paper * max(0.3, float(np.median(white)) / paper))


def finish(s, rng):
    """How the photo is sent on: halved or cropped."""
    s.resize = s.crop = None
    W, H = s.lens[:2]
    if s.halved:
        s.resize, s.quality, s.exif = (W // 2, H // 2), int(rng.uniform(70, 82)), "none"
        s.subsampling, s.orient = 2, 1
    if s.cropped:
        k = 0.5 if s.halved else 1
        (x0, y0, x1, y1), m = s.roi, rng.integers
        s.crop = tuple(int(v * k) for v in (max(0, x0 - m(20, 300)), max(0, y0 - m(20, 300)),
                                            min(W, x1 + m(20, 300)), min(H, y1 + m(20, 300))))

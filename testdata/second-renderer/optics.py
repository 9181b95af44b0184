"""The lens: defocus by depth, a soft point and a shaken hand, on light at the sensor."""
import math

import cv2
import numpy as np

from shade import shade_all

f32 = np.float32


def disc(r):
    """A disc of radius r, its sum 1."""
    n = int(math.ceil(r + 1))
    y, x = np.mgrid[-n : n + 1, -n : n + 1]
    k = np.clip(r + 0.5 - np.hypot(x, y), 0, 1)
    return (k / k.sum()).astype(f32)


def blurred(s, col, depth, scale):
    """Defocus by depth, the lens' softness and motion; scale: pixels of col a pixel of the sensor."""
    r = s.aperture * 0.5 * np.abs(1 / depth - 1 / s.focus) * scale
    rm = float(np.percentile(r, 99.9))
    levels = [0.0]
    q = 0.9 * scale
    while levels[-1] < rm:
        levels.append(levels[-1] * 1.45 + q if levels[-1] > 0 else q)
    lo = max([i for i, l in enumerate(levels) if l <= r.min()] + [0])
    out = None
    for i in range(lo, len(levels)):
        if i > 0 and levels[i - 1] > rm:
            break
        b = col if levels[i] < 0.3 else cv2.filter2D(col, -1, disc(levels[i]), borderType=cv2.BORDER_REFLECT)
        if out is None:
            out = b * np.ones(1, f32)
            prev = levels[i]
        else:
            a = np.clip((r - prev) / (levels[i] - prev), 0, 1).astype(f32)[..., None]
            out += (b - out) * a
            prev = levels[i]
    if scale < 1:
        out = cv2.GaussianBlur(out, (0, 0), s.psf_sigma * scale)
    if s.motion[0] * scale > 0.3:
        L, a = (s.motion[0] * scale, s.motion[1])
        n = int(L / 2 + 2)
        k = np.zeros((2 * n + 1, 2 * n + 1), f32)
        for m in np.linspace(-L / 2, L / 2, 60):
            x, y = n + m * math.cos(a) + 0.15 * m * m / max(L, 1) * math.sin(a), n + m * math.sin(a)
            x0, y0 = (int(x), int(y))
            fx, fy = (x - x0, y - y0)
            for i, j, wt in (
                (0, 0, (1 - fx) * (1 - fy)),
                (1, 0, fx * (1 - fy)),
                (0, 1, (1 - fx) * fy),
                (1, 1, fx * fy),
            ):
                k[min(y0 + j, 2 * n), min(x0 + i, 2 * n)] += wt
        out = cv2.filter2D(out, -1, k / k.sum(), borderType=cv2.BORDER_REFLECT)
    return out


def photo(s):
    """Light at the sensor: the whole frame at a third of its size, and s.roi at full size."""
    W, H = (s.cam.W, s.cam.H)
    q = 3
    px = np.arange(0, W, q) + (q - 1) / 2
    py = np.arange(0, H, q) + (q - 1) / 2
    c, d = shade_all(s, px, py)
    base = blurred(s, c, d, 1 / q)
    x0, y0, x1, y1 = s.roi
    ss = 2  # samples a pixel, each way
    px = (np.arange((x1 - x0) * ss) + 0.5) / ss + x0 - 0.5
    py = (np.arange((y1 - y0) * ss) + 0.5) / ss + y0 - 0.5
    c, d = shade_all(s, px, py)
    c = cv2.GaussianBlur(c, (0, 0), s.psf_sigma * ss)
    c = cv2.resize(c, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)
    return base, blurred(s, c, d[::ss, ::ss], 1)

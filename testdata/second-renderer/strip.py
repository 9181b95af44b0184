"""The strip's outline, drawn by chance, and its truth."""
import math

import numpy as np

f32 = np.float32


def make_strip(s, rng):
    """Gives s the edges strip_lo and strip_hi over strip_x, mm, and what is true of them."""
    p = s.strip
    L = p["L"]
    N = 2001
    x = np.linspace(-L / 2, L / 2, N)
    u = x / (L / 2)
    bow = p["bow"] * (u * u - 1 / 3)
    w = p["w"] * (1 + p["taper"] * u / 2 + p["waist"] * (u * u - 1 / 3))

    def rough(sig, l):
        n = rng.standard_normal(N + 400)
        k = np.exp(-0.5 * (np.arange(-100, 101) * L / N / l) ** 2)
        n = np.convolve(n, k, "same")[200 : 200 + N]
        return sig * n / max(n.std(), 1e-09)

    e = [rough(p["rough"], p["rough_l"]) + rough(p["rough"] * 0.4, p["rough_l"] * 4) for _ in (0, 1)]
    for a in e:
        a -= a.mean()
        a -= u * (a @ u) / (u @ u)
    lo = bow - w / 2 + e[0]
    hi = bow + w / 2 + e[1]
    for sgn in (-1, 1):  # rounded, ragged ends
        rl = p["end"] * rng.uniform(0.6, 1.2)
        dd = (L / 2 - sgn * x) / rl
        k = np.sqrt(np.clip(1 - (1 - np.clip(dd, 0, 1)) ** 2.2, 0, 1))
        c = (lo + hi) / 2 + rng.normal(0, 0.1) * w * (1 - k)
        h = (hi - lo) / 2 * k
        m = dd < 1
        lo = np.where(m, c - h, lo)
        hi = np.where(m, c + h, hi)
    s.strip_x = x
    s.strip_lo = lo
    s.strip_hi = hi
    inner = np.abs(x) < L / 2 - 1.2 * p["end"] - 0.1
    ww = (hi - lo)[inner]
    A = np.polyfit(x[inner], ww, 1)
    s.true = dict(
        mean=float(ww.mean()), slope=float(A[0]), length=float(L)
    )


def strip_coords(s, x, v):
    """Along and across the strip of points of the metal."""
    dx = x - s.s_x0
    dv = v - s.s_v0
    c, k = math.cos(s.s_ang), math.sin(s.s_ang)
    return c * dx + k * dv, -k * dx + c * dv


def edge_at(s, a, out, sx):
    """The edge a at places along the strip, out beyond its ends."""
    i = (sx - f32(s.strip_x[0])) * f32((len(a) - 1) / (s.strip_x[-1] - s.strip_x[0]))
    o = (i < 0) | (i >= len(a) - 1)
    i = np.clip(i, 0, len(a) - 1.01)
    j = i.astype(np.int32)
    a = a.astype(f32)
    e = a[j]
    e = e + (a[j + 1] - e) * (i - j)
    e[o] = out
    return e

"""Textures: noise that tiles, the bench and what lies about on it, marks on the metal."""
import math

import cv2
import numpy as np

f32 = np.float32
_bank = {}


def smoothstep(x):
    x = np.clip(x, 0, 1)
    return x * x * (3 - 2 * x)


def tile(rng, n, sx, sy):
    """Gaussian noise n x n that tiles, of unit variance, smoothed by sx and sy pixels."""
    a = rng.standard_normal((n, n)).astype(f32)
    F = np.fft.rfft2(a)
    fy = np.fft.fftfreq(n)[:, None]
    fx = np.fft.rfftfreq(n)[None]
    a = np.fft.irfft2(F * np.exp(-2 * np.pi**2 * ((fx * sx) ** 2 + (fy * sy) ** 2)), s=(n, n)).astype(f32)
    return a / a.std()


def noise(rng, n, sx, sy):
    """Noise n x n from a bank of tiles, rolled and flipped by chance; over 1024 across magnified."""
    z = 1
    while n // z > 1024:
        z *= 2
    m = n // z
    k = (m, round(sx / z, 1), round(sy / z, 1), int(rng.integers(2)))
    if k not in _bank:
        a = tile(np.random.default_rng(k[3] + 77), m, max(k[1], 0.3), max(k[2], 0.3))
        _bank[k] = a.astype(np.float16).astype(f32)
        if len(_bank) > 24:
            _bank.pop(next(iter(_bank)))
    a = _bank[k]
    a = np.roll(a, (int(rng.integers(m)), int(rng.integers(m))), (0, 1))
    if rng.random() < 0.5:
        a = a[::-1]
    if rng.random() < 0.5:
        a = a[:, ::-1]
    a = np.ascontiguousarray(a)
    return a if z == 1 else cv2.resize(a, (n, n), interpolation=cv2.INTER_LINEAR)


WORDS = "OIL FEED UPPER LOWER 0.25 STD 10 MM TORQUE 45 NM NOTE CHECK END PLAY LIST PART NO 4471 B2 BATCH".split()


def bench_texture(rng, kind, clutter, n=2048, ppm=10.0):
    """Reflectance of the bench, n x n x 3, ppm pixels a mm."""
    if kind == "wood":
        g = noise(rng, n, 120, 1.2) * 0.5 + noise(rng, n, 300, 8) * 0.6
        y = (np.arange(n) / ppm)[:, None]
        ring = np.sin(y * 1.3 + noise(rng, n, 200, 30) * 2.0)
        v = 0.3 * (1 + 0.12 * g + 0.15 * ring)
        a = np.stack([v * 0.45, v * 0.75, v * 1.15], -1)
    elif kind == "cloth":
        yy, xx = np.mgrid[0:n, 0:n] / ppm
        w = np.sin(2 * np.pi * xx / 0.6) * np.sin(2 * np.pi * yy / 0.6)
        v = 0.25 * (1 + 0.2 * w + 0.15 * noise(rng, n, 60, 60) + 0.1 * noise(rng, n, 1, 1))
        c = [(0.9, 0.5, 0.35), (0.4, 0.45, 0.9), (0.8, 0.8, 0.8), (0.5, 0.8, 0.6)][rng.integers(4)]
        a = np.stack([v * k for k in c], -1)
    elif kind == "paper":
        v = 0.72 * (1 + 0.02 * noise(rng, n, 3, 3) + 0.03 * noise(rng, n, 150, 150))
        a = np.stack([v * 0.93, v * 0.97, v], -1)
        im = np.zeros((n, n), np.uint8)
        for i in range(14):
            t = " ".join(rng.choice(WORDS, 6))
            cv2.putText(im, t, (int(rng.uniform(-100, 400)), 100 + i * 140), 0, 1.6, 255, 4, cv2.LINE_AA)
        a *= 1 - 0.85 * im[..., None] / 255.0
    elif kind == "mat":
        v = 0.05 * (1 + 0.2 * noise(rng, n, 2, 2) + 0.2 * noise(rng, n, 200, 200))
        a = np.stack([v * 1.1, v, v * 0.9], -1)
    else:
        v = 0.22 * (1 + 0.15 * noise(rng, n, 80, 0.8) + 0.2 * noise(rng, n, 200, 200))
        a = np.stack([v * 1.03, v, v * 0.98], -1)
    a = lay_clutter(rng, np.ascontiguousarray(a, dtype=f32), clutter, n, ppm)
    return np.clip(a, 0.004, 0.9)


def lay_clutter(rng, a, clutter, n, ppm):
    """Paints cables, rulers, tools and nuts onto the bench."""
    anywhere = lambda: (int(rng.uniform(0, n)), int(rng.uniform(0, n)))
    for c in clutter:
        if c == "cable":
            p = [np.array(anywhere(), float)]
            ang = rng.uniform(0, 6.3)
            for i in range(60):
                ang += rng.normal(0, 0.06)
                p.append(p[-1] + 40 * np.array([math.cos(ang), math.sin(ang)]))
            p = np.array(p, np.int32).reshape(-1, 1, 2)
            col = [(0.03, 0.03, 0.5), (0.02, 0.02, 0.02), (0.4, 0.15, 0.03), (0.03, 0.5, 0.6), (0.05, 0.35, 0.06)][
                rng.integers(5)
            ]
            wd = int(rng.uniform(1.5, 5) * ppm)
            cv2.polylines(a, [p], False, [x * 0.6 for x in col], wd, cv2.LINE_AA)
            cv2.polylines(a, [p], False, [x * 1.2 + 0.02 for x in col], max(1, wd // 3), cv2.LINE_AA)
        if c == "ruler":
            x, y = anywhere()
            ang = rng.uniform(0, 180)
            L = 1500
            W = int(13 * ppm)
            ov = np.full((W, L, 3), 0.35, f32) * (1 + 0.05 * rng.standard_normal((W, 1, 1)).astype(f32))
            for i in range(0, int(L / ppm)):
                h = int((6 if i % 10 == 0 else 4.5 if i % 5 == 0 else 3) * ppm)
                cv2.line(ov, (int(i * ppm), 0), (int(i * ppm), h), (0.02,) * 3, max(1, int(0.15 * ppm)))
                if i % 10 == 0:
                    cv2.putText(ov, str(i // 10), (int(i * ppm) + 4, int(9 * ppm)), 0, 1.1, (0.02,) * 3, 2, cv2.LINE_AA)
            M = cv2.getRotationMatrix2D((L / 2, W / 2), ang, 1)
            M[:, 2] += np.array([x - L / 2, y - W / 2])
            m = cv2.warpAffine(np.ones((W, L), f32), M, (n, n))
            a = a * (1 - m[..., None]) + cv2.warpAffine(ov, M, (n, n)) * 1.0
        if c == "tool":
            x, y = anywhere()
            ang = rng.uniform(0, 6.3)
            d = np.array([math.cos(ang), math.sin(ang)])
            q = np.array([-d[1], d[0]])
            col = [(0.02, 0.02, 0.6), (0.02, 0.4, 0.6), (0.5, 0.2, 0.02)][rng.integers(3)]
            h = np.array(
                [[x, y] + d * 0 + q * 90, [x, y] + d * 500 + q * 80, [x, y] + d * 500 - q * 80, [x, y] - q * 90],
                np.int32,
            )
            cv2.fillPoly(a, [h], col, cv2.LINE_AA)
            for k, b in ((30, 0.25), (10, 0.5)):
                h = np.array(
                    [
                        [x, y] + d * 500 + q * k,
                        [x, y] + d * 1700 + q * k,
                        [x, y] + d * 1700 - q * k,
                        [x, y] + d * 500 - q * k,
                    ],
                    np.int32,
                )
                cv2.fillPoly(a, [h], (b,) * 3, cv2.LINE_AA)
        if c == "nut":
            x, y = anywhere()
            r = rng.uniform(4, 8) * ppm
            h = np.array(
                [[x + r * math.cos(t), y + r * math.sin(t)] for t in np.arange(6) * math.pi / 3 + rng.uniform(0, 1)],
                np.int32,
            )
            cv2.fillPoly(a, [h], (0.3, 0.3, 0.3), cv2.LINE_AA)
            cv2.circle(a, (x, y), int(r * 0.5), (0.04,) * 3, -1, cv2.LINE_AA)
    return a


def marks_on_metal(rng, oil, scratches, dust, prints, print_depth, stamp, n=1536, ppm=16.0):
    """What oil, scratches, dust, fingerprints and a stamp leave of the metal's light; its middle is the metal's origin."""
    m = np.ones((n, n), f32)
    if oil:
        o = noise(rng, n, 60, 40) + 0.4 * noise(rng, n, 14, 14)
        e = smoothstep((o - rng.uniform(0.4, 1.0)) / 0.15 + 0.5).astype(f32)
        m *= 1 - oil * e
    for i in range(scratches):
        p = rng.uniform(0, n, 2)
        ang = rng.uniform(0, 6.3)
        L = rng.uniform(3, 30) * ppm
        cv2.line(
            m,
            tuple(p.astype(int).tolist()),
            tuple((p + L * np.array([math.cos(ang), math.sin(ang)])).astype(int).tolist()),
            float(rng.choice([0.5, 0.7, 1.4, 1.8])),
            1 if rng.random() < 0.7 else 2,
            cv2.LINE_AA,
        )
    for i in range(dust):
        p = rng.uniform(0, n, 2)
        r = abs(rng.normal(0, 0.05)) + 0.015
        cv2.ellipse(
            m,
            tuple(p.astype(int).tolist()),
            (max(1, int(r * ppm)), max(1, int(r * ppm * rng.uniform(0.4, 1)))),
            rng.uniform(0, 180),
            0,
            360,
            float(rng.choice([0.3, 0.5, 1.5, 2.0])),
            -1,
            cv2.LINE_AA,
        )
    for i in range(prints):
        c = n / 2 + rng.normal(0, 10, 2) * ppm
        yy, xx = np.mgrid[0:n, 0:n].astype(f32)
        X = (xx - c[0]) / ppm
        Y = (yy - c[1]) / ppm
        a = rng.uniform(0, 3.1)
        U = X * math.cos(a) + Y * math.sin(a)
        V = -X * math.sin(a) + Y * math.cos(a)
        r = np.sqrt(U * U + (V * 0.7) ** 2 + 0.3 * U * V * 0.3)
        ridge = 0.5 + 0.5 * np.cos(2 * np.pi * r / 0.45 + noise(rng, n, 60, 60) * 1.5)
        w = np.clip(1.3 - (U / 6) ** 2 - (V / 9) ** 2, 0, 1) * np.clip(0.5 + 0.5 * noise(rng, n, 30, 30), 0, 1)
        m *= (1 - print_depth * ridge * w).astype(f32)
    if stamp:
        im = np.zeros((n, n), f32)
        c = n / 2 + np.array([rng.uniform(-8, 2), rng.choice([-1, 1]) * rng.uniform(6, 12)]) * ppm
        cv2.putText(im, stamp, tuple(c.astype(int).tolist()), 0, 2.2, 1.0, 4, cv2.LINE_AA)
        m *= 1 - 0.55 * im
    return m

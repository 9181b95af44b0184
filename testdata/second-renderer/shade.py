"""Light that reaches a pixel: the ray's card, metal, strip and bench. No ray is traced
further: metal mirrors soft lights in given directions, shadows are planes' soft edges."""
import math

import cv2
import numpy as np

from strip import edge_at, strip_coords
from texture import smoothstep

f32 = np.float32


def light_from(s, rx, ry, rough=(0, 0)):
    """Light from where a mirrored ray goes (rx, ry of its unit vector); roughness widens the lights."""
    e = np.full(rx.shape, s.ambient, f32)
    for lx, ly, sx, sy, a in s.lights:
        qx, qy = math.hypot(sx, rough[0]), math.hypot(sy, rough[1])
        e += f32(a * sx * sy / (qx * qy)) * np.exp(-0.5 * (((rx - lx) / qx) ** 2 + ((ry - ly) / qy) ** 2)).astype(f32)
    return e


def lit(s, X, Y):
    """How much of the light gets to a point: it falls off, and there are large soft shadows."""
    g = 1 + s.falloff[0] * X / 40 + s.falloff[1] * Y / 40
    for nx, ny, d, soft, depth in s.shadows:
        g = g * (1 - depth * smoothstep((X * nx + Y * ny - d) / soft + 0.5)).astype(f32)
    return np.maximum(g, 0.1).astype(f32)


def look_up(t, x, y, border=cv2.BORDER_WRAP):
    return cv2.remap(t, x.astype(f32), y.astype(f32), cv2.INTER_LINEAR, borderMode=border)


class Rays:
    """A grid of rays from the camera: D with z 1 in the camera, unit in (dx, dy, dz)."""

    def __init__(self, s, px, py):
        self.D, self.O = s.cam.rays(px, py), s.cam.O.astype(f32)
        self.spread = f32(abs(px[1] - px[0])) / s.cam.f  # a sample's width at depth 1
        D = self.D
        il = 1 / np.sqrt(D[0] ** 2 + D[1] ** 2 + D[2] ** 2)
        self.unit = [D[i] * il for i in range(3)]

    def at(self, t):
        return [self.O[i] + t * self.D[i] for i in range(3)]


def on_card(s, ray):
    """Depth, place on the card and part of each sample that is card."""
    C, ex, ey, en = [a.astype(f32) for a in s.card_pose]
    hw, hh = s.card_half
    D = ray.D
    den = D[0] * en[0] + D[1] * en[1] + D[2] * en[2]
    t = (C - ray.O) @ en / den
    for again in (True, False):
        P = ray.at(t)
        x = sum((P[i] - C[i]) * ex[i] for i in range(3))
        y = sum((P[i] - C[i]) * ey[i] for i in range(3))
        if again and s.curl:  # the curled face is higher: the ray meets it earlier
            t = t + s.curl * (x / hw) ** 2 / den
        else:
            break
    ca, sa = math.cos(s.cut_rot), math.sin(s.cut_rot)
    ux, uy = x * ca + y * sa, -x * sa + y * ca
    left, right, bottom, top = s.cut
    inside = np.minimum(np.minimum(ux + hw + left, hw + right - ux), np.minimum(uy + hh + bottom, hh + top - uy))
    return t, P, x, y, np.clip(inside / (ray.spread * t) + 0.5, 0, 1)


def card_colour(s, ray, P, x, y):
    en = s.card_pose[3].astype(f32)
    ppm, centre = s.card_ppm, s.card_centre
    u, v = x / s.print_scale[0] * ppm[0] + centre[0], -y / s.print_scale[1] * ppm[1] + centre[1]
    ink = look_up(s.card_map, u, v, cv2.BORDER_CONSTANT).astype(f32) / 255
    paper = 1 + look_up(s.cloud, x * 7, y * 7) * 0.012 * s.paper_rough + look_up(s.cloud, x * 0.6, y * 0.6) * 0.012
    if s.smudge:
        paper = paper * (1 - s.smudge * smoothstep((look_up(s.cloud, x * 0.9 + 50, y * 0.9) - 0.6) / 0.8))
    dx, dy, dz = ray.unit
    facing = dx * en[0] + dy * en[1] + dz * en[2]
    glare = s.card_gloss * light_from(s, dx - 2 * facing * en[0], dy - 2 * facing * en[1], (0.05, 0.05))
    black = s.ink * (1 + 0.25 * s.ink_mottle * look_up(s.cloud, x * 5, y * 5 + 90)) * ink
    K = np.stack([s.paper[i] * paper * (1 - ink) + black + glare * (0.5 + 0.5 * ink) for i in range(3)], -1)
    return K * lit(s, P[0], P[1])[..., None]


def on_metal(s, ray):
    """Depth, point, surface coordinates x and v, normal and the part of the sample that is metal."""
    D, O, R = ray.D, ray.O, s.R
    if s.curve == "flat":
        t = -O[2] / D[2]
        x, v = O[0] + t * D[0], O[1] + t * D[1]
        zero = np.zeros_like(x)
        return t, v, zero, x, v, zero, 1.0, (np.abs(v - s.v_mid) < s.v_max).astype(f32)
    shell = s.curve == "shell"
    oz = O[2] - (R if shell else -R)
    a, b, c = D[1] ** 2 + D[2] ** 2, O[1] * D[1] + oz * D[2], O[1] ** 2 + oz**2 - R * R
    q = b * b - a * c
    ok = (q > 0).astype(f32)
    q = np.sqrt(np.maximum(q, 0))
    t = (-b + q) / a if shell else (-b - q) / a
    Y, Z, x = O[1] + t * D[1], oz + t * D[2], O[0] + t * D[0]
    if shell:
        v, ny, nz, Z = R * np.arctan2(Y, -Z), -Y / R, -Z / R, Z + R
    else:
        v, ny, nz, Z = R * np.arctan2(Y, Z), Y / R, Z / R, Z - R
    return t, Y, Z, x, v, ny, nz, ok * (np.abs(v) < s.v_max)


def card_shade(s, x, Y, Z):
    """The card's shadow on the metal."""
    C, ex, ey, _ = [a.astype(f32) for a in s.card_pose]
    hw, hh = s.card_half
    dx, dy, depth, soft = s.card_shadow
    qx = (x - C[0]) * ex[0] + (Y - C[1]) * ex[1] + (Z - C[2]) * ex[2] - dx
    qy = (x - C[0]) * ey[0] + (Y - C[1]) * ey[1] + (Z - C[2]) * ey[2] - dy
    return 1 - depth * smoothstep(0.5 - np.maximum(np.abs(qx) - hw, np.abs(qy) - hh) / soft)


def metal_colour(s, ray):
    t, Y, Z, x, v, ny, nz, ok = on_metal(s, ray)
    pxmm = ray.spread * t
    beyond = np.clip((np.abs(x - s.x_mid) - s.x_max) / pxmm + 0.5, 0, 1)  # a cheek of the shaft, or nothing
    if not s.cheek:
        ok = ok * np.clip((s.x_max - np.abs(x - s.x_mid)) / pxmm + 0.5, 0, 1)
    c, n = math.cos(s.lay_ang), math.sin(s.lay_ang)
    tu, tv = (c * x + n * v) * s.lay_ppm, (-n * x + c * v) * s.lay_ppm
    lay = look_up(s.lay, tu, tv) * 0.7 + look_up(s.grain, tu * 0.37 + 11, tv * 0.37) * 0.5
    dx, dy, dz = ray.unit  # mirrored about a normal that tilts across the lay
    Nx, Ny = -n * s.lay_tilt * lay, ny + c * s.lay_tilt * lay
    dn = dx * Nx + dy * Ny + dz * nz
    rx, ry = dx - 2 * dn * Nx, dy - 2 * dn * Ny
    marks = look_up(s.marks, x * 16 + 768, 768 - v * 16, cv2.BORDER_REFLECT)
    grey = light_from(s, rx, ry, s.rough) * s.metal_refl * (1 + s.lay_amp * lay) * marks
    M = np.stack([grey * s.metal_col[i] for i in range(3)], -1)
    if s.strip:
        lay_strip(s, M, x, v, pxmm, rx, ry)
    for thing in s.things:
        lay_thing(s, M, x, v, pxmm, thing)
    if s.cheek:
        far = np.abs(x - s.x_mid) - s.x_max
        cheek = s.cheek_col * (0.8 + 0.06 * lay) * np.clip(1 - 0.02 * far, 0.3, 1)
        M = M * (1 - 0.45 * np.exp(-np.abs(far + 0.6) / 0.5))[..., None]  # the fillet
        M = M * (1 - beyond)[..., None] + (cheek * beyond)[..., None]
    return M * (lit(s, x, Y) * card_shade(s, x, Y, Z))[..., None], t, ok.astype(f32)[..., None]


def lay_strip(s, M, x, v, pxmm, rx, ry):
    """Paints the strip into M: a film that scatters, lets metal through, has a bead along
    each edge, a sheen and a small shadow on one side."""
    p = s.strip
    along, across = strip_coords(s, x, v)
    if not ((np.abs(across) < p["w"] + 1.5).any() and (np.abs(along) < p["L"] / 2 + 1.0).any()):
        return
    lo, hi = edge_at(s, s.strip_lo, 9.0, along), edge_at(s, s.strip_hi, -9.0, along)
    d = np.minimum(across - lo, hi - across)
    alpha = np.clip(d / np.hypot(p["ramp"], pxmm) + 0.5, 0, 1)
    side = np.where(p["shadow_side"] > 0, across - hi, lo - across)
    near = (along > s.strip_x[0]) & (along < s.strip_x[-1]) & (hi > lo) & (side > -0.05)
    M *= (1 - p["shadow_depth"] * smoothstep(1 - np.clip(side, 0, None) / p["shadow_len"]) * near)[..., None]
    fine, coarse = look_up(s.grain, along * 9 + 300, across * 9), look_up(s.cloud, along * 3, across * 3)
    opacity = np.clip(p["opacity"] * (1 + p["cloud"] * (0.6 * coarse + 0.2 * fine)), 0.05, 1)
    b = p["bead_w"]
    one, other = [np.exp(-0.5 * ((e - b) / (0.6 * b)) ** 2) for e in (across - lo, hi - across)]
    bead = 1 + p["bead"] * (one - other) * p["shadow_side"]
    sheen = light_from(s, rx + 0.02 * coarse, ry + 0.06 * fine + 0.02 * coarse, (0.08, 0.08)) * p["gloss"]
    for i in range(3):
        film = p["albedo"][i] * bead * opacity + M[..., i] * p["through"][i] ** 2 * (1 - opacity) + sheen
        M[..., i] = M[..., i] * (1 - alpha) + film * alpha


def lay_thing(s, M, x, v, pxmm, thing):
    x0, v0, x1, v1, half, colour, opacity = thing
    length = math.hypot(x1 - x0, v1 - v0)
    ux, uv = (x1 - x0) / length, (v1 - v0) / length
    a = np.clip((x - x0) * ux + (v - v0) * uv, 0, length)
    d = np.hypot(x - x0 - a * ux, v - v0 - a * uv)
    wobble = 0.04 * look_up(s.cloud, a * 4, a * 0 + 7.0)
    alpha = np.clip((half + wobble * half - d) / pxmm + 0.5, 0, 1) * opacity
    round_ = 0.55 + 0.45 * np.sqrt(np.clip(1 - (d / half) ** 2, 0, 1))
    for i in range(3):
        M[..., i] = M[..., i] * (1 - alpha) + colour[i] * round_ * alpha


def shade(s, px, py):
    """Linear B, G, R and depth of a grid of samples."""
    ray = Rays(s, px, py)
    card_t, P, cx, cy, card = on_card(s, ray)
    col, depth = 0, card_t
    if card.min() < 1:
        t = (s.bench_z - ray.O[2]) / ray.D[2]
        X, Y, _ = ray.at(t)
        bench = look_up(s.bench, X * s.bench_ppm + 1024, 1024 - Y * s.bench_ppm)
        col = bench * (lit(s, X, Y) * s.bench_light)[..., None]
        M, metal_t, ok = metal_colour(s, ray)
        col = col * (1 - ok) + M * ok
        depth = np.where(ok[..., 0] > 0.5, metal_t, t)
    if card.max() > 0:
        col = col * (1 - card[..., None]) + card_colour(s, ray, P, cx, cy) * card[..., None]
        depth = np.where(card > 0.5, card_t, depth)
    return np.maximum(col, 0), depth


def shade_all(s, px, py, n=160):
    """shade, a block at a time."""
    c, d = np.empty((len(py), len(px), 3), f32), np.empty((len(py), len(px)), f32)
    for i in range(0, len(py), n):
        for j in range(0, len(px), n * 2):
            c[i : i + n, j : j + 2 * n], d[i : i + n, j : j + 2 * n] = shade(s, px[j : j + 2 * n], py[i : i + n])
    return c, d

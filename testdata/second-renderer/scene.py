"""What lies on the bench: draws a scene's card, strip, metal and light by chance from a seed.

A scene is a bag of values that the other files read. Lengths are in mm, angles in
radians, colours linear B, G, R reflectances. All figures are invented."""
import math

import numpy as np

from geometry import card_pose, turn
from strip import make_strip
from texture import bench_texture, marks_on_metal, noise

CLASSES = ("good", "fair", "poor")
PLASTIC = dict(
    green=(0.06, 0.26, 0.07), red=(0.05, 0.04, 0.40), blue=(0.33, 0.11, 0.04),
    yellow=(0.04, 0.42, 0.58), magenta=(0.22, 0.05, 0.38), cyan=(0.42, 0.28, 0.05),
    white=(0.55, 0.58, 0.6), grey=(0.17, 0.18, 0.18), black=(0.02, 0.02, 0.02),
)
METAL = dict(
    steel=(0.98, 1, 1.01), alu=(1.03, 1, 0.98), bronze=(0.5, 0.74, 1.0),
    babbitt=(0.95, 0.98, 1.0), copper=(0.42, 0.62, 1.0),
)
CHECKED = (149.6 / 150, 200.4 / 200)  # what a print with checked bars is across and down


class Draw:
    """Chance, and what a class changes."""

    def __init__(self, seed, cls):
        self.rng = np.random.default_rng(seed)
        self.cls = CLASSES.index(cls)

    def u(self, lo, hi, n=None):
        return self.rng.uniform(lo, hi, n)

    def n(self, mean, sigma, n=None):
        return self.rng.normal(mean, sigma, n)

    def pick(self, *a):
        return a[int(self.rng.integers(len(a)))]

    def count(self, lo, hi):
        return int(self.rng.integers(lo, hi))

    def by(self, *good_fair_poor):
        return good_fair_poor[self.cls]


class Scene:
    pass


def make_scene(cls, kind, seed):
    """A scene of a class and a kind: flat-bench, shell-rider, pair-plate-bench, trap-flat-rider-pen ..."""
    s = Scene()
    s.draw = Draw(seed, cls)
    words = kind.split("-")
    s.pair, s.trap = words[0] == "pair", words[3] if words[0] == "trap" else None
    s.on, s.layout = words[1:3] if s.pair or s.trap else words
    draw_card(s)
    draw_strip(s)
    place(s)
    make_strip(s, s.draw.rng)
    bound_metal(s)
    draw_light(s)
    draw_metal(s)
    draw_print(s)
    draw_bench(s)
    s.things = []
    if s.trap:
        lay_trap(s)
    return s


def draw_card(s):
    d, bench = s.draw, s.layout == "bench"
    s.card = "bench" if bench else d.pick("rider", "rider", "tag0", "tag1", "tag2", "tag3")
    s.card_half = (42.8, 27.0) if bench else (12.0, 6.0)
    s.cut = d.n(0, 0.25 if bench else 0.15, 4)
    s.cut_rot = d.n(0, 0.004 if bench else 0.01)
    s.card_t = d.u(0.25, 1.2) if bench else d.u(0.15, 0.6)
    s.checked = d.pick("exact", "exact", "checked") == "checked"
    s.print_scale = CHECKED if s.checked else (1.0, 1.0)
    s.card_rot = d.n(0, math.radians(6 if bench else 3))
    if s.on == "shell":
        s.card_rot = d.n(0, math.radians(1.2))
    s.card_tilt = 0.0 if d.cls == 0 else d.n(0, math.radians(d.by(0, 0.3, 0.8)))
    flat = d.rng.random() < 0.6
    s.curl = 0.0 if flat else abs(d.n(0, d.by(0.04, 0.12, 0.3))) * (1 if bench else 0.4)


def draw_strip(s):
    d, bench = s.draw, s.layout == "bench"
    w = float(np.exp(d.u(math.log(0.9), math.log(4.0))))
    if bench:
        w = max(w, 1.1)
    length = d.u(9, 26) if bench else d.u(9, 22)
    s.R = d.u(20, 34)
    if s.on in ("shell", "journal"):
        length = min(length, 20)
    colour = str(d.rng.choice(list(PLASTIC), p=[0.25, 0.2, 0.2, 0.09, 0.07, 0.06, 0.03, 0.05, 0.05]))
    albedo = np.array(PLASTIC[colour]) * d.u(0.75, 1.3)
    opacity = d.u(0.75, 0.99) if d.cls < 2 else d.u(0.55, 0.97)
    s.width, s.length, s.colour = w, length, colour
    s.strip = dict(
        w=w, L=length, albedo=albedo, opacity=opacity,
        through=np.clip(np.sqrt(albedo * 1.8), 0.05, 0.95),
        taper=float(d.rng.choice([0.0, d.u(-0.05, 0.05)], p=[0.3, 0.7])),
        bow=d.n(0, d.by(0.05, 0.12, 0.3)),
        waist=d.n(0, 0.006 * (1 + d.cls)),
        rough=abs(d.n(0, d.by(0.006, 0.012, 0.03))) + 0.003,
        rough_l=d.u(0.1, 0.5),
        end=d.u(0.3, 0.6) * w,
        cloud=d.by(0.02, 0.05, 0.1) * d.u(0.3, 1),
        ramp=d.u(0.004, 0.025),
        shadow_side=d.pick(-1, 1),
        shadow_depth=d.u(0, d.by(0.25, 0.4, 0.5)),
        shadow_len=d.u(0.04, 0.14),
        bead_w=d.u(0.03, 0.09),
        bead=d.n(0, d.by(0.05, 0.1, 0.15)),
        gloss=d.u(0, d.by(0.02, 0.04, 0.08)),
    )


def place(s):
    """Where card and strip lie. The metal's frame: x along the strip, v across it along the metal."""
    d, bench, R = s.draw, s.layout == "bench", s.R
    w, length, hh = s.strip["w"], s.strip["L"], s.card_half[1]
    s.gap = d.u(5, 32) if bench else d.u(2, 5.0)
    s.side = d.pick(-1, 1)
    s.s_ang = d.n(0, math.radians(5 if bench else 2.5))
    if s.on in ("shell", "journal"):
        s.s_ang = d.n(0, math.radians(1.2))
    s.s_x0 = s.s_v0 = 0.0
    s.card_x = d.u(-22, 22) if bench else d.n(0, 2.0)
    s.reach = w / 2 + abs(math.sin(s.s_ang - s.card_rot)) * length / 2  # of the strip towards the card
    s.th_c = s.v_c = s.height = 0.0
    s.curve = s.card_on = s.on
    if s.on == "flat":
        s.v_c = s.side * (hh + s.gap + s.reach)
    elif s.on == "shell":
        s.th_c = s.side * (math.asin(6 / R) + (s.gap + s.reach) / R)
    elif s.on == "journal":
        s.th_c = s.side * (6 + s.gap + s.reach) / R
    elif s.on == "raised":  # the strip on a flat pad above the bench, the card on the bench
        s.height = d.u(1.5, 8.0) - s.card_t
        apart(s, "flat", hh + s.gap + s.reach + 3, np.array([0, 0, 1.0]))
    if s.pair:
        tilt, axis = math.radians(d.u(5, 10)), d.u(0, 2 * math.pi)
        n = turn(np.array([math.cos(axis), math.sin(axis), 0]), tilt) @ np.array([0, 0, 1.0])
        s.height = d.u(-4, 7)
        apart(s, "flat" if s.on == "plate" else s.on, hh + s.gap + s.reach, n)
    if s.curve == "flat":
        s.R = 1e4
    if s.curve in ("shell", "journal") and s.card_on != "apart":  # the camera looks between the two
        mid = s.th_c / 2
        s.th_c -= mid
        s.s_v0 = -mid * R


def apart(s, curve, away, normal):
    s.curve, s.card_on = curve, "apart"
    s.apart_C, s.apart_n = [s.card_x, s.side * away, -s.height], normal


def bound_metal(s):
    """How far the metal goes, and where the bench is under it."""
    d, length, hw, hh = s.draw, s.strip["L"], *s.card_half
    s.x_mid, s.v_mid, s.cheek = d.n(0, 1.0), 0.0, False
    s.x_max = length / 2 + d.u(1.0, 6.0)
    if s.curve == "shell":
        s.v_max, s.x_max = s.R * math.radians(d.u(65, 85)), max(s.x_max, 9)
    elif s.curve == "journal":
        s.v_max, s.cheek = s.R * 1.5, True
        card = 12.6 + abs(s.card_x) + abs(s.x_mid) if s.card_on != "apart" else 0
        s.x_max = max(s.x_max, length / 2 + 1.5, card)
    elif s.card_on == "apart":
        s.x_max, s.x_mid = length / 2 + d.u(5, 15), 0.0
        near = min(s.reach + d.u(2, 6), s.reach + s.gap + 1.5)
        far = s.reach + d.u(5, 20)
        s.v_max, s.v_mid = (near + far) / 2, -s.side * (far - near) / 2
    else:
        s.x_max = max(hw + abs(s.card_x), length / 2) + d.u(3, 40)
        s.v_max = abs(s.v_c) + hh + d.u(3, 30)
    s.cheek_col = d.u(0.08, 0.35)
    s.card_pose = card_pose(s)
    if s.card_on != "apart":
        s.bench_z = -d.u(15, 60)
    else:
        s.bench_z = min(-s.height - s.card_t, -1.0) - (3 if s.pair else 0)


def draw_light(s):
    d = s.draw
    s.ambient = d.u(0.35, 1.0)
    s.lights = [
        (d.u(-0.8, 0.8), d.u(-0.8, 0.8), d.u(0.12, 0.5), d.u(0.12, 0.5), d.u(0.3, d.by(1.2, 2.5, 5.0)))
        for _ in range(d.count(1, 4))
    ]
    s.falloff = d.n(0, d.by(0.06, 0.12, 0.2), 2)
    s.shadows = []
    for _ in range(d.count(0, d.by(1, 2, 3) + 1)):
        a = d.u(0, 6.28)
        soft = (d.u(-8, 25), d.u(d.by(15, 6, 1.5), 30), d.u(0.1, d.by(0.25, 0.4, 0.6)))
        s.shadows.append((math.cos(a), math.sin(a), *soft))
    a, long = d.u(0, 6.28), d.u(0.2, 1.5) * s.card_t
    s.card_shadow = (long * math.cos(a), long * math.sin(a), d.u(0.1, 0.5), d.u(0.3, 1.5))


def draw_metal(s):
    d, n = s.draw, 1024
    finish = d.pick("brushed", "turned", "ground", "polished", "honed")
    metal = str(d.rng.choice(list(METAL), p=[0.4, 0.2, 0.12, 0.2, 0.08]))
    if s.on == "journal":
        finish, metal = d.pick("polished", "ground", "turned"), "steel"
    s.finish, s.metal, s.metal_col = finish, metal, np.array(METAL[metal]) * 1.0
    s.metal_refl = d.u(0.3, 0.6)
    s.lay_ppm = d.u(16, 30)
    curved = s.on in ("shell", "journal")
    if finish == "brushed":
        s.lay = noise(d.rng, n, 60, 0.8)
        s.lay_amp, s.rough = d.u(0.03, 0.07) * (1 + 0.6 * d.cls), (0.08, 0.3)
        s.lay_ang = d.pick(0, math.pi / 2, d.u(0, 3))
    elif finish == "turned":
        s.lay = noise(d.rng, n, 1.0, 200) * 0.6
        feed = round(n / s.lay_ppm / d.u(0.15, 0.5))
        s.lay = s.lay + np.sin(np.arange(n) * 2 * np.pi * feed / n)[None].astype(np.float32) * 0.7
        s.lay_amp, s.rough = d.u(0.02, 0.06) * (1 + 0.6 * d.cls), (0.3, 0.08)
        s.lay_ang = 0.0 if curved else d.u(0, 3)
    elif finish == "ground":
        s.lay = noise(d.rng, n, 1.2, 25)
        s.lay_amp, s.rough = d.u(0.03, 0.08) * (1 + 0.4 * d.cls), (0.25, 0.12)
        s.lay_ang = 0.0 if curved else d.u(0, 3)
    elif finish == "honed":
        s.lay = noise(d.rng, n, 80, 1.0) * 0.7 + np.roll(noise(d.rng, n, 1.0, 80), 3) * 0.7
        s.lay_amp, s.rough = d.u(0.02, 0.06) * (1 + 0.6 * d.cls), (0.2, 0.2)
        s.lay_ang = d.u(0, 3)
    else:
        s.lay = noise(d.rng, n, 2, 2)
        s.lay_amp, s.rough, s.lay_ang = d.u(0.005, 0.02) * (1 + d.cls), (0.06, 0.06), 0.0
    s.grain, s.cloud = noise(d.rng, n, 3, 3), noise(d.rng, n, 5, 5)
    s.lay_tilt = d.u(0.005, 0.04)
    s.marks = marks_on_metal(
        d.rng,
        oil=0 if d.rng.random() < d.by(0.7, 0.4, 0.2) else d.u(0.1, d.by(0.15, 0.25, 0.35)),
        scratches=d.count(0, d.by(4, 15, 40)),
        dust=d.count(0, d.by(60, 300, 900)),
        prints=d.count(0, d.by(1, 2, 3) + 1),
        print_depth=d.u(0.05, d.by(0.1, 0.2, 0.3)),
        stamp=d.pick(None, None, "STD 4471", "0.25 U/S"),
    )


def draw_print(s):
    """Paper and ink."""
    d = s.draw
    white = d.u(0.72, 0.88) if d.rng.random() < 0.75 else d.u(0.5, 0.7)
    s.paper = white * np.array([d.u(0.85, 1.02), 1.0, d.u(0.98, 1.05)])
    s.ink = d.u(0.02, 0.07) if d.rng.random() < 0.75 else d.u(0.07, d.by(0.1, 0.14, 0.2))
    s.ink_mottle = d.u(0.1, 1)
    s.paper_rough = d.u(0.3, 1.5)
    s.smudge = 0 if d.rng.random() < d.by(0.9, 0.6, 0.4) else d.u(0.05, d.by(0.1, 0.25, 0.4))
    s.card_gloss = 0.0 if d.rng.random() < 0.7 else d.u(0.005, d.by(0.02, 0.05, 0.1))
    s.spread_um = d.n(5, 12)


def draw_bench(s):
    d = s.draw
    kind = d.pick("wood", "cloth", "paper", "mat", "steel")
    clutter = [d.pick("cable", "ruler", "tool", "nut") for _ in range(d.count(0, d.by(2, 3, 4)))]
    s.bench, s.bench_ppm = bench_texture(d.rng, kind, clutter), 10.0
    s.bench_light = d.u(0.6, 1.0)


def lay_trap(s):
    """What may be taken for a strip: (x0, v0, x1, v1, half width, colour, opacity), straight, with round ends."""
    u, end, w, v = s.draw.u, s.strip["L"] / 2, s.strip["w"], s.s_v0
    away = -1 if s.v_c > 0 else 1  # from the card
    own, dark = s.strip["albedo"], (0.02,) * 3
    what = s.trap
    if what == "two":
        v2 = v + (w + 2.2) * away
        s.things = [(-end, v2, end, v2, w * 0.5, own, 1.0)]
        return
    if what == "cableandstrip":
        s.things = [(-50, v + (w / 2 + 4) * away, 50, v + (w / 2 + 7) * away, 1.2, (0.03, 0.03, 0.5), 1.0)]
        return
    s.things = {
        "cable": lambda: [(-30, v + u(-1, 1), 30, v + u(-1, 1), u(0.7, 1.8), (0.03, 0.03, 0.45), 1.0)],
        "pen": lambda: [(-end, v, end, v + u(-0.5, 0.5), u(0.4, 0.8), dark, 0.95)],
        "tape": lambda: [(-end, v, end, v, u(0.8, 1.5), (0.05, 0.4, 0.5), 1.0)],
        "strand": lambda: [(-end, v, end, v + u(-1, 1), u(0.15, 0.25), own, 1.0)],
        "wire": lambda: [(-end - 3, v - 0.3, end, v + 0.3, u(0.4, 0.7), (0.1, 0.2, 0.35), 1.0)],
        "groove": lambda: [(-60, v, 60, v, u(0.6, 1.5), (0.03,) * 3, 0.85)],
        "screwdriver": lambda: [(-end - 2, v, end + 60, v + 1, 1.5, (0.3,) * 3, 1.0)],
        "bare": lambda: [],
    }[what]()
    s.strip = s.true = None

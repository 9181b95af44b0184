"""A scene as POV-Ray text. Millimetres in the card's frame: origin at the middle of
the printed face, x right along its long side, y up, z towards the camera."""
import math

import cv2
import numpy as np

HEAD = """#version 3.7;
global_settings {{ assumed_gamma 1.0 max_trace_level 5 adc_bailout 0.02 }}
#default {{ finish {{ ambient rgb {walls} diffuse 1 }} }}
"""


def vec(v):
    return "<" + ",".join(f"{x:.7g}" for x in v) + ">"


class Ground:
    """The metal under the strip. place(along, across, up) gives the point `up` mm off
    the metal, `across` mm of arc beside the line under the card's middle."""

    def __init__(self, s, card):
        self.kind, self.r = s["kind"], s.get("radius", 0.0)
        t = card["thickness"]
        if self.kind == "flat":
            self.z = -t + s.get("height", 0.0)
        elif self.kind == "journal":  # the card touches along the line under its middle
            self.z = -t - self.r
        elif s.get("beside"):  # a bowl on the bench beside the card
            self.z = -t + s["wall"] + self.r
        else:  # a shell: the card rests on its two long edges
            half = {"bench": 27.0, "rider": 6.0}[card["layout"]]
            self.z = -t + math.sqrt(self.r**2 - half**2)
        self.y = s.get("axis_y", 0.0)

    def place(self, along, across, up):
        if self.kind == "flat":
            return along, across, self.z + up + 0 * along
        if self.kind == "journal":
            a = across / self.r
            return along, self.y + (self.r + up) * np.sin(a), self.z + (self.r + up) * np.cos(a)
        a = across / self.r
        return along, self.y + (self.r - up) * np.sin(a), self.z - (self.r - up) * np.cos(a)


def wave(rng, s, sd, scale):
    """A smooth random line over s, its standard deviation sd."""
    if sd == 0:
        return np.zeros_like(s)
    step = s[1] - s[0]
    x = rng.standard_normal(len(s) + int(12 * scale / step))
    k = np.exp(-0.5 * (np.arange(-4 * scale, 4 * scale + step, step) / scale) ** 2)
    y = np.convolve(x, k / math.sqrt((k**2).sum()), "same")[: len(s)]
    return sd * y


class Strip:
    """A flattened film with half-round free edges, and its truth."""

    def __init__(self, d, ground, seed):
        rng = np.random.default_rng(seed)
        self.d, self.ground = d, ground
        n = 700
        self.s = np.linspace(-d["length"] / 2, d["length"] / 2, n)
        u = self.s / d["length"]
        line = d["width"] + d.get("taper", 0.0) * u + d.get("bow", 0.0) * (1 / 3 - 4 * u**2)
        rough, scale = d.get("rough_um", 8) / 1000, d.get("rough_scale", 0.6)
        self.left = line / 2 + wave(rng, self.s, rough, scale)
        self.right = line / 2 + wave(rng, self.s, rough, scale)
        self.middle = d.get("sway", 0.0) * (1 - 4 * u**2) + wave(rng, self.s, d.get("wander_um", 15) / 1000, 5)
        # Ends are torn or cut askew: how far each thread across the strip reaches.
        v = np.linspace(-1, 1, 41)
        self.rag = [d.get("ragged", 0.3) * (rng.uniform(-1, 1) * v + 0.5 * wave(rng, v, 1, 0.15)) for _ in "ab"]
        self.v = v

    def truth(self):
        """Mean width and the straight line through the widths, 1.5 mm at each end left
        out: widths are of the outline, the bulge of the free edges included."""
        keep = abs(self.s) < self.d["length"] / 2 - 1.5
        w = (self.left + self.right)[keep]
        slope, _ = np.polyfit(self.s[keep], w, 1)
        ends = [self.axis(s) for s in (-self.d["length"] / 2, self.d["length"] / 2)]
        return {"width_mm": round(float(w.mean()), 5), "slope": round(float(slope), 7),
                "ends_mm": [[round(float(c), 4) for c in e] for e in ends]}

    def axis(self, s):
        m = float(np.interp(s, self.s, self.middle))
        return self.point(np.array([s]), np.array([m]), np.array([0.0])).ravel()

    def point(self, s, v, up):
        """From the strip's own frame to the card's."""
        a = math.radians(self.d.get("angle", 0.0))
        x, y = self.d["centre"]
        return np.array(self.ground.place(x + s * math.cos(a) - v * math.sin(a), y + s * math.sin(a) + v * math.cos(a), up))

    def mesh(self):
        t = self.d["thickness"]
        # The outline of a slice: flat faces, half-round edges, once round.
        turn = np.linspace(-math.pi / 2, math.pi / 2, 13)
        cut = [(1, math.cos(a), t / 2 * (1 + math.sin(a))) for a in turn] + [(0.5, 0, t), (0, 0, t), (-0.5, 0, t)]
        cut += [(-1, -math.cos(a), t / 2 * (1 + math.sin(a))) for a in turn[::-1]] + [(-0.5, 0, 0), (0, 0, 0), (0.5, 0, 0)]
        half = self.d["length"] / 2
        rings, normals = [], []
        for side, bulge, up in cut:
            edge = np.where(side > 0, self.left, self.right)
            v = self.middle + side * (edge - t / 2) + bulge * t / 2
            reach = [np.interp(side, self.v, r) for r in self.rag]
            near = np.clip((abs(self.s) - half + 2) / 2, 0, 1) ** 2
            s = self.s + near * np.where(self.s < 0, reach[0], reach[1])
            lift = self.d.get("lift", 0.0) + np.zeros_like(s)
            rings.append(self.point(s, v, up + 0.002 + lift))
        p = np.stack(rings)  # ring, coordinate, station
        k, _, n = p.shape
        around = np.roll(p, -1, 0) - np.roll(p, 1, 0)
        along = np.gradient(p, axis=2)
        nrm = np.cross(along, around, axis=1)
        nrm /= np.linalg.norm(nrm, axis=1, keepdims=True) + 1e-12
        points = [vec(p[i, :, j]) for j in range(n) for i in range(k)]
        norms = [vec(nrm[i, :, j]) for j in range(n) for i in range(k)]
        faces = []
        for j in range(n - 1):
            for i in range(k):
                a, b = j * k + i, j * k + (i + 1) % k
                faces += [f"<{a},{b},{b + k}>", f"<{a},{b + k},{a + k}>"]
        for j in (0, n - 1):  # the ends
            faces += [f"<{j * k},{j * k + i},{j * k + i + 1}>" for i in range(1, k - 1)]
        c = self.d["colour"]
        return (f"mesh2 {{ vertex_vectors {{ {len(points)}, {','.join(points)} }} normal_vectors {{ {len(norms)}, {','.join(norms)} }}"
                f" face_indices {{ {len(faces)}, {','.join(faces)} }} inside_vector <0,0,1>\n"
                f" texture {{ pigment {{ rgb {vec(c)} transmit {self.d['clear']} }}"
                f" finish {{ diffuse {1 - self.d['clear']:.3f} specular {self.d.get('shine', 0.35)} roughness 0.004 reflection {{ 0, 1 fresnel on }} conserve_energy }}"
                f" normal {{ bumps 0.05 scale 0.15 }} }}"
                f" interior {{ ior 1.49 fade_distance {t:.4f} fade_power 1001 fade_color rgb {vec(np.sqrt(c))} }} }}\n")


def metal(s):
    """Machined metal: dull oxide over facets that mirror the room, drawn out in lines."""
    m, lines = s["metal"], s.get("lines", "x")
    scale = {"x": (1, 60, 60), "y": (60, 1, 1), "none": (1, 1, 1)}[lines]
    bump = lambda size, depth: f"[1 bozo {depth} accuracy 0.01 scale {vec([k * size for k in scale])}]"
    return (f"texture {{ pigment {{ rgb {vec(m)} }} finish {{ diffuse {s['dull']} reflection {{ {s['gloss']} metallic }} }}"
            f" normal {{ average normal_map {{ {bump(s.get('pitch', 0.12), s.get('depth', 0.3))} {bump(s.get('facet', 0.02), s['rough'])}"
            f" [1 bumps {0.6 * s['rough']} scale {s.get('facet', 0.02)}] }} }} }}")


def part(s, g, card):
    """The part that the strip lies on."""
    t = metal(s)
    if g.kind == "flat":
        x0, y0, x1, y1 = s.get("extent", [-80, -70, 80, 60])
        body = f"box {{ <{x0},{y0},{g.z - 12:.6f}>,<{x1},{y1},{g.z:.6f}> }}"
        return f"object {{ {body} {t} }}\n"
    n = s.get("length", 26) / 2
    axis = f"translate <{s.get('axis_x', 0)},{g.y},{g.z:.6f}>"
    if g.kind == "journal":
        c = s.get("cheek", 0)
        body = f"cylinder {{ <{-n},0,0>,<{n},0,0>,{g.r} }}"
        out = f"object {{ {body} {t} {axis} }}\n"
        if c:
            for e in (-1, 1):  # crank cheeks, rough forged, with a fillet's shadow
                out += (f"difference {{ box {{ <{e * n},-{g.r * 1.6},-{g.r * 3}>,<{e * (n + 14)},{g.r * 1.6},{g.r * c}> }} {axis}"
                        f" texture {{ pigment {{ rgb <.22,.21,.2> }} finish {{ diffuse .7 reflection {{ .06 metallic }} }} normal {{ granite 0.3 scale 6 }} }} }}\n")
        return out
    w = s["wall"]
    hole = ""
    if s.get("hole"):
        hx, hy, hr = s["hole"]
        hole = f"cylinder {{ <{hx},0,{-g.r * 0.5}>,<{hx},0,{-g.r - 5}>,{hr} rotate x*{math.degrees(hy / g.r):.3f} }}"
    return (f"difference {{ cylinder {{ <{-n},0,0>,<{n},0,0>,{g.r + w} }} cylinder {{ <{-n - 1},0,0>,<{n + 1},0,0>,{g.r} }}"
            f" cone {{ <{-n - .01},0,0>,{g.r + .5},<{-n + .5},0,0>,{g.r - .02} }} cone {{ <{n + .01},0,0>,{g.r + .5},<{n - .5},0,0>,{g.r - .02} }}"
            f" box {{ <-99,-99,0>,<99,99,99> }} {hole} {t} {axis} }}\n")


def sheet(card, path, span):
    """The card: a printed sheet, on stiff board when thick, its ends curled up a little."""
    w, h = {"bench": (85.6, 54.0), "rider": (24.0, 12.0)}[card["layout"]]
    n, curl = 60, card.get("curl", 0.0)
    x = np.linspace(-w / 2, w / 2, n + 1)
    lift = curl * (abs(2 * x / w) ** 2 - 1 / 3)  # about the mean plane
    points, uv, faces = [], [], []
    for i in range(n + 1):
        for y in (-h / 2, h / 2):
            points.append(vec((x[i], y, lift[i])))
            uv.append(vec(((x[i] + w / 2) / span[0], (y + h / 2) / span[1])))
    for i in range(n):
        a = 2 * i
        faces += [f"<{a},{a + 2},{a + 1}>", f"<{a + 1},{a + 2},{a + 3}>"]
    top = (f"mesh2 {{ vertex_vectors {{ {len(points)}, {','.join(points)} }} uv_vectors {{ {len(uv)}, {','.join(uv)} }}"
           f" face_indices {{ {len(faces)}, {','.join(faces)} }} uv_mapping texture {{ pigment {{ image_map {{ png \"{path}\" gamma 1.0 interpolate 2 once }} }}"
           f" finish {{ diffuse 1 reflection {{ 0.002, {card.get('sheen', 0.02)} fresnel off }} }} }} }}\n")
    core = []
    for i in range(n):  # the board below, in slats that follow the curl
        z = min(lift[i], lift[i + 1])
        core.append(f"box {{ <{x[i]:.5f},{-h / 2},{z - card['thickness'] + .004:.5f}>,<{x[i + 1]:.5f},{h / 2},{z - .0015:.5f}> }}")
    return top + f"union {{ {' '.join(core)} pigment {{ rgb {vec(card.get('core', (.7, .68, .62)))} }} }}\n"


def bench(b, z):
    kinds = {
        "wood": "pigment { wood turbulence 0.08 omega .6 scale <6,6,60> rotate <4,83,7> translate <30,11,5> color_map { [0 rgb <.40,.24,.115>] [.55 rgb <.33,.185,.08>] [.9 rgb <.22,.115,.045>] [1 rgb <.3,.16,.07>] } } finish { diffuse .85 reflection { .01,.05 fresnel off } } normal { wrinkles .2 scale <40,2,2> }",
        "mat": "pigment { granite scale 4 color_map { [0 rgb .012] [1 rgb .035] } } normal { bumps .4 scale .5 } finish { diffuse .9 }",
        "steel": "pigment { granite scale 40 color_map { [0 rgb <.13,.12,.11>] [1 rgb <.2,.19,.18>] } } finish { diffuse .8 reflection { .12 metallic } } normal { bumps .15 scale <12,.3,1> }",
        "paper": "pigment { bozo scale 90 color_map { [0 rgb <.62,.6,.54>] [1 rgb <.68,.66,.6>] } } normal { bumps .05 scale 1 } finish { diffuse .95 }",
        "cloth": "pigment { checker rgb <.05,.08,.16>, rgb <.035,.06,.13> scale .55 rotate z*21 warp { turbulence .03 } } normal { wrinkles .8 scale 9 } finish { diffuse .9 }",
        "stone": "pigment { granite scale 14 turbulence .3 color_map { [0 rgb <.09,.09,.1>] [.5 rgb <.2,.2,.21>] [1 rgb <.4,.4,.4>] } } finish { diffuse .8 reflection { .01,.08 fresnel off } }",
    }
    return f"plane {{ z, {z:.5f} texture {{ {kinds[b['kind']]} }} }}\n"


def clutter(items, z):
    out = ""
    for c in items:
        x, y, turn = c["at"][0], c["at"][1], c.get("turn", 0)
        put = f"rotate z*{turn} translate <{x},{y},{z:.4f}>"
        steel = "pigment { rgb <.35,.34,.33> } finish { diffuse .4 reflection { .35 metallic } } normal { bumps .1 scale .3 }"
        if c["kind"] == "bolt":
            thread = " ".join(f"torus {{ 4.6,.42 rotate z*90 translate x*{k:.2f} }}" for k in np.arange(12, 42, 1.25))
            out += (f"union {{ prism {{ 0,7,7 {','.join(f'<{9 * math.cos(math.pi * k / 3):.3f},{9 * math.sin(math.pi * k / 3):.3f}>' for k in range(7))} rotate z*-90 translate x*0 }}"
                    f" cylinder {{ <7,0,0>,<42,0,0>,4.6 }} {thread} texture {{ {steel} }} rotate x*20 translate z*8 {put} }}\n")
        elif c["kind"] == "pencil":
            out += (f"union {{ cylinder {{ <0,0,3.6>,<150,0,3.6>,3.6 pigment {{ rgb {vec(c['colour'])} }} finish {{ diffuse .8 reflection {{ .02,.3 fresnel off }} }} }}"
                    f" cone {{ <0,0,3.6>,3.6,<-14,0,3.6>,.9 pigment {{ rgb <.5,.34,.18> }} }} cone {{ <-13.9,0,3.6>,.95,<-18,0,3.6>,.2 pigment {{ rgb .03 }} }} {put} }}\n")
        elif c["kind"] == "nut":
            out += (f"difference {{ prism {{ 0,6.5,7 {','.join(f'<{7.5 * math.cos(math.pi * k / 3):.3f},{7.5 * math.sin(math.pi * k / 3):.3f}>' for k in range(7))} rotate x*90 translate z*6.5 }}"
                    f" cylinder {{ <0,0,-1>,<0,0,9>,4 }} texture {{ {steel} }} {put} }}\n")
        elif c["kind"] == "shell":
            r = c["radius"]
            out += (f"difference {{ cylinder {{ <-11,0,0>,<11,0,0>,{r + 1.8} }} cylinder {{ <-12,0,0>,<12,0,0>,{r} }} box {{ <-99,-99,0>,<99,99,99> }}"
                    f" translate z*{r + 1.8} texture {{ {steel} }} {put} }}\n")
    return out


GLOW = 16  # radiance of the room's picture where it is white


def surroundings(path, light, camera, lobe):
    """Writes what the metal mirrors: walls, lamps and the dark phone, spread by the
    facets' lobe (radians), as a picture of all directions for map_type 1, turned so
    that z is up."""
    h, w = 256, 512
    e = (0.5 - (np.arange(h) + 0.5) / h)[:, None] * math.pi
    a = ((np.arange(w) + 0.5) / w)[None, :] * 2 * math.pi
    d = np.stack(np.broadcast_arrays(np.cos(a) * np.cos(e), -np.sin(a) * np.cos(e), np.sin(e)), -1)
    height = 0.75 + 0.5 * d[..., 2:] + 0.25 * np.sin(3 * a[..., None] + 1) * np.cos(e)[..., None]
    sky = np.array(light["walls"]) * np.clip(height, 0.1, None)
    spread = lambda to, s: np.exp((d @ (to / np.linalg.norm(to)) - 1) / s**2)
    sky *= 1 - 0.55 * spread(camera.place, max(lobe, 0.15))[..., None]
    for lamp in light["lamps"]:
        c, u, v = (np.array(lamp[k], float) for k in ("at", "u", "v"))
        n = np.cross(u, v)
        for i in np.linspace(-0.4, 0.4, 5):
            for j in np.linspace(-0.4, 0.4, 5):
                p = c + i * u + j * v
                solid = abs(n @ p) / np.linalg.norm(p) ** 3 / 25
                sky += lamp["radiance"] * solid / (2 * math.pi * lobe**2) * spread(p, lobe)[..., None] * np.array(lamp.get("colour", (1, 1, 1)))
    cv2.imwrite(path, (np.clip(sky[..., ::-1] / GLOW, 0, 1) * 65535).astype(np.uint16))


def room(light, camera, env):
    """What glows all round, the lamps and windows as area lights, hands, the phone."""
    out = (f'sphere {{ 0, 4000 hollow no_shadow pigment {{ image_map {{ png "{env}" gamma 1.0 map_type 1 interpolate 2 }} rotate x*90 }}'
           f" finish {{ ambient 0 diffuse 0 emission {GLOW} }} }}\n")
    for lamp in light["lamps"]:
        c, u, v = (np.array(lamp[k], float) for k in ("at", "u", "v"))
        n = np.cross(u, v)
        d = np.linalg.norm(c)
        i = lamp["radiance"] * abs(n @ c) / (math.pi * d**3)  # irradiance over pi
        a, b = lamp.get("grid", (5, 5))
        out += (f"light_source {{ {vec(c)}, rgb {vec(i * np.array(lamp.get('colour', (1, 1, 1))))}"
                f" area_light {vec(u)}, {vec(v)}, {a}, {b} adaptive 1 area_illumination on }}\n")
    for b in light.get("blockers", []):
        out += f"sphere {{ {vec(b['at'])}, {b['radius']} pigment {{ rgb {vec(b.get('colour', (.4, .25, .18)))} }} no_reflection }}\n"
    p, r, d, f = camera.place, camera.right, camera.down, camera.forward
    m = [*r, *-f, *d, *(p - 1.5 * f)]
    return out + f"box {{ <-18,0,-60>,<54,8,90> pigment {{ rgb .03 }} no_reflection matrix <{','.join(f'{v:.6f}' for v in m)}> }}\n"


class Camera:
    """A pinhole. A pixel's centre is at whole numbers, (0, 0) the top left one's."""

    def __init__(self, c):
        t, az = math.radians(c["tilt"]), math.radians(c["azimuth"])
        self.forward = -np.array([math.sin(t) * math.cos(az), math.sin(t) * math.sin(az), math.cos(t)])
        self.place = np.array([*c["target"], 0.0]) - c["distance"] * self.forward
        up = np.array([0.0, 1.0, 0.0])
        right = np.cross(self.forward, up)
        right /= np.linalg.norm(right)
        down = np.cross(self.forward, right)
        a = math.radians(c.get("roll", 0.0))
        self.right = right * math.cos(a) + down * math.sin(a)
        self.down = -right * math.sin(a) + down * math.cos(a)
        self.w, self.h = c.get("size", (4032, 3024))
        self.f = c["focal35"] * math.hypot(self.w, self.h) / math.hypot(36, 24)
        self.cx, self.cy = (self.w - 1) / 2, (self.h - 1) / 2

    def pixel(self, p):
        """Where the pinhole images a point, before lens distortion."""
        q = np.asarray(p) - self.place
        z = q @ self.forward
        return np.array([self.cx + self.f * (q @ self.right) / z, self.cy + self.f * (q @ self.down) / z])

    def pov(self, x0, y0, x1, y1):
        """The part of the picture from (x0, y0) to (x1, y1), in pixels from border to border."""
        u, v = (x0 + x1 - 1) / 2 - self.cx, (y0 + y1 - 1) / 2 - self.cy
        return (f"camera {{ perspective location {vec(self.place)} right {vec((x1 - x0) * self.right)} up {vec((y0 - y1) * self.down)}"
                f" direction {vec(self.f * self.forward + u * self.right + v * self.down)} }}\n")


def text(scene, card_png, span, folder):
    """Everything but the camera, as POV-Ray text; the strips, their truth to be asked."""
    card, s = scene["card"], scene["surface"]
    g = Ground(s, card)
    strips = [Strip(d, g, scene["seed"] + i) for i, d in enumerate(scene["strips"])]
    z = scene["bench"].get("z")
    if z is None:
        z = g.z - 12 if g.kind == "flat" else (g.z - g.r - 25 if g.kind == "journal" else g.z - g.r - s["wall"])
    if s.get("beside"):
        z = -card["thickness"]
    cam, env = Camera(scene["camera"]), folder + "/room.png"
    surroundings(env, scene["light"], cam, s.get("lobe", 0.2))
    out = HEAD.format(walls=vec(np.multiply(scene["light"]["walls"], 0.8))) + room(scene["light"], cam, env)
    out += bench(scene["bench"], z) + part(s, g, card) + sheet(card, card_png, span)
    out += "".join(p.mesh() for p in strips) + clutter(scene.get("clutter", []), z)
    return out, strips

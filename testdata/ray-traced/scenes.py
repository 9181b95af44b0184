"""Writes scenes.json: what each photo shows. python3 scenes.py > scenes.json"""
import json

import numpy as np

# Linear reflectances of plastic: invented.
COLOURS = {"green": (0.06, 0.36, 0.12), "red": (0.5, 0.05, 0.04), "blue": (0.05, 0.12, 0.45), "yellow": (0.72, 0.55, 0.06),
           "white": (0.78, 0.77, 0.74), "grey": (0.2, 0.2, 0.21), "violet": (0.22, 0.06, 0.32), "orange": (0.7, 0.22, 0.03),
           "black": (0.03, 0.03, 0.03)}

window = lambda az, el=45, radiance=6, size=800: lamp(az, el, 1600, size, size, radiance, (0.95, 1, 1.07))
tube = lambda az, el=75, radiance=7: lamp(az, el, 1700, 1300, 160, radiance, (1.03, 1, 0.93))
desk = lambda az, el=50: lamp(az, el, 500, 60, 60, 45, (1.1, 1, 0.8))


def lamp(az, el, far, w, h, radiance, colour):
    a, e = np.radians([az, el])
    at = far * np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])
    u = w * np.array([-np.sin(a), np.cos(a), 0])
    v = h * np.array([-np.cos(a) * np.sin(e), -np.sin(a) * np.sin(e), np.cos(e)])
    r = lambda x: [round(float(c), 3) for c in x]
    return {"at": r(at), "u": r(u), "v": r(v), "radiance": radiance, "colour": colour, "grid": [3, 3]}


LIGHTS = {
    "window": {"walls": [0.42, 0.41, 0.39], "lamps": [window(130)]},
    "window right": {"walls": [0.35, 0.35, 0.35], "lamps": [window(20, 40)]},
    "workshop": {"walls": [0.3, 0.29, 0.27], "lamps": [tube(90), tube(-60, 60), window(160, 25, 3)]},
    "overcast": {"walls": [0.75, 0.78, 0.82], "lamps": [window(200, 60, 2, 1400)]},
    "desk lamp": {"walls": [0.2, 0.18, 0.15], "lamps": [desk(120), tube(0, 70, 3)]},
    "hand": {"walls": [0.4, 0.38, 0.35], "lamps": [window(150, 50)], "blockers": [{"at": [-105, 45, 120], "radius": 32}, {"at": [-80, 30, 110], "radius": 16}]},
}

METALS = {
    "ground": {"metal": [0.6, 0.6, 0.6], "dull": 0.3, "gloss": 0.45, "rough": 0.06, "pitch": 0.1, "depth": 0.06, "lobe": 0.16},
    "overlay": {"metal": [0.42, 0.42, 0.43], "dull": 0.5, "gloss": 0.35, "rough": 0.08, "pitch": 0.25, "depth": 0.05, "lobe": 0.3},
    "copper": {"metal": [0.6, 0.42, 0.3], "dull": 0.4, "gloss": 0.4, "rough": 0.06, "pitch": 0.2, "depth": 0.06, "lobe": 0.22},
    "polished": {"metal": [0.66, 0.65, 0.63], "dull": 0.12, "gloss": 0.75, "rough": 0.025, "pitch": 0.06, "depth": 0.03, "lobe": 0.1},
    "cast": {"metal": [0.3, 0.3, 0.29], "dull": 0.7, "gloss": 0.2, "rough": 0.12, "lines": "none", "pitch": 0.4, "depth": 0.12, "lobe": 0.35},
    "milled": {"metal": [0.55, 0.55, 0.56], "dull": 0.35, "gloss": 0.4, "rough": 0.05, "pitch": 0.3, "depth": 0.12, "lobe": 0.18, "lines": "y"},
}

PHONES = {
    "A": {"model": "phone A", "full_well": 5000, "read": 3, "sharpen": 0.7, "sharpen_radius": 1.0, "quality": 92, "denoise": ["bilateral", 0.02], "filmic": 0.6},
    "B": {"model": "phone B", "full_well": 2500, "read": 4, "sharpen": 1.3, "sharpen_radius": 1.4, "quality": 88, "denoise": ["bilateral", 0.035], "filmic": 0.9, "saturation": 1.15, "local": 0.25},
    "C": {"model": "phone C", "full_well": 1200, "read": 5, "sharpen": 0.9, "sharpen_radius": 0.9, "quality": 95, "denoise": ["nlm", 0.02], "filmic": 0.75, "saturation": 1.1, "local": 0.15},
}
OPTICS = {
    "A": {"blur": 0.55, "defocus": 0.3, "k1": 0.012, "k2": -0.02, "p1": 0.0002, "fringe": [1.0001, 1, 0.9999], "flare": 0.015},
    "B": {"blur": 0.65, "defocus": 0.6, "k1": -0.02, "k2": 0.03, "p2": -0.0003, "fringe": [1.0003, 1, 0.9998], "flare": 0.03},
    "C": {"blur": 0.5, "defocus": 0.9, "k1": 0.03, "k2": -0.05, "p1": -0.0002, "fringe": [0.9999, 1, 1.0002], "flare": 0.02},
}
FOCAL = {"A": 26, "B": 27, "C": 24}


def scene(name, seed, phone, light, card, surface, strip, camera, told, bench="wood", clutter=(), soft=0.0, expose=0.75, **more):
    kind = METALS[surface.pop("of")]
    card = {"serial": "6C3H2P", "dpi": 1200, "ink_um": 6, "ink": 0.05, "paper": 0.8, "thickness": 0.2, "sheen": 0.02, **card}
    strip = {"thickness": 0.06, "clear": 0.2, "ragged": 0.3, **strip, "colour": COLOURS[strip["colour"]]}
    optics = {**OPTICS[phone], "defocus": OPTICS[phone]["defocus"] + soft}
    return {"name": name, "seed": seed, "card": card, "surface": {**kind, **surface}, "strips": [strip],
            "camera": {"focal35": FOCAL[phone], **camera}, "light": LIGHTS[light], "bench": {"kind": bench}, "clutter": list(clutter),
            "optics": optics, "develop": {**PHONES[phone], "expose": expose, "exposure": 1.0, **more}, "told": told}


def look(x, y, distance, tilt=5, azimuth=250, roll=0):
    return {"target": [x, y], "distance": distance, "tilt": tilt, "azimuth": azimuth, "roll": roll}


bench, rider = {"layout": "bench"}, {"layout": "rider"}
flat = {"surface": "flat"}
shell = lambda r: {"surface": "shell", "radius_mm": r}
journal = lambda r: {"surface": "journal", "radius_mm": r}
bolt = {"kind": "bolt", "at": [62, -52], "turn": 70}
pencil = {"kind": "pencil", "at": [-95, 52], "turn": -9, "colour": [0.5, 0.12, 0.02]}
nut = {"kind": "nut", "at": [-55, 30], "turn": 10}
shell2 = {"kind": "shell", "at": [70, 20], "turn": 40, "radius": 26}

SCENES = [
    # A rider in a shell.
    scene("shell-green", 101, "A", "window", rider, {"kind": "shell", "radius": 27, "wall": 1.8, "length": 26, "of": "overlay"},
          {"centre": [0.5, -9.5], "length": 20, "width": 1.6, "colour": "green"}, look(0, -3, 140, 6, 240, 4), shell(27), "mat", [nut]),
    scene("shell-red", 102, "B", "workshop", rider, {"kind": "shell", "radius": 32, "wall": 2, "length": 28, "of": "copper", "hole": [6, 6, 3]},
          {"centre": [-1, -10], "length": 22, "width": 2.4, "taper": 0.15, "colour": "red"}, look(0, -4, 160, 12, 280, -20), shell(32), "steel", [shell2]),
    scene("shell-blue", 103, "C", "hand", {**rider, "dpi": 600}, {"kind": "shell", "radius": 24, "wall": 1.6, "length": 24, "of": "overlay"},
          {"centre": [0, -9], "length": 18, "width": 1.1, "colour": "blue", "thickness": 0.08}, look(0, -3, 120, 10, 90, 88), shell(24), "cloth"),
    scene("shell-yellow", 104, "A", "overcast", rider, {"kind": "shell", "radius": 30, "wall": 1.8, "length": 26, "of": "overlay"},
          {"centre": [0, 10], "length": 21, "width": 3.2, "taper": -0.2, "bow": 0.06, "colour": "yellow", "thickness": 0.03}, look(0, 3, 170, 15, 60, 182), shell(30), "paper", [bolt]),
    # A rider on a journal.
    scene("journal-green", 105, "A", "window", rider, {"kind": "journal", "radius": 27, "length": 27, "cheek": 1.25, "of": "ground"},
          {"centre": [0, -9], "length": 20, "width": 1.9, "colour": "green"}, look(0, -4, 150, 8, 260, 0), journal(27), "mat"),
    scene("journal-red", 106, "C", "workshop", rider, {"kind": "journal", "radius": 24, "length": 30, "of": "polished"},
          {"centre": [1, -9.3], "length": 20, "width": 1.3, "taper": 0.08, "colour": "red"}, look(0, -4, 150, 6, 300, 12), journal(24), "cloth"),
    scene("journal-blue", 107, "B", "overcast", {**rider, "dpi": 600}, {"kind": "journal", "radius": 30, "length": 30, "cheek": 1.2, "of": "ground"},
          {"centre": [0, 9.8], "length": 22, "width": 2.6, "colour": "blue"}, look(0, 5, 170, 10, 80, -5), journal(30), "wood"),
    # A rider on a flat face.
    scene("cap-violet", 108, "B", "workshop", rider, {"kind": "flat", "extent": [-30, -26, 30, 22], "of": "milled"},
          {"centre": [0, -10], "angle": 3, "length": 20, "width": 0.9, "colour": "violet", "thickness": 0.12}, look(0, -4, 130, 12, 200, 10), flat, "wood", [bolt]),
    scene("cap-grey", 109, "A", "window right", rider, {"kind": "flat", "extent": [-30, -26, 30, 22], "of": "ground"},
          {"centre": [0, -9.5], "angle": -4, "length": 20, "width": 2.0, "colour": "grey"}, look(0, -4, 150, 5, 20, 40), flat, "mat"),
    scene("cap-white", 110, "C", "desk lamp", rider, {"kind": "flat", "extent": [-30, -26, 30, 22], "of": "cast"},
          {"centre": [0, -10], "angle": 2, "length": 20, "width": 1.5, "colour": "white"}, look(0, -4, 140, 7, 320, -30), flat, "stone", [nut]),
    scene("cap-orange", 111, "A", "workshop", {**rider, "curl": 0.15}, {"kind": "flat", "extent": [-30, -26, 30, 22], "of": "milled"},
          {"centre": [0, -10], "angle": -2, "length": 21, "width": 2.8, "taper": 0.1, "colour": "orange"}, look(0, -4, 200, 20, 180, 5), flat, "steel"),
    # A bench card.
    scene("plate-green", 112, "A", "window", bench, {"kind": "flat", "of": "ground"},
          {"centre": [3, -36], "angle": 4, "length": 26, "width": 1.8, "taper": 0.06, "colour": "green"}, look(0, -10, 190, 9, 250, 5), flat, "wood", [bolt, pencil]),
    scene("plate-red", 113, "B", "workshop", {**bench, "dpi": 600}, {"kind": "flat", "of": "cast"},
          {"centre": [-8, -38], "angle": -12, "length": 28, "width": 2.6, "colour": "red"}, look(0, -10, 200, 18, 120, -3), flat, "mat", [pencil]),
    scene("plate-blue", 114, "C", "overcast", {**bench, "curl": 0.3}, {"kind": "flat", "of": "milled"},
          {"centre": [0, -37], "angle": 1, "length": 25, "width": 3.6, "taper": -0.15, "colour": "blue"}, look(0, -10, 210, 6, 300, 90), flat, "stone"),
    scene("bowl-yellow", 115, "A", "window", {**bench, "thickness": 1.0}, {"kind": "shell", "beside": True, "radius": 26, "wall": 1.8, "length": 24, "axis_y": -57, "of": "overlay"},
          {"centre": [0, 0], "length": 20, "width": 2.2, "colour": "yellow"}, look(0, -25, 230, 7, 270, 0), {"height_mm": 0.83}, "wood", [pencil]),
    scene("bowl-red", 116, "B", "overcast", {**bench, "thickness": 0.2}, {"kind": "shell", "beside": True, "radius": 24, "wall": 2, "length": 26, "axis_y": -55, "of": "copper"},
          {"centre": [2, 0], "length": 21, "width": 1.7, "taper": 0.1, "colour": "red"}, look(0, -24, 220, 10, 200, 3), {"height_mm": 1.83}, "stone", [bolt]),
]

# Two photos of one strip, leaning to either side of it.
for k, (name, az) in enumerate({"left": 90, "right": 270}.items()):
    SCENES.append(scene(f"pair-shell-{name}", 118, "A", "workshop", rider, {"kind": "shell", "radius": 28, "wall": 1.8, "length": 26, "of": "overlay"},
                        {"centre": [0, -9.5], "length": 20, "width": 2.1, "taper": 0.1, "colour": "green"}, look(0, -4, 150, 14 + k, az, 3 - 4 * k), {"pair": f"pair-shell-{name}"}, "mat"))
    SCENES.append(scene(f"pair-bowl-{name}", 119, "B", "overcast", bench, {"kind": "shell", "beside": True, "radius": 26, "wall": 2, "length": 26, "axis_y": -56, "of": "overlay"},
                        {"centre": [0, 0], "length": 21, "width": 1.9, "colour": "blue"}, look(0, -26, 230, 13 + k, az, 2), {"pair": f"pair-bowl-{name}"}, "wood"))

for s in SCENES:  # the bowl's strip lies at the bowl's bottom line
    if s["surface"].get("beside"):
        s["strips"][0]["centre"][1] = 0.0

def again(name, of, phone, **more):
    """The same view by another phone, to be traced only once."""
    s = next(s for s in SCENES if s["name"] == of)
    s = {**s, "name": name, "trace": of, "optics": {**OPTICS[phone]}, "develop": {**s["develop"], **PHONES[phone], **more}}
    SCENES.append(s)
    return s


again("shell-green-b", "shell-green", "B")
again("shell-green-c", "shell-green", "C", expose=0.5)
again("cap-violet-blurred", "cap-violet", "A")["optics"]["defocus"] = 8
again("journal-red-a", "journal-red", "A", expose=0.9)
again("bowl-yellow-b", "bowl-yellow", "B")
again("cap-violet-c", "cap-violet", "C")
again("plate-green-b", "plate-green", "B", expose=1.15)
again("plate-green-c", "plate-green", "C")

if __name__ == "__main__":
    print(json.dumps(SCENES, indent=1))

"""A phone's camera: a linear picture becomes a JPEG as a phone would make it."""
import math

import cv2
import numpy as np
import piexif
from PIL import Image

# From linear sRGB to what the sensor's filters pass, a made-up but usual crosstalk.
SENSOR = np.array([[0.72, 0.24, 0.04], [0.17, 0.70, 0.13], [0.03, 0.28, 0.69]])


def lens(linear, pixels_each, o):
    """Blurs a picture that has `pixels_each` samples to a sensor pixel: defocus, the
    lens itself, the pixel's own square."""
    r = o["defocus"] * pixels_each
    if r > 0.05:
        n = int(r) + 2
        y, x = np.mgrid[-n : n + 1, -n : n + 1]
        disc = np.clip(r + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
        linear = cv2.filter2D(linear, -1, disc / disc.sum(), borderType=cv2.BORDER_REPLICATE)
    s = o["blur"] * pixels_each
    linear = cv2.GaussianBlur(linear, (0, 0), s, borderType=cv2.BORDER_REPLICATE)
    if o.get("flare"):
        small = cv2.resize(linear, None, fx=1 / 16, fy=1 / 16, interpolation=cv2.INTER_AREA)
        veil = cv2.GaussianBlur(small, (0, 0), 25)
        linear = (1 - o["flare"]) * linear + o["flare"] * cv2.resize(veil, linear.shape[1::-1])
    n = round(pixels_each)
    # A box of an even size moves the picture by half a sample.
    return cv2.boxFilter(linear, -1, (n, n), borderType=cv2.BORDER_REPLICATE), (n + 1) % 2 / 2


def pinhole_map(cam, o, gain, box):
    """Where a pinhole would image what each pixel of box shows: radial and decentring
    distortion, and the magnification of one colour."""
    x0, y0, x1, y1 = box
    y, x = np.mgrid[y0:y1, x0:x1].astype(np.float32)
    xd, yd = (x - cam.cx) / cam.f / gain, (y - cam.cy) / cam.f / gain
    k1, k2, p1, p2 = o.get("k1", 0), o.get("k2", 0), o.get("p1", 0), o.get("p2", 0)
    xu, yu = xd.copy(), yd.copy()
    for _ in range(6):
        r2 = xu * xu + yu * yu
        g = 1 + k1 * r2 + k2 * r2 * r2
        xu = (xd - 2 * p1 * xu * yu - p2 * (r2 + 2 * xu * xu)) / g
        yu = (yd - p1 * (r2 + 2 * yu * yu) - 2 * p2 * xu * yu) / g
    return cam.cx + cam.f * xu, cam.cy + cam.f * yu


def develop(linear, p, rng):
    """Sensor and processing. linear: the light on each pixel, 1 a white card."""
    h, w, _ = linear.shape
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w * w + h * h) * 4
    light = linear * (1 - p.get("vignetting", 0.25) * r2)[..., None]
    gain = np.array(p.get("sensor_gain", (0.55, 1.0, 0.62)), np.float32)  # green sees most
    raw = (light @ SENSOR.T.astype(np.float32)) * gain * p["exposure"]
    mosaic = np.empty((h, w), np.float32)  # RGGB
    mosaic[0::2, 0::2], mosaic[0::2, 1::2] = raw[0::2, 0::2, 0], raw[0::2, 1::2, 1]
    mosaic[1::2, 0::2], mosaic[1::2, 1::2] = raw[1::2, 0::2, 1], raw[1::2, 1::2, 2]
    well = p["full_well"]
    electrons = rng.poisson(np.clip(mosaic, 0, 1.3) * well).astype(np.float32)
    electrons *= 1 + 0.006 * rng.standard_normal((h, w)).astype(np.float32)
    electrons += p["read"] * rng.standard_normal((h, w)).astype(np.float32)
    adc = np.clip(np.round(64 + electrons / well * 959), 0, 1023)  # ten bits over a black of 64
    level = (adc - 64) / 959
    white = 1 / (SENSOR.sum(1) * gain) * np.array(p.get("cast", (1, 1, 1)))
    white /= white[1]
    level[0::2, 0::2] *= white[0]
    level[1::2, 1::2] *= white[2]
    limit = 1.0  # what burns out in green burns out white
    sixteen = np.clip(np.minimum(level, limit) * 52000 + 4000, 0, 65535).astype(np.uint16)
    rgb = cv2.cvtColor(sixteen, cv2.COLOR_BayerBG2RGB_EA).astype(np.float32)
    rgb = (rgb - 4000) / 52000
    matrix = np.linalg.inv(np.diag(1 / SENSOR.sum(1)) @ SENSOR).astype(np.float32)
    sat = p.get("saturation", 1.0)
    luma = np.array([0.2126, 0.7152, 0.0722], np.float32)
    matrix = (sat * np.eye(3) + (1 - sat) * luma).astype(np.float32) @ matrix
    rgb = np.clip(rgb @ matrix.T, 0, None)
    rgb = tone(rgb, p)
    ycc = cv2.cvtColor(np.clip(rgb, 0, 1).astype(np.float32), cv2.COLOR_RGB2YCrCb)
    luma, chroma = ycc[..., 0], ycc[..., 1:]
    luma = denoise(luma, p)
    for i in range(2):
        chroma[..., i] = cv2.GaussianBlur(chroma[..., i], (0, 0), p.get("chroma_blur", 1.2))
    soft = cv2.GaussianBlur(luma, (0, 0), p["sharpen_radius"])
    halo = p["sharpen"] * (luma - soft)
    core = p.get("coring", 0.004)  # small differences are taken for noise
    halo = np.sign(halo) * np.maximum(abs(halo) - core, 0)
    ycc[..., 0] = luma + np.clip(halo, -p.get("halo_limit", 0.25), p.get("halo_limit", 0.25))
    rgb = cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB)
    return np.clip(rgb * 255 + 0.5, 0, 255).astype(np.uint8)


def tone(rgb, p):
    """A filmic curve (toe, straight part, shoulder), then sRGB; with `local` the shadows
    are lifted and the highlights held back over broad areas first, as phones do."""
    rgb = rgb * p.get("gain", 1.0)
    if p.get("local"):
        y = rgb @ np.array([0.2126, 0.7152, 0.0722], np.float32)
        log = np.log(np.maximum(y, 1e-3))
        small = cv2.resize(log, None, fx=1 / 8, fy=1 / 8, interpolation=cv2.INTER_AREA)
        base = guided(small, p.get("local_radius", 24), 0.15)
        base = cv2.resize(base, log.shape[::-1], interpolation=cv2.INTER_LINEAR)
        rgb = rgb * np.exp(-p["local"] * (base - math.log(0.3)))[..., None]
    a, b, c, d, e = 2.51, 0.03, 2.43, 0.59, 0.14  # a rational film curve
    film = lambda v: np.clip(v * (a * v + b) / (v * (c * v + d) + e), 0, 1)
    x = rgb * 0.8
    k = p.get("filmic", 0.6)
    y = k * film(x) / film(np.float32(0.8 * 1.6)) + (1 - k) * np.minimum(rgb, 1)
    y = np.clip(y, 0, 1)
    return np.where(y <= 0.0031308, 12.92 * y, 1.055 * np.power(np.maximum(y, 1e-6), 1 / 2.4) - 0.055)


def guided(x, r, eps):
    """An edge-keeping smoothing (guided filter, He, Sun and Tang 2010)."""
    box = lambda v: cv2.blur(v, (2 * r + 1, 2 * r + 1))
    m = box(x)
    a = (box(x * x) - m * m) / (box(x * x) - m * m + eps)
    return box(a) * x + box(m - a * m)


def denoise(luma, p):
    how, much = p.get("denoise", ("bilateral", 0.02))
    if how == "bilateral":
        return cv2.bilateralFilter(luma.astype(np.float32), 5, much, 1.6)
    if how == "nlm":  # on 8 bits, the only ones OpenCV's takes; the rest is put back
        eight = np.clip(luma * 255 + 0.5, 0, 255).astype(np.uint8)
        clean = cv2.fastNlMeansDenoising(eight, None, much * 255, 3, 11).astype(np.float32) / 255
        return 0.85 * clean + 0.15 * luma
    return luma


def save(path, rgb, p, focal35):
    zeroth = {piexif.ImageIFD.Make: b"invented", piexif.ImageIFD.Model: p["model"].encode(),
              piexif.ImageIFD.Orientation: 1, piexif.ImageIFD.Software: b"ray traced"}
    exif = {piexif.ExifIFD.FocalLength: (int(focal35 / p.get("crop", 6.1) * 100), 100),
            piexif.ExifIFD.FocalLengthIn35mmFilm: int(round(focal35 + p.get("exif_error", 0.3))),
            piexif.ExifIFD.DateTimeOriginal: b"2026:11:28 10:00:00"}
    Image.fromarray(rgb).save(path, "JPEG", quality=p["quality"], subsampling="4:2:0",
                              exif=piexif.dump({"0th": zeroth, "Exif": exif}))

"""The phone: mosaic, noise, demosaicing, white balance, noise reduction, local and global
tone, sharpening, and the JPEG with its EXIF."""
import math

import cv2
import numpy as np
from PIL import Image

from texture import smoothstep

f32 = np.float32

# from linear B, G, R of the scene to those of the sensor
CCM = np.array([[0.75, 0.2, 0.05], [0.12, 0.7, 0.18], [0.03, 0.25, 0.72]], f32)


def vignette(s, xs, ys):
    W, H = (s.cam.W, s.cam.H)
    return (1 - s.vignetting * ((((ys - H / 2) / (W / 2)) ** 2)[:, None] + (((xs - W / 2) / (W / 2)) ** 2)[None])).astype(
        f32
    ) * f32(s.gain)


def sensor(s, img, x0, y0, rng):
    H, W = img.shape[:2]
    img = img * vignette(s, np.arange(W) + x0, np.arange(H) + y0)[..., None]
    raw = cv2.transform(img, (np.diag(s.wb_raw) @ CCM).astype(f32))
    m = np.empty((H, W), f32)
    m[0::2, 0::2] = raw[0::2, 0::2, 2]
    m[0::2, 1::2] = raw[0::2, 1::2, 1]
    m[1::2, 0::2] = raw[1::2, 0::2, 1]
    m[1::2, 1::2] = raw[1::2, 1::2, 0]
    e = np.maximum(m, 0) * f32(s.full_well)
    m = (e + np.sqrt(e + f32(s.read_noise**2)) * rng.standard_normal(m.shape, dtype=f32)) / f32(s.full_well)
    m16 = (np.clip(m * f32(0.98) + f32(0.02), 0, 1) * 4095 + f32(0.5)).astype(np.uint16) * 16
    code = cv2.COLOR_BayerBG2BGR_EA if s.demosaic == "ea" else cv2.COLOR_BayerBG2BGR
    c = cv2.cvtColor(m16, code).astype(f32) / f32(65520.0)
    c = np.maximum((c - f32(0.02)) / f32(0.98), -0.01)
    c = np.minimum(c / s.wb_raw.astype(f32), 1.0) * s.wb_cast.astype(f32)
    return np.maximum(cv2.transform(c, np.linalg.inv(CCM).astype(f32)), 0)


def local_base(s, base):
    """local gain's low-pass log luma at 1/24, from the coarse frame"""
    H, W = base.shape[:2]
    b = base * vignette(s, np.arange(W) * 3 + 1, np.arange(H) * 3 + 1)[..., None]
    l = np.log2(b @ np.array([0.07, 0.72, 0.21], f32) + 0.01)
    sml = cv2.resize(l, None, fx=1 / 8, fy=1 / 8, interpolation=cv2.INTER_AREA)
    return (
        cv2.GaussianBlur(sml, (0, 0), s.local_sigma * 0.66)
        if s.local_kind == "gauss"
        else cv2.bilateralFilter(sml, 9, 1.2, s.local_sigma * 0.66)
    )


YW = np.array([[0.114, 0.587, 0.299]], f32)


def curve(s, c):
    t = s.tone
    x = np.linspace(0, 4, 8193)
    if t == "srgb":
        z = np.clip(x, 0, 1)
    elif t == "filmic":
        a = x * 0.9
        z = np.clip(a * (2.51 * a + 0.03) / (a * (2.43 * a + 0.59) + 0.14), 0, 1)
    elif t == "shoulder":
        z = (1 - np.exp(-1.6 * x)) / (1 - math.exp(-1.6 * 1.15))
    else:
        z = x / (1 + 0.25 * x) * 1.25
    z = np.clip(z, 0, 1)
    g = z ** (1 / 2.2) if t == "filmic" else np.where(z <= 0.0031308, 12.92 * z, 1.055 * z ** (1 / 2.4) - 0.055)
    g = (1 - s.contrast) * g + s.contrast * smoothstep(g)
    g = np.clip(s.black + (1 - s.black) * g, 0, 1).astype(f32)
    xs = np.linspace(0, 2, 4097)
    lut = np.interp(xs * xs, x, g).astype(f32)
    i = np.sqrt(np.clip(c, 0, 3.99)) * f32(2048)
    j = i.astype(np.int32)
    a = lut[j]
    z = a + (lut[np.minimum(j + 1, 4096)] - a) * (i - j)
    y = cv2.transform(z, YW)
    return y[..., None] + f32(s.saturation) * (z - y[..., None])


def local_gain(s, c, bl):
    return c * np.clip(np.exp2(-s.local * (bl + 2)), 0.35, 3.5)[..., None]


def tone(s, c, bl):
    v = np.sqrt(np.clip(c, 0, 4))
    y = cv2.transform(v, YW)
    ch = v - y[..., None]
    if s.denoise > 0:
        sg = s.denoise / math.sqrt(s.full_well) * 0.5
        y = cv2.bilateralFilter(y, 5, float(sg), 1.4)
        if s.denoise > 2.5:
            y = cv2.bilateralFilter(y, 5, float(sg), 1.6)
        ch = cv2.GaussianBlur(ch, (0, 0), 1.0 + 0.6 * s.denoise)
    c = np.maximum(y[..., None] + ch, 0) ** 2
    if s.local > 0:
        c = local_gain(s, c, bl)
    z = curve(s, c)
    y = cv2.transform(z, YW)
    amt, rad, lim = s.sharpen
    u = y - cv2.GaussianBlur(y, (0, 0), rad)
    u = np.sign(u) * np.maximum(np.abs(u) - f32(s.sharpen_from), 0)
    yn = y + f32(amt) * u
    if lim > 0:
        k = np.ones((3, 3), np.uint8)
        hi = cv2.dilate(y, k)
        lo = cv2.erode(y, k)
        m = f32(lim) * (hi - lo) + f32(0.01)
        yn = np.clip(yn, lo - m, hi + m)
    z = z + (yn - y)[..., None]
    return np.clip(z, 0, 1)


def develop(s, base, roi, rng):
    """whole photo, uint8"""
    W, H = (s.cam.W, s.cam.H)
    x0, y0, x1, y1 = s.roi
    h, w = base.shape[:2]
    b = base * vignette(s, np.arange(w) * 3 + 1, np.arange(h) * 3 + 1)[..., None]
    b = np.minimum(cv2.transform(b, CCM), 1) * s.wb_cast.astype(f32)
    b = np.maximum(cv2.transform(b, np.linalg.inv(CCM).astype(f32)), 0)
    bl = local_base(s, base) if s.local > 0 else None
    if s.local > 0:
        b = local_gain(s, b, cv2.resize(bl, (w, h), interpolation=cv2.INTER_CUBIC))
    out = (np.clip(curve(s, b), 0, 1) * 255 + 0.5).astype(np.uint8)
    out = cv2.resize(out, (W, H), interpolation=cv2.INTER_LINEAR)
    n = (
        (rng.standard_normal((512, 512)) * 255 * 0.6 / math.sqrt(s.full_well) / (1 + s.denoise))
        .round()
        .astype(np.int16)
    )
    n = np.tile(n, (H // 512 + 1, W // 512 + 1))[:H, :W, None]
    np.clip(out + n, 0, 255, out=(tmp := np.empty(out.shape, np.int16)))
    out = tmp.astype(np.uint8)
    if s.local > 0:
        ys, xs = (np.arange(y0, y1), np.arange(x0, x1))
        mx = np.broadcast_to(((xs - 1) / 24 - 0.48).astype(f32)[None], (y1 - y0, x1 - x0))
        my = np.broadcast_to(((ys - 1) / 24 - 0.48).astype(f32)[:, None], (y1 - y0, x1 - x0))
        bl = cv2.remap(
            bl, np.ascontiguousarray(mx), np.ascontiguousarray(my), cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        )
    z = tone(s, sensor(s, roi, x0, y0, rng), bl)
    p = 10
    out[y0 + p : y1 - p, x0 + p : x1 - p] = (z * 255 + 0.5).astype(np.uint8)[p:-p, p:-p]
    return out


def save(s, z, path):
    im = z
    if s.resize:
        im = cv2.resize(im, s.resize, interpolation=cv2.INTER_AREA)
    if s.crop:
        x0, y0, x1, y1 = s.crop
        im = np.ascontiguousarray(im[y0:y1, x0:x1])
    o = s.orient
    if o == 2:
        im = im[:, ::-1]
    elif o == 3:
        im = im[::-1, ::-1]
    elif o == 4:
        im = im[::-1]
    elif o == 5:
        im = im.transpose(1, 0, 2)
    elif o == 6:
        im = np.rot90(im, 1)
    elif o == 7:
        im = im[::-1, ::-1].transpose(1, 0, 2)
    elif o == 8:
        im = np.rot90(im, -1)
    p = Image.fromarray(np.ascontiguousarray(im[:, :, ::-1]))
    ex = Image.Exif()
    if s.exif != "none":
        ex[274] = o
        ex[271] = "Invented"
        ex[272] = "Second"
        ifd = {}
        if s.exif in ("full", "f35"):
            ifd[41989] = int(round(s.f35))
        if s.exif == "full":
            ifd[37386] = round(s.f35 / 6.0, 2)
        ifd[40962] = im.shape[1]
        ifd[40963] = im.shape[0]
        ex[34665] = ifd
        p.save(path, "JPEG", quality=s.quality, subsampling=s.subsampling, exif=ex.tobytes())
    else:
        p.save(path, "JPEG", quality=s.quality, subsampling=s.subsampling)

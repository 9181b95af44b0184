"""Where things are: the camera with its lens, the pose of the card, points of the metal.

The metal's frame: x along the strip, y across it, z towards the camera, 0 in the strip's
middle; a shell and a journal are cylinders about axes along x."""
import math

import numpy as np

f32 = np.float32


def turn(ax, a):
    """Rotation by a about the unit vector ax."""
    c, s = (math.cos(a), math.sin(a))
    x, y, z = ax
    return np.array(
        [
            [c + x * x * (1 - c), x * y * (1 - c) - z * s, x * z * (1 - c) + y * s],
            [y * x * (1 - c) + z * s, c + y * y * (1 - c), y * z * (1 - c) - x * s],
            [z * x * (1 - c) - y * s, z * y * (1 - c) + x * s, c + z * z * (1 - c)],
        ]
    )


class Camera:
    """A pinhole with two radial terms. R's rows are its axes: right, down, forward."""

    def __init__(self, W, H, f, cx, cy, k1, k2, O, R):
        self.W, self.H, self.f, self.cx, self.cy, self.k1, self.k2 = W, H, f, cx, cy, k1, k2
        self.O, self.R = np.array(O, float), R

    def project(self, P):
        q = (np.asarray(P, float) - self.O) @ self.R.T
        x = q[..., :2] / q[..., 2:]
        r2 = (x**2).sum(-1, keepdims=True)
        x = x * (1 + self.k1 * r2 + self.k2 * r2 * r2)
        return x * self.f + np.array([self.cx, self.cy])

    def depth(self, P):
        return float((np.asarray(P) - self.O) @ self.R[2])

    def rays(self, px, py):
        """Directions of pixels px by py, three components h x w, 1 along the camera's axis."""
        xd = ((px - self.cx) / self.f)[None]
        yd = ((py - self.cy) / self.f)[:, None]
        xd = xd.astype(f32)
        yd = yd.astype(f32)
        rd2 = xd * xd + yd * yd
        t = np.linspace(0, 1.2, 4000)
        td = t * (1 + self.k1 * t * t + self.k2 * t**4)
        g2 = np.linspace(0, 1, 4097)
        gd = np.sqrt(g2)
        gl = np.interp(gd, td, t) / np.maximum(gd, 1e-09)
        gl[0] = 1
        gl = gl.astype(f32)
        i = rd2 * 4096
        i0 = i.astype(np.int32)
        k = gl[i0]
        k = k + (gl[i0 + 1] - k) * (i - i0)
        x = xd * k
        y = yd * k
        R = self.R.astype(f32)
        return [x * R[0, i] + y * R[1, i] + R[2, i] for i in range(3)]


def look_at(target, normal, d, tilt, az, roll):
    """Place and axes of a camera d from the target, tilted off the normal towards azimuth az."""
    n = np.array(normal, float)
    n /= np.linalg.norm(n)
    ex = np.array([1, 0, 0.0])
    ex = ex - n * (ex @ n)
    ex /= np.linalg.norm(ex)
    ey = np.cross(n, ex)
    v = math.cos(tilt) * n + math.sin(tilt) * (math.cos(az) * ex + math.sin(az) * ey)
    O = np.array(target) + d * v
    z = -v
    x = math.cos(roll) * ex + math.sin(roll) * ey
    x = x - z * (x @ z)
    x /= np.linalg.norm(x)
    y = np.cross(z, x)
    return O, np.stack([x, y, z])


def card_pose(s):
    """Middle, axes and normal of the card's face in the metal's frame."""
    R = s.R
    th = s.th_c
    t = s.card_t
    if s.card_on == "flat":
        C = np.array([s.card_x, s.v_c, t])
        n = np.array([0, 0, 1.0])
    elif s.card_on == "shell":
        ch = R * math.cos(math.asin(6.0 / R)) if s.layout != "bench" else R
        C = np.array([s.card_x, (ch - t) * math.sin(th), R - (ch - t) * math.cos(th)])
        n = np.array([0, -math.sin(th), math.cos(th)])
    elif s.card_on == "journal":
        C = np.array([s.card_x, (R + t) * math.sin(th), -R + (R + t) * math.cos(th)])
        n = np.array([0, math.sin(th), math.cos(th)])
    elif s.card_on == "apart":
        C = np.array(s.apart_C, float)
        n = np.array(s.apart_n, float)
    n = n / np.linalg.norm(n)
    ex = np.array([1.0, 0, 0])
    ex = ex - n * (ex @ n)
    ex /= np.linalg.norm(ex)
    ey = np.cross(n, ex)
    a = s.card_rot
    x = math.cos(a) * ex + math.sin(a) * ey
    y = np.cross(n, x)
    if s.card_tilt:
        q = turn(x, s.card_tilt)
        y = q @ y
        n = q @ n
    return C, x, y, n


def metal_point(s, x, v):
    """The point x along and v across, along the metal."""
    x = np.asarray(x, float)
    v = np.asarray(v, float)
    if s.curve == "flat":
        return np.stack([x, v, 0 * x], -1)
    th = v / s.R
    if s.curve == "shell":
        return np.stack([x, s.R * np.sin(th), s.R * (1 - np.cos(th))], -1)
    return np.stack([x, s.R * np.sin(th), -s.R * (1 - np.cos(th))], -1)

"""From linear light to a JPEG that a phone or borescope might have written."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from PIL import Image as Picture

from noise import Image
from pictures import Shot

_EXIF_IFD = 0x8769


def develop(linear: Image, shot: Shot, seed: int) -> Image:
    """Vignette, expose, add sensor noise, tone curve and a little sharpening; sRGB in [0, 1]."""
    height, width = linear.shape[:2]
    y, x = np.mgrid[:height, :width].astype(np.float32)
    radius = np.hypot(x - width / 2, y - height / 2) / np.hypot(width / 2, height / 2)
    scope = shot.view == "borescope"
    fall = 1 - (0.80 if scope else 0.22) * radius ** (3.2 if scope else 2.6)
    light = _without_sparks(np.clip(linear, 0, None)) * fall[..., None]
    blur = 1.0 if scope else 0.55
    light = cv2.GaussianBlur(light, (0, 0), blur)
    veil = cv2.GaussianBlur(np.clip(light, 0, np.percentile(light, 99.7)), (0, 0), 60)
    light = light + (0.05 if scope else 0.02) * veil
    exposure = (
        (0.7 if shot.side.finish == "primer" else 1.0)
        * (0.30 if scope else 0.34)
        / float(np.percentile(light.mean(axis=2), 60))
    )
    light = _tone(light * exposure)
    draw = np.random.default_rng(seed)
    shot_noise = draw.normal(0, 1, light.shape).astype(np.float32)
    colour_noise = cv2.GaussianBlur(draw.normal(0, 1, light.shape).astype(np.float32), (0, 0), 1.2)
    gain = 0.011 if scope else 0.006
    light = light + gain * np.sqrt(np.clip(light, 0.01, 1)) * (shot_noise + 1.3 * colour_noise)
    display = np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.clip(light, 1e-6, None) ** (1 / 2.4) - 0.055
    )
    display = display + 0.35 * (display - cv2.GaussianBlur(display, (0, 0), 1.2))
    return np.clip(display, 0, 1).astype(np.float32)


def _without_sparks(linear: Image) -> Image:
    """Replace single pixels far brighter than their neighbours: sampling noise of caustics, not light."""
    calm = np.stack([cv2.medianBlur(np.ascontiguousarray(linear[..., k]), 5) for k in range(3)], -1)
    spark = (linear.mean(axis=2) > 1.6 * calm.mean(axis=2) + 1e-6)[..., None]
    return np.where(spark, calm, linear)


def _tone(light: Image) -> Image:
    """Soft shoulder: highlights roll off instead of clipping flat."""
    knee = 0.55
    over = np.clip(light - knee, 0, None)
    return np.where(light <= knee, light, knee + (1 - knee) * (1 - np.exp(-over / (1 - knee))))


def save(display: Image, shot: Shot, path: Path, quality: int = 89) -> None:
    """Write the JPEG with plausible EXIF; orientation 6 stores the picture on its side."""
    upright = Picture.fromarray(np.round(display * 255).astype(np.uint8))
    stored = upright.transpose(Picture.Transpose.ROTATE_90) if shot.orientation == 6 else upright
    exif = Picture.Exif()
    scope = shot.view == "borescope"
    date = shot.taken.replace("-", ":").replace("T", " ")
    exif[0x010F] = "Farrowlight" if scope else "Pellmore"
    exif[0x0110] = "FL-6 probe" if scope else "Pellmore P4"
    exif[0x0112] = shot.orientation
    exif[0x0132] = date
    exif[0x0131] = "rendered; not a photograph"
    details = exif.get_ifd(_EXIF_IFD)
    details[0x9003] = details[0x9004] = date
    details[0x9010] = details[0x9011] = "+02:00"
    # Focal length in mm for a sensor 5.6 mm wide (phone) or 1.6 mm (probe).
    long_side = max(shot.camera.size)
    details[0x920A] = round(shot.camera.focal_px / long_side * (1.6 if scope else 5.6), 3)
    details[0xA405] = round(shot.camera.focal_px / long_side * 36.0)
    details[0xA002], details[0xA003] = stored.size
    details[0x829D] = 4.0 if scope else 1.9
    details[0x8827] = 400 if scope else 125
    stored.save(path, quality=quality, subsampling=0 if scope else 2, exif=exif.tobytes(), optimize=True)

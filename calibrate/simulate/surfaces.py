"""What lies under the light: table tops, mats and cloth with their colour and grain."""

from __future__ import annotations

import functools

import numpy as np

from calibrate.arrays import Array, Plane

TILE_MM, TILE_PX_PER_MM = 400, 3
SURFACES = (
    "light table",
    "white sheet",
    "wood",
    "cutting mat",
    "dark mat",
    "cloth",
    "dark cloth",
)


@functools.lru_cache(maxsize=4)
def tile_of(surface: str) -> Plane:
    """Reflectance (n, n, 3) of a square of `TILE_MM` that repeats without a seam, with a rim of 4."""
    if surface not in SURFACES:
        raise ValueError(f"surface is one of {', '.join(SURFACES)}, not {surface!r}")
    n = TILE_MM * TILE_PX_PER_MM
    rng = np.random.default_rng(SURFACES.index(surface))
    x = np.arange(n) / TILE_PX_PER_MM
    base = {
        "light table": (0.74, 0.72, 0.67),
        "white sheet": (0.86, 0.86, 0.85),
        "wood": (0.47, 0.29, 0.16),
        "cutting mat": (0.07, 0.24, 0.17),
        "dark mat": (0.03, 0.032, 0.036),
        "cloth": (0.42, 0.45, 0.56),
        "dark cloth": (0.05, 0.05, 0.08),
    }[surface]
    uneven = 0.001 if surface == "white sheet" else 0.015
    tile = np.ones((n, n)) * (1 + uneven * _clouds(rng, n, 40.0, 40.0))
    if surface == "wood":
        grain = 0.6 * _clouds(rng, n, 60.0, 1.2) + 0.5 * _clouds(rng, n, 120.0, 7.0)
        boards = np.where(np.mod(x, 100.0) < 0.7, 0.45, 1.0)[:, None]
        tile *= np.exp(0.22 * grain) * boards
    if surface in ("cloth", "dark cloth"):
        weave = np.sin(2 * np.pi * x / 0.8)[:, None] * np.sin(2 * np.pi * x / 0.8)[None, :]
        tile *= (
            1 + 0.06 * weave + 0.05 * _clouds(rng, n, 6.0, 0.6) + 0.05 * _clouds(rng, n, 0.6, 6.0)
        )
    colour = tile[..., None] * np.array(base)
    if surface in ("cutting mat", "dark mat"):
        fine = np.abs(np.mod(x + 5.0, 10.0) - 5.0) < 0.25
        bold = np.abs(np.mod(x + 25.0, 50.0) - 25.0) < 0.5
        lines = np.maximum(fine * 0.55, bold * 0.9)
        cover = np.maximum(lines[:, None], lines[None, :])[..., None]
        ink = np.array((0.62, 0.66, 0.42) if surface == "cutting mat" else (0.3, 0.3, 0.3))
        colour = colour * (1 - cover) + ink * cover
    return np.pad(
        np.clip(colour, 0.005, 0.95).astype(np.float32), ((4, 4), (4, 4), (0, 0)), mode="wrap"
    )


def _clouds(rng: np.random.Generator, n: int, x_mm: float, y_mm: float) -> Array:
    """Smooth periodic noise (n, n) of unit deviation with these lengths along x and y."""
    fx = np.fft.rfftfreq(n, 1 / TILE_PX_PER_MM)
    fy = np.fft.fftfreq(n, 1 / TILE_PX_PER_MM)
    keep = np.exp(-2 * (np.pi * 0.5) ** 2 * ((fx[None, :] * x_mm) ** 2 + (fy[:, None] * y_mm) ** 2))
    noise = np.fft.irfft2(np.fft.rfft2(rng.standard_normal((n, n))) * keep, (n, n))
    return np.asarray(noise / max(float(noise.std()), 1e-12))

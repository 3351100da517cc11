"""Skirts drafted for sampled bodies in random styles, for the tests and for the benchmark."""

from __future__ import annotations

from typing import Any

import numpy as np

from configs.errors import DraftError
from drafting import Measurements, draft
from drafting.blocks import Draft, get, joined
from drafting.outline import is_simple

BODICES = {
    "fit": ("close", "easy"),
    "bust_dart": ("shoulder", "armhole", "side"),
    "neckline": ("round", "scoop", "v"),
}
SKIRTS = ("flared-skirt", "gored-skirt", "circle-skirt", "gathered-skirt", "pleated-skirt")


def made(block: str, body: tuple[float, float, float], fit: Any = None, **style: Any) -> Draft:
    """A skirt for waist, hip and waist to hip in cm."""
    keys = ("waist_girth", "hip_girth", "waist_to_hip")
    m = Measurements.from_dict({"unit": "cm", "measurements": dict(zip(keys, body, strict=True))})
    return draft(block, m, style, fit)


def failing(d: Draft) -> list[str]:
    """The checks that fail, with what they measured."""
    return [f"{c.name}: {c.value_mm} {c.text}" for c in d.checks() if not c.ok]


def sampled(
    block: str, rng: np.random.Generator
) -> tuple[tuple[float, float, float], dict[str, Any]]:
    """A body, hip from 25 cm under the waist to 45 cm over it, and a random style."""
    waist = rng.uniform(54, 140)
    body = (waist, max(waist + rng.uniform(-25, 45), 58.0), rng.uniform(16, 26))
    style: dict[str, Any] = {}
    for o in get(block).options:
        if rng.random() < 0.5:
            continue
        if o.choices and (o.kind == "choice" or rng.random() < 0.6):
            style[o.key] = str(rng.choice(list(o.choices)))
        elif o.kind == "number":
            style[o.key] = float(rng.uniform(o.low, o.high))
        else:
            style[o.key] = f"{rng.uniform(o.low, o.low + 0.5 * (o.high - o.low)):.1f} mm"
    style.pop("zip_length", None)  # a short one fails its check, as it must
    return body, style


def dressed(block: str, body: tuple[float, float, float], rng: np.random.Generator, style: dict[str, Any]) -> Draft:  # fmt: skip
    """A skirt in a style on a fitted bodice in a random one, for a body whose bust goes with it."""
    waist, hip, down = body
    bust = min(max(waist + rng.uniform(-4, 30), 60.0), 160.0)
    more = {
        "bust_girth": bust,
        "shoulder_length": rng.uniform(10.5, 14.5),
        "back_neck_to_waist": 30 + 0.12 * bust,
    }
    keys = {"waist_girth": waist, "hip_girth": hip, "waist_to_hip": down}
    m = Measurements.from_dict({"unit": "cm", **more, **keys})
    bodice = {k: str(rng.choice(v)) for k, v in BODICES.items()}
    skirt = {
        k: v
        for k, v in style.items()
        if not k.startswith(("waist_", "band_", "centre_", "gores", "facing_", "elastic_"))
    }
    return joined(draft("fitted-bodice", m, bodice), block, skirt)


def outcome(block: str, rng: np.random.Generator, dress: bool = False) -> str:
    """What became of one sampled skirt, or ``dress``: trued, refused, or what is wrong with it."""
    body, style = sampled(block, rng)
    try:
        d = dressed(block, body, rng, style) if dress else made(block, body, **style)
    except DraftError as error:
        assert all(f.what and f.remedy for f in error.faults), (body, style)
        return f"refused: {error.faults[0].where}"
    if not all(is_simple(p.unfolded()) for p in d.pieces.values()):
        return f"INVALID OUTLINE {body} {style}"
    wrong = failing(d)
    return f"check failed: {wrong[0]} {body} {style}" if wrong else "trued"

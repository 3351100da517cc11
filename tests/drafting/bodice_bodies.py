"""Random bodies for the fitted bodice, and what becomes of a draft for one."""

from __future__ import annotations

import random
from typing import Any

from configs.errors import DraftError
from drafting import Measurements
from drafting.blocks import draft

PLACES = ("shoulder", "armhole", "side")


def outcome(rng: random.Random) -> tuple[str, dict[str, Any]]:
    """'drafted', 'refused: …' or 'wrong: …' for a body of bust 60 to 160 cm in a random style; the body."""
    bust = rng.uniform(60, 160)
    body: dict[str, Any] = {
        "unit": "cm", "bust_girth": bust, "waist_girth": max(bust + rng.uniform(-30, 8), 46),
        "shoulder_length": rng.uniform(10, 15), "back_neck_to_waist": 30 + 0.12 * bust + rng.uniform(-2, 3),
    }  # fmt: skip
    if rng.random() < 0.5:
        body["bust_point_width"] = bust * rng.uniform(0.19, 0.23)
    style = {
        "fit": rng.choice(["close", "easy"]),
        "bust_dart": rng.choice(PLACES),
        "neckline": rng.choice(["round", "scoop", "v", "square"]),
        "opening": rng.choice(["back", "front"]),
    }
    fit = [{"change": "full bust", "by": rng.uniform(10, 120)}] if rng.random() < 0.4 else []
    if fit and rng.random() < 0.5:  # taken from the whole
        fit.append({"change": "bust", "by": -fit[0]["by"]})
    try:
        made = draft("fitted-bodice", Measurements.from_dict(body), style, fit)
    except DraftError as error:
        first = error.faults[0]
        assert first.what and first.remedy, first
        return f"refused: {first.where}", {**body, **style, "fit": fit}
    bad = [c.name for c in made.checks() if not c.ok]
    return (f"wrong: {bad[0]}" if bad else "drafted"), {**body, **style, "fit": fit}

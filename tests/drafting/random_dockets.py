"""Varied cloths and pieces for lays, by seed: halves on the fold, pairs, one-sided pieces, strips."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from drafting import Piece
from drafting.lay import Cloth, Rules

WAYS = ("none", "lengthwise", "crosswise", "double", "partial", "best")


@dataclass(frozen=True)
class Case:
    """One thing to lay: pieces, cloth, rules."""

    pieces: dict[str, Piece]
    cloth: Cloth
    rules: Rules


def case(seed: int) -> Case:
    """The same case for the same seed."""
    rng = np.random.default_rng(seed)
    width = float(rng.choice([900, 1150, 1400, 1500]))
    way = WAYS[seed % len(WAYS)]
    face = str(rng.choice(["in", "out"]))
    nap = str(
        rng.choice(["none", "two-way"] if way == "crosswise" else ["none", "one-way", "two-way"])
    )
    fold: dict[str, Any] = {"way": way, "face": face}
    if way == "partial":
        fold["over"] = f"{rng.uniform(0.25, 0.45) * width:.0f} mm"
    if way in ("lengthwise", "crosswise", "double") and rng.random() < 0.3:
        fold["open_from"] = f"{rng.uniform(700, 1100):.0f} mm"
    pieces = dict(_piece(rng, n, width) for n in range(int(rng.integers(3, 8))))
    halves = [n for n, p in pieces.items() if p.fold is not None]
    data: dict[str, Any] = {
        "width": width,
        "selvedge": float(rng.choice([0, 10])),
        "nap": nap,
        "fold": fold,
    }
    if halves and rng.random() < 0.4:
        data["opened"] = halves[:1]
    if way == "best" and rng.random() < 0.5:
        data["whole"] = "allowed"
        data.pop("opened", None)
    rules = Rules(float(rng.choice([0.0, 5.0])), {"all": 10.0} if rng.random() < 0.5 else {},
                  int(rng.choice([1, 1, 2])))  # fmt: skip
    return Case(pieces, Cloth.from_dict(data), rules)


def _piece(rng: np.random.Generator, n: int, width: float) -> tuple[str, Piece]:
    name = f"p{n}"
    wide, high = rng.uniform(0.06, 0.2) * width, rng.uniform(120.0, 500.0)
    kind = rng.choice(["half", "pair", "one-sided", "strip"])
    if kind == "half":
        inner = rng.uniform(0.3, 0.9) * high
        ring = [(0, 0), (wide, 0), (0.8 * wide, inner), (0.3 * wide, high), (0, 0.9 * high)]
        return name, Piece.from_outline(name, ring, cut=1, fold=((0, 0), (0, 0.9 * high)))
    if kind == "strip":
        ring = [(0, 0), (high, 0), (high, 60), (0, 60)]
        return name, Piece.from_outline(
            name, ring, cut=int(rng.integers(1, 4)), turns=(0, 90, 180, 270)
        )
    ring = [
        (0, 0),
        (wide, 0.1 * high),
        (1.1 * wide, 0.6 * high),
        (0.4 * wide, high),
        (0, 0.7 * high),
    ]
    if kind == "pair":
        return name, Piece.from_outline(name, ring, cut=2, pair=True)
    return name, Piece.from_outline(name, ring, cut=int(rng.integers(1, 3)))

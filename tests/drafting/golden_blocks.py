"""Bodies, styles and fit changes whose drafts were frozen before the blocks moved to the sheet.

``python tests/drafting/golden_blocks.py`` writes `golden_blocks.npz` from the code that is there.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from configs.errors import DraftError
from drafting import Measurements, draft
from drafting.blocks import Draft, get
from drafting.fit import KINDS

FILE = Path(__file__).with_name("golden_blocks.npz")
BLOCKS = ("straight-skirt", "quick-top")
COUNT = 200
Case = tuple[Measurements, dict[str, Any], list[dict[str, Any]]]


def _body(block: str, rng: np.random.Generator) -> Measurements:
    """A body in whole millimetres, far beyond the published tables."""
    bust = rng.integers(720, 1460)
    waist = bust + rng.integers(-260, 60) if block == "quick-top" else rng.integers(540, 1300)
    values = {
        "bust_girth": bust,
        "waist_girth": waist,
        "hip_girth_at_tailbone": bust + rng.integers(-60, 240),
        "neck_width": rng.integers(115, 175),
        "shoulder_length": rng.integers(100, 155),
        "back_neck_to_tailbone": rng.integers(520, 720),
        "hip_girth": max(waist + rng.integers(-60, 380), 640),
        "waist_to_hip": rng.integers(165, 250),
    }
    if rng.random() < 0.5:
        values |= {"head_girth": rng.integers(530, 610), "upper_arm_girth": int(0.31 * bust)}
    unit = str(rng.choice(["cm", "in", "mm"]))
    texts = {k: f"{v} mm" for k, v in values.items()}
    return Measurements.from_dict({"unit": unit, "measurements": texts})


def _style(block: str, rng: np.random.Generator) -> dict[str, Any]:
    """Up to seven options of the block, within their limits."""
    options = get(block).options
    out: dict[str, Any] = {}
    for i in rng.permutation(len(options))[: rng.integers(0, 8)]:
        o = options[i]
        if o.choices and (o.kind == "choice" or rng.random() < 0.6):
            out[o.key] = str(rng.choice(list(o.choices)))
        elif o.kind == "number":
            out[o.key] = float(rng.uniform(o.low, o.high))
        else:
            middle = o.default if isinstance(o.default, float) else 0.3 * (o.low + o.high)
            size = float(
                np.clip(middle * rng.uniform(0.6, 1.5) + rng.uniform(0, 20), o.low, o.high)
            )
            out[o.key] = f"{size:.1f} mm"
    return out


def cases(block: str) -> Iterator[Case]:
    """The frozen cases of one block, in order."""
    rng = np.random.default_rng(14)
    changes = [k for k in get(block).changes if k in KINDS]
    for _ in range(COUNT):
        body, style = _body(block, rng), _style(block, rng)
        fit = []
        for name in (
            rng.permutation(sorted(changes))[: rng.integers(0, 3)] if rng.random() < 0.4 else []
        ):
            kind = KINDS[str(name)]
            by = round(float(rng.uniform(0.1, 0.6)) * min(kind.limit_mm, 40.0), 1)
            change = {"change": kind.name, "by": f"{by} mm"}
            fit.append(change | ({"side": "left"} if kind.sided else {}))
        yield body, style, fit


def seen(made: Draft) -> dict[str, list[float]]:
    """What is compared, by piece and edge: start, a place at 0.4 of the way, length; notches,
    darts and marks of a piece as sums; in mm."""
    out: dict[str, list[float]] = {}
    for name, piece in made.pieces.items():
        for edge in piece.edges.values():
            at = edge.at(0.4 * edge.length_mm)[0]
            out[f"{name}/{edge.name}"] = [*edge.points[0], *at, edge.length_mm]
        rest = [
            sum(n.at_mm for n in piece.notches),
            sum(d.tip[0] + d.first[1] for d in piece.darts),
        ]
        out[f"{name}//"] = [*rest, float(sum(m.points.sum() for m in piece.marks)), *piece.grain[0]]
    return out


def drafted(block: str, case: Case) -> dict[str, list[float]] | str:
    """What a case gives now; the place of the fault where it is refused."""
    try:
        return seen(draft(block, *case))
    except DraftError as error:
        return error.faults[0].where


def write() -> None:
    """Freeze what the code gives now."""
    names: dict[str, Any] = {}
    arrays: dict[str, Any] = {}
    for block in BLOCKS:
        rows, keys = [], []
        for case in cases(block):
            result = drafted(block, case)
            if isinstance(result, str):
                keys.append(result)
                continue
            keys.append(list(result))
            rows += list(result.values())
        shared = list(dict.fromkeys(k for ks in keys if isinstance(ks, list) for k in ks))
        names[block] = {
            "keys": shared,
            "cases": [k if isinstance(k, str) else [shared.index(x) for x in k] for k in keys],
        }
        arrays[block] = np.array(rows, dtype=np.float32)
    np.savez_compressed(FILE, names=np.array(json.dumps(names)), **arrays)


def frozen(block: str) -> Iterator[dict[str, list[float]] | str]:
    """What each case gave when it was frozen."""
    with np.load(FILE) as data:
        names = json.loads(str(data["names"]))[block]
        rows = iter(data[block].tolist())
    for case in names["cases"]:
        yield case if isinstance(case, str) else {names["keys"][i]: next(rows) for i in case}


if __name__ == "__main__":
    write()
    sys.stdout.write(f"{FILE.stat().st_size / 1000:.0f} kB\n")

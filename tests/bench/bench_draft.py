"""How long a draft takes, and 1,000 sampled bodies without an invalid outline.

Run by hand: ``python tests/bench/bench_draft.py [bodies]``. The limits: one draft in under
10 ms in process; every body's draft closed, simple, mated and trued, or refused with a reason.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

import numpy as np

from configs.errors import DraftError
from drafting import Measurements, draft
from drafting.blocks import get, joined
from drafting.outline import is_simple

LIMIT_MS = 10.0
STYLES = {
    "neckline": ("round", "scoop", "v", "square", "boat"),
    "back_neckline": ("round", "scoop", "v", "square", "boat"),
    "sleeve": ("none", "cap", "short", "elbow"),
    "hem": ("level", "shirt-tail"),
    "waist": ("straight", "shaped"),
    "length": ("crop", "waist", "top", "tunic", "dress"),
    "neckline_finish": ("none", "facing", "bias"),
    "armhole_finish": ("none", "facing", "bias"),
    "gathers": ("none", "front", "both"),
    "centre_back": ("fold", "seam"),
    "pocket": ("none", "chest", "hip"),
    "side_opening": ("auto", "none"),
}
ALTO = {
    "unit": "in",
    "bust_girth": "36 3/4",
    "waist_girth": "30 1/2",
    "hip_girth_at_tailbone": 41,
    "neck_width": "5 1/2",
    "shoulder_length": "4 3/4",
    "back_neck_to_tailbone": 24,
}


def body(rng: np.random.Generator) -> Measurements:
    """A body far beyond the published tables: bust 60–160 cm, hips ± 30 cm from it."""
    bust = rng.uniform(600, 1600)
    return Measurements.from_dict(
        {
            "unit": "mm",
            "bust_girth": bust,
            "waist_girth": bust + rng.uniform(-300, 200),
            "hip_girth_at_tailbone": bust + rng.uniform(-300, 300),
            "neck_width": rng.uniform(95, 190),
            "shoulder_length": rng.uniform(85, 180),
            "back_neck_to_tailbone": rng.uniform(420, 820),
        }
    )


def study(count: int, styled: bool) -> Counter[str]:
    """Outcomes of ``count`` seeded bodies."""
    rng = np.random.default_rng(2026)
    outcome: Counter[str] = Counter()
    for _ in range(count):
        m = body(rng)
        style = {k: str(rng.choice(v)) for k, v in STYLES.items()} if styled else {}
        try:
            d = draft("quick-top", m, style)
        except DraftError as error:
            outcome["refused: " + error.faults[0].where] += 1
            continue
        if not all(is_simple(p.unfolded()) for p in d.pieces.values()):
            outcome["INVALID OUTLINE"] += 1
        failed = [c for c in d.checks() if not c.ok]
        outcome["check failed: " + failed[0].name if failed else "trued"] += 1
    return outcome


def skirts(count: int) -> tuple[Counter[str], float]:
    """Outcomes of ``count`` seeded skirts, hip from 25 cm under the waist to 45 cm over it, in random
    styles; and the median time of one, ms."""
    rng = np.random.default_rng(2026)
    outcome: Counter[str] = Counter()
    spent = []
    for _ in range(count):
        waist = rng.uniform(540, 1400)
        m = Measurements.from_dict(
            {
                "unit": "mm",
                "waist_girth": waist,
                "hip_girth": max(waist + rng.uniform(-250, 450), 580.0),
                "waist_to_hip": rng.uniform(160, 260),
            }
        )
        style = {
            "length": str(rng.choice(["short", "knee", "calf"])),
            "flare": float(rng.uniform(0, 300)) if rng.random() < 0.5 else 0.0,
            "centre_back": str(rng.choice(["seam", "fold"])),
            "waist_finish": str(rng.choice(["band", "facing", "none"])),
            "hip_ease": float(rng.uniform(10, 120)),
            "shaping": str(rng.choice(["auto", "auto", "darts", "gathers"])),
        }
        start = time.perf_counter()
        try:
            d = draft("straight-skirt", m, style)
        except DraftError as error:
            outcome["refused: " + error.faults[0].where] += 1
            continue
        spent.append(1000.0 * (time.perf_counter() - start))
        if not all(is_simple(p.unfolded()) for p in d.pieces.values()):
            outcome["INVALID OUTLINE"] += 1
        failed = [c for c in d.checks() if not c.ok]
        outcome["check failed: " + failed[0].name if failed else "trued"] += 1
    return outcome, float(np.median(spent))


def sleeves(count: int, styled: bool) -> tuple[Counter[str], float]:
    """Outcomes of ``count`` quick tops with a set-in sleeve, arms of 0.28 to 0.37 of the bust; and the
    median CPU time of top and sleeve together, ms."""
    rng = np.random.default_rng(2027)
    block = get("set-in-sleeve")
    outcome: Counter[str] = Counter()
    spent = []
    for _ in range(count):
        m = body(rng)
        arm = m["bust_girth"] * rng.uniform(0.28, 0.37)
        values = {**m.values, "upper_arm_girth": arm, "arm_length": rng.uniform(430, 720)}
        if rng.random() < 0.5:
            values["wrist_girth"] = arm * rng.uniform(0.48, 0.64)
        m = Measurements.from_dict({"unit": "mm", **values})
        style, fit, top = {}, [], []
        if styled:
            style = {o.key: str(rng.choice(list(o.choices))) for o in block.options if o.choices}
            for key, low, high in (
                ("fullness", 20, 400),
                ("cap_ease", 0, 50),
                ("cuff_depth", 15, 150),
            ):
                if rng.random() < 0.3:
                    style[key] = f"{rng.uniform(low, high):.0f} mm"
            for change, most in (
                ("upper arm", 60),
                ("cap height", 30),
                ("sleeve length", 100),
                ("wrist", 40),
            ):
                if rng.random() < 0.2:
                    fit.append({"change": change, "by": f"{rng.uniform(-most, most):.0f} mm"})
            if rng.random() < 0.3:
                top.append({"change": "shoulder out", "by": f"{rng.uniform(5, 40):.0f} mm"})
            if rng.random() < 0.2:
                top.append({"change": "one shoulder lower", "by": "15 mm", "side": "left"})
        start = time.process_time()
        try:
            d = joined(draft("quick-top", m, fit=top), block.name, style, fit)
        except DraftError as error:
            outcome["refused: " + error.faults[0].where] += 1
            continue
        spent.append(1000.0 * (time.process_time() - start))
        if not all(is_simple(p.unfolded(d.usual)) for p in d.pieces.values()):
            outcome["INVALID OUTLINE"] += 1
        failed = [c for c in d.checks() if not c.ok]
        outcome["check failed: " + failed[0].name if failed else "trued"] += 1
    return outcome, float(np.median(spent))


def timed(style: dict[str, str], times: int = 60) -> tuple[float, float]:
    """Median and worst of ``times`` drafts, ms."""
    m = Measurements.from_dict(ALTO)
    draft("quick-top", m, style)
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        draft("quick-top", m, style)
        spent.append(1000.0 * (time.perf_counter() - start))
    return float(np.median(spent)), max(spent)


def main() -> None:
    """All tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"{'one draft':<34}{'median ms':>10}{'worst ms':>10}{'of limit':>10}")
    cases: dict[str, dict[str, str]] = {
        "plain": {},
        "elbow sleeve, facing, pocket": {
            "sleeve": "elbow",
            "neckline_finish": "facing",
            "pocket": "hip",
        },
        "gathers, both facings, dress": {
            "gathers": "front",
            "neckline_finish": "facing",
            "armhole_finish": "facing",
            "length": "dress",
        },
    }
    for name, style in cases.items():
        median, worst = timed(style)
        print(f"{name:<34}{median:>10.2f}{worst:>10.2f}{median / LIMIT_MS:>9.0%}")
    for styled in (False, True):
        print(f"\n{count} bodies, {'random styles' if styled else 'plain'}")
        for outcome, number in study(count, styled).most_common():
            print(f"  {number:>5}  {outcome}")
    for styled in (False, True):
        found, median = sleeves(count, styled)
        words = "random styles" if styled else "plain"
        print(f"\n{count} set-in sleeves, {words}, {median:.2f} ms CPU with the top (median)")
        for outcome, number in found.most_common():
            print(f"  {number:>5}  {outcome}")
    found, median = skirts(count)
    print(f"\n{count} straight skirts, random styles, {median:.2f} ms each (median)")
    for outcome, number in found.most_common():
        print(f"  {number:>5}  {outcome}")


if __name__ == "__main__":
    main()

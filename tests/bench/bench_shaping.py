"""1,000 random chains of 1 to 5 operations of the scissors on random bodies.

Run by hand: ``python tests/bench/bench_shaping.py [chains]``. Counted: operations done, refused with
their reason, outlines that cross themselves, cutting lines that fail, seams that got lost, and how
many seams no longer mate, which the checks tell. The limits: none invalid, none lost.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from typing import Any

import numpy as np
import shapely

from configs.errors import ChalkbeamError
from configs.reader import Reader
from drafting import Measurements, draft
from drafting.shaping.changes import read_changes, replay
from drafting.shaping.state import Work
from drafting.truing import USUAL_ALLOWANCES, check_seams


def body(rng: np.random.Generator) -> Measurements:
    """A body from bust 76 to 146."""
    bust = rng.uniform(760, 1460)
    waist = bust - rng.uniform(20, 200)
    return Measurements.from_dict(
        {
            "unit": "mm",
            "bust_girth": bust,
            "waist_girth": waist,
            "hip_girth": waist + rng.uniform(100, 300),
            "hip_girth_at_tailbone": bust + rng.uniform(-20, 140),
            "neck_width": rng.uniform(120, 165),
            "shoulder_length": rng.uniform(105, 140),
            "back_neck_to_tailbone": rng.uniform(560, 680),
            "waist_to_hip": rng.uniform(180, 230),
        }
    )


def entry(rng: np.random.Generator, work: Work) -> dict[str, Any]:
    """A random operation on a random piece, its places among those that the piece has."""
    name = str(rng.choice(list(work.pieces)))
    piece = work.pieces[name]
    edges = list(piece.edges)

    def place() -> str:
        edge = str(rng.choice(edges))
        after = edges[(edges.index(edge) + 1) % len(edges)]
        ways = [f"{edge} 1/2", f"{edge} {int(rng.integers(5, 95))} % from {after}"]
        if any(n.edge == edge for n in piece.notches):
            ways.append(f"{edge} notch")
        if piece.darts and rng.random() < 0.3:
            ways = [f"dart {int(rng.integers(1, len(piece.darts) + 1))}"]
        return str(rng.choice(ways))

    a, b = (str(e) for e in rng.choice(edges, 2))
    darts = len(piece.darts)
    seam = f"seam {int(rng.integers(1e6))}"
    made: list[dict[str, Any]] = [
        {"cut": name, "from": place(), "to": place(), "seam": seam, "bend": int(rng.integers(-3, 4))},
        {"cut": name, "level": f"{int(rng.integers(2, 30))} below {a} at {_next(edges, a)}", "seam": seam},
        {"cut": name, "along": a, "by": int(rng.integers(2, 12)), "seam": seam},
        {"spread": name, "from": a, "to": b, "lines": int(rng.integers(1, 7)),
         "ratio": float(rng.choice([0.9, 1.2, 1.5, 2.0])), "as": str(rng.choice(["cloth", "gathers", "pleats"])),
         **({"hinge": b} if rng.random() < 0.5 else {})},
        {"spread": name, "from": place(), "to": place(), "by": float(rng.uniform(-2, 6))},
        {"lengthen": name, "at": f"{int(rng.integers(2, 30))} below {a} at {_next(edges, a)}", "by": float(rng.uniform(-4, 8))},
        {"seam at fold": name},
        {"unfold": name},
        {"part": name},
        {"true up": name, "edge": a},
        {"face": name, "edges": [a], "width": int(rng.integers(3, 8))},
        {"band": name, "edge": a, "width": int(rng.integers(2, 6))},
        {"strip": name, "edge": a, "width": int(rng.integers(1, 8))},
        {"copy": name, "for": "lining", "shorter": 2, "edge": a},
        {"copy": name, "for": "interfacing", "short": "2 mm"},
        {"cuff": [name], "edge": a, "width": int(rng.integers(2, 9)), "turned": bool(rng.random() < 0.5)},
    ]  # fmt: skip
    if darts:
        which = f"dart {int(rng.integers(1, darts + 1))}"
        made += 3 * [
            {"pivot": name, "from": which, "to": place(), "share": str(rng.choice(["1", "1/2", "1/3"])),
             "as": str(rng.choice(["dart", "flare", "gathers", "pleat"]))},
            {"turn": name, "dart": which, "into": str(rng.choice(["gathers", "ease", "pleat", "tuck"]))},
        ]  # fmt: skip
    return made[int(rng.integers(len(made)))]


def _next(edges: list[str], edge: str) -> str:
    return edges[(edges.index(edge) + 1) % len(edges)]


def faults(work: Work, seams: set[str]) -> list[str]:
    """What is unsound about a garment."""
    out = []
    for piece in work.pieces.values():
        if not shapely.LinearRing(piece.unfolded()).is_simple:
            out.append("INVALID OUTLINE")
        lengths = {n: e.length_mm + 1e-6 for n, e in piece.edges.items()}
        out += ["NOTCH OFF ITS EDGE" for n in piece.notches if not 0 <= n.at_mm <= lengths[n.edge]]
        shape = shapely.Polygon(piece.sewing_line).buffer(1.0)
        if not shape.covers(shapely.LineString(piece.grain)):
            out.append("GRAIN OUTSIDE")
    out += [
        "SEAM OF NO EDGE"
        for seam in work.seams
        if any(e not in work.pieces[p].edges for p, e in (*seam.a, *seam.b))
    ]
    told = {s.name.removeprefix("left ").removeprefix("right ") for s in work.seams}
    if not seams <= told:
        out.append("SEAM LOST")
    return out


def main() -> None:
    """All chains."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    rng = np.random.default_rng(20261128)
    found: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    spent = []
    for _ in range(count):
        block = str(rng.choice(["quick-top", "straight-skirt"]))
        try:
            made = draft(block, body(rng), {"opening": "none"} if block == "quick-top" else {})
        except ChalkbeamError:
            found["body refused"] += 1
            continue
        work = Work(made.pieces, made.seams, (), "cm")
        for _ in range(int(rng.integers(1, 6))):
            change = entry(rng, work)
            reader = Reader({"changes": [change]}, unit="cm")
            changes = read_changes(reader)
            start = time.perf_counter()
            before = {s.name.removeprefix("left ").removeprefix("right ") for s in work.seams}
            try:
                reader.done()
                work = replay(work, changes)
            except ChalkbeamError as error:
                found["refused"] += 1
                refused[f"{next(iter(change))}: {error.faults[0].what[:70]}"] += 1
                continue
            except Exception as error:
                found[f"CRASH {type(error).__name__}"] += 1
                print("crash:", change, repr(error)[:200])
                continue
            spent.append(1000.0 * (time.perf_counter() - start))
            found["done"] += 1
            found[f"  {next(iter(change))}"] += 1
            for fault in faults(work, before):
                found[fault] += 1
                print(fault, change)
        for piece in work.pieces.values():
            try:
                piece.cutting_line(USUAL_ALLOWANCES)
            except ChalkbeamError as error:
                found["no cutting line"] += 1
                refused[f"cutting line: {error.faults[0].where[:60]}"] += 1
        found["seams that no longer mate, told"] += sum(
            not c.ok for c in check_seams(work.pieces, work.seams, "cm")
        )
    print(
        f"{count} chains, {np.median(spent):.1f} ms an operation (median), {max(spent):.0f} at most"
    )
    for text, number in sorted(found.items(), key=lambda t: (t[0].startswith("  "), -t[1])):
        print(f"  {number:>6}  {text}")
    print("refusals")
    for text, number in refused.most_common(40):
        print(f"  {number:>6}  {text}")


if __name__ == "__main__":
    main()

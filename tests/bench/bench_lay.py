"""How good the lays are and how soon they come, against their targets; every plan judged.

Run by hand: ``python tests/bench/bench_lay.py PART… [--seconds 10] [--runs 3] [--nesting DIR]``.
Parts: first, open, cut, remnant, garment, against, memory. Fresh seeds at each run (``--seed`` fixes them).
``open`` needs the open garment instances of the cutting-and-packing field (ESICUP) as JSON in DIR;
it is skipped without them. ``against`` needs another checkout (``--against DIR``) and plans the same
garments with both, in turn, so that a busy machine slows both alike. Each plan shown on the way is judged by `judge` (tests/drafting).
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "drafting"))

from judge import cut_up, judge  # noqa: E402  (found only through the path above)

from drafting.lay import Cloth, Effort, Lay, Rules, plan  # noqa: E402
from drafting.lay.planner import lay_as_it_is  # noqa: E402
from drafting.piece import Piece  # noqa: E402
from drafting.placement import Placement  # noqa: E402

INSTANCES = ("albano", "mao", "shirts", "trousers")
BEST_PUBLISHED = {"albano": 89.82, "mao": 86.87, "shirts": 90.92, "trousers": 92.62}
VIOLATIONS: list[str] = []


def table(title: str, head: list[str], rows: list[list[Any]]) -> None:
    """A table in plain text, with what else the machine did: under load a search gets less done."""
    load = f" (load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores)" if os.name != "nt" else ""
    print(f"\n{title}{load}")
    cells = [head, *[[str(c) for c in r] for r in rows]]
    widths = [max(len(r[i]) for r in cells) for i in range(len(head))]
    for r in cells:
        print("  " + "  ".join(c.rjust(w) for c, w in zip(r, widths, strict=True)), flush=True)


def watched(pieces: Any, cloth: Cloth, seconds: float, rules: dict[str, Any], **how: Any) -> Lay:
    """A plan with every lay shown on the way judged; violations are counted."""
    seen: list[Lay] = []
    last = [math.inf, math.inf]

    def show(lay: Lay) -> None:
        now = [len(lay.left_out), lay.used_length_mm]
        if now != last:
            last[:] = now
            seen.append(lay)

    how.setdefault("distance_mm", 0.0)
    lay = plan(pieces, cloth, seconds, progress=show, **how)
    for one in [*seen, lay]:
        VIOLATIONS.extend(judge(one.placements, **rules))
        VIOLATIONS.extend(one.problems())
    return lay


# -- first plans ----------------------------------------------------------------------------------


def garment_like(rng: np.random.Generator, name: str) -> Piece:
    """A piece with curves and about forty points, 80 to 650 mm."""
    a = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    r = 1 + 0.18 * np.sin(2 * a + rng.uniform(0, 6)) + 0.1 * np.sin(3 * a + rng.uniform(0, 6))
    w, h = rng.uniform(80, 420), rng.uniform(80, 650)
    return Piece.from_outline(name, np.column_stack([w / 2 * r * np.cos(a), h / 2 * r * np.sin(a)]))


def first(options: argparse.Namespace, rng: np.random.Generator) -> None:
    """Seconds until the first valid plan; target 1 s to 25 pieces, 2 s at 60."""
    rows = []
    for count in (10, 25, 60):
        for name, data in (
            ("single", {"width": 1400}),
            ("folded", {"width": 1400, "fold": "lengthwise"}),
            ("remnant", {"outline": [[0, 0], [6000, 0], [5900, 1400], [50, 1350]],
                         "holes": [[[500, 500], [700, 500], [600, 600]]]}),
        ):  # fmt: skip
            took = []
            for _ in range(options.runs):
                pieces = {f"p{i}": garment_like(rng, f"p{i}") for i in range(count)}
                began = time.perf_counter()
                at: list[float] = []

                def show(lay: Lay, at: list[float] = at, began: float = began) -> bool:
                    at.append(time.perf_counter() - began)
                    VIOLATIONS.extend(lay.problems())
                    return False

                plan(pieces, Cloth.from_dict(data), 5.0, progress=show)
                took.append(at[0])
            limit = 1.0 if count <= 25 else 2.0
            rows.append([count, name, f"{max(took):.2f}", f"{limit:g}",
                         "ok" if max(took) <= limit else "MISSED"])  # fmt: skip
    table("First valid plan, worst of the runs", ["pieces", "cloth", "s", "limit", ""], rows)


# -- open instances -------------------------------------------------------------------------------


def instance(folder: Path, name: str, height: float = 1400.0) -> tuple[dict[str, Piece], Any]:
    """An open instance, scaled to cloth 1400 mm wide: our pieces, the library's items."""
    import spyrrow

    data = json.loads((folder / f"{name}.json").read_text())
    f = height / data["strip_height"]
    pieces, items = {}, []
    for it in data["items"]:
        ring = np.array(it["shape"]["data"], dtype=float) * f
        turns = it["allowed_orientations"]
        # the instance's x runs along the strip, as the piece's y does along the cloth
        own = np.column_stack([-ring[:, 1], ring[:, 0]])
        pieces[str(it["id"])] = Piece.from_outline(
            str(it["id"]), own, cut=it["demand"], turns=turns
        )
        items.append(
            spyrrow.Item(str(it["id"]), [tuple(p) for p in ring[:-1]], it["demand"], turns)
        )
    return pieces, spyrrow.StripPackingInstance(name, height, items)


def open_instances(options: argparse.Namespace, rng: np.random.Generator) -> None:
    """Density at the time given: the plain library, `plan`, and our own planner alone."""
    import spyrrow

    folder = Path(options.nesting)
    names = [n for n in options.instances if (folder / f"{n}.json").exists()]
    if not names:
        print("open: no instances found, skipped (--nesting DIR)")
        return
    rows = []
    ratio_plan, ratio_own = [], []
    for name in names:
        pieces, strip = instance(folder, name)
        rules = {"width": 1400.0}
        cloth = Cloth.from_dict({"width": 1400})
        found: dict[str, list[float]] = {"library": [], "plan": [], "own": []}
        for _ in range(options.runs):
            seed = int(rng.integers(2**31))
            config = spyrrow.StripPackingConfig(
                total_computation_time=int(options.seconds), seed=seed, early_termination=False
            )
            found["library"].append(100 * strip.solve(config).density)
            for key, library in (("plan", True), ("own", False)):
                lay = watched(
                    pieces, cloth, options.seconds, rules, effort=Effort(seed, library=library)
                )
                found[key].append(100 * lay.efficiency if not lay.left_out else 0.0)
        mean = {k: float(np.mean(v)) for k, v in found.items()}
        ratio_plan.append(mean["plan"] / mean["library"])
        ratio_own.append(mean["own"] / mean["library"])
        rows.append([name, sum(p.cut for p in pieces.values()),
                     *(f"{mean[k]:.2f}" for k in ("library", "plan", "own")),
                     f"{ratio_plan[-1]:.3f}", f"{ratio_own[-1]:.3f}", BEST_PUBLISHED[name]])  # fmt: skip
    rows.append(
        ["mean", "", "", "", "", f"{np.mean(ratio_plan):.3f}", f"{np.mean(ratio_own):.3f}", ""]
    )
    table(
        f"Open instances at {options.seconds:g} s, density %; targets 1.000 and 0.985",
        ["instance", "pieces", "library", "plan", "own", "plan/lib", "own/lib", "best published"],
        rows,
    )


# -- cut-up cloths ----------------------------------------------------------------------------------


def on_folded(parts: list[Any]) -> dict[str, Piece]:
    """Pieces of a cut-up folded cloth: halves where they touch the fold in one edge, else pairs."""
    pieces = {}
    for i, ring in enumerate(parts):
        own = np.column_stack([ring[:, 1], ring[:, 0]])
        edge = own[np.abs(own[:, 0]) < 1e-9]
        name = f"p{i}"
        if len(edge) == 2:
            pieces[name] = Piece.from_outline(name, own, fold=(tuple(edge[0]), tuple(edge[1])))
        else:
            pieces[name] = Piece.from_outline(name, own, cut=2, pair=True)
    return pieces


def on_single(parts: list[Any]) -> dict[str, Piece]:
    """Pieces of a cut-up single cloth."""
    return {
        f"p{i}": Piece.from_outline(f"p{i}", np.column_stack([-r[:, 1], r[:, 0]]))
        for i, r in enumerate(parts)
    }


def cut_cases(options: argparse.Namespace, rng: np.random.Generator) -> None:
    """Length over the known optimum on cloths cut into pieces and laid again."""
    targets = {"folded": 1.12, "single": 1.06, "locked": 1.15, "separation": 1.12, "stripe": 1.22}
    kinds = [k for k in targets if not options.kinds or k in options.kinds]
    rows = []
    for kind in kinds:
        for count in options.counts:
            over = [
                cut_case(kind, count, options.seconds, rng, options.bent)
                for _ in range(options.runs)
            ]
            rows.append([kind, count, f"{np.mean(over):.3f}", f"{min(over):.3f}",
                         f"{max(over):.3f}", targets[kind],
                         "ok" if np.mean(over) <= targets[kind] else "MISSED"])  # fmt: skip
    table(
        f"Cut-up cloths at {options.seconds:g} s, length over the known optimum",
        ["kind", "pieces", "mean", "best", "worst", "target", ""],
        rows,
    )


def cut_case(
    kind: str, count: int, seconds: float, rng: np.random.Generator, bent: bool = False
) -> float:
    """One cut-up cloth laid again: length found over the length it was cut from."""
    width = 700.0
    length = float(rng.uniform(900, 1500))
    gap = 8.0 if kind == "separation" else 0.0
    parts = cut_up(rng, length, width, count, gap=gap, bent=bent)
    seed = int(rng.integers(2**31))
    how: dict[str, Any] = {"effort": Effort(seed)}
    if kind == "folded":
        pieces = on_folded(parts)
        halves = [n for n, p in pieces.items() if p.fold is not None]
        cloth = Cloth.from_dict({"width": 2 * width, "fold": "lengthwise"})
        lay = watched(
            pieces, cloth, seconds, {"width": 2 * width, "fold": True, "on_fold": halves}, **how
        )
        return lay.used_length_mm / length
    pieces = on_single(parts)
    data: dict[str, Any] = {"width": width}
    rules: dict[str, Any] = {"width": width}
    best = length - gap
    if kind == "separation":
        how["distance_mm"] = gap
        rules["distance"] = gap
    if kind == "locked":
        # two pieces are locked where the cutting had them, so the optimum stays within reach
        chosen = rng.choice(count, 2, replace=False)
        how["locked"] = [Placement(f"p{i}", 1, (0.0, 0.0), 0.0, False, True) for i in chosen]
    if kind == "stripe":
        chosen = rng.choice(count, 3, replace=False)
        # the first point of each is put on the stripe where it lay when it was cut
        repeat = 60.0
        group, phases = [], []
        for i in chosen:
            ring = parts[i]
            at = (math.floor(ring[:, 0].mean() / repeat) * repeat, float(ring[:, 1].mean()))
            own = (-at[1], at[0])
            group.append({"piece": f"p{i}", "at": list(own)})
            phases.append((f"p{i}", own))
        data |= {"repeat": {"length": repeat}, "match": [group]}
        rules |= {"phases": phases, "repeat": (repeat, 0.0)}
    lay = watched(pieces, Cloth.from_dict(data), seconds, rules, **how)
    return lay.used_length_mm / best


# -- remnants ---------------------------------------------------------------------------------------


def remnant(options: argparse.Namespace, rng: np.random.Generator) -> None:
    """Remnants with two holes, 25 % slack, known feasible: is everything placed?"""
    placed, area = 0, []
    cases = max(10, options.runs)
    for _ in range(cases):
        width, length = 800.0, 1100.0
        slack = 0.25
        parts = cut_up(rng, length, width, int(rng.integers(9, 14)))
        # two of the parts become the holes; shrinking the others in place gives the slack
        areas = np.array([abs(_area(p)) for p in parts])
        small = list(np.argsort(areas)[:2])
        holes = [_shrunk(parts[i], 0.6) for i in small]
        rest = [p for i, p in enumerate(parts) if i not in small]
        f = math.sqrt(1 / (1 + slack))
        pieces = on_single([_shrunk(p, f) for p in rest])
        outline = [[0, 0], [length, 0], [length, width], [0, width]]
        cloth = Cloth.from_dict({"outline": outline, "holes": [h.tolist() for h in holes]})
        lay = watched(
            pieces, cloth, options.seconds,
            {"width": width, "outline": outline, "holes": holes}, effort=Effort(int(rng.integers(2**31))),
        )  # fmt: skip
        whole = sum(abs(_area(p.sewing_line)) for p in pieces.values())
        area.append(lay.cut_area_mm2 / whole)
        placed += not lay.left_out
    table(
        f"Remnants with two holes at {options.seconds:g} s; targets 7 of 10 and 95 %",
        ["cases", "all placed", "mean area placed", "least"],
        [[cases, placed, f"{100 * np.mean(area):.1f} %", f"{100 * min(area):.1f} %"]],
    )


def _area(ring: Any) -> float:
    x, y = np.asarray(ring)[:, 0], np.asarray(ring)[:, 1]
    return 0.5 * float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def _shrunk(ring: Any, factor: float) -> np.ndarray[Any, Any]:
    """Scaled about a point inside, so it stays within where it was (for star-shaped rings)."""
    from shapely.geometry import Polygon

    inner = Polygon(ring)
    d = 0.0
    step = 0.5
    while inner.buffer(-d - step).area > factor**2 * inner.area:
        d += step
    made = inner.buffer(-d, join_style="mitre")
    if made.geom_type != "Polygon":
        made = max(made.geoms, key=lambda g: g.area)
    return np.array(made.exterior.coords)[:-1]


# -- real garments ------------------------------------------------------------------------------------


def obvious(pieces: Any, cloth: Cloth, rules: Rules) -> float:
    """A person's obvious lay: piece after piece along the cloth, each beside the last where there is
    room across; halves along the fold. Length in mm."""
    from drafting.lay.job import make_job

    job = make_job(pieces, cloth, rules)
    gap = rules.distance_mm
    x = start = job.start
    y = job.bottom
    column = 0.0
    fold_end = start
    for i in sorted(job.items, key=lambda i: job.kinds[i.kind].how != "fold"):
        kind = job.kinds[i.kind]
        size = kind.stances[0].high - kind.stances[0].low
        if kind.how == "fold":
            fold_end += float(size[0]) + gap
            x = fold_end
            continue
        if y + size[1] > job.top + 1e-6:
            x, y, column = x + column, job.bottom, 0.0
        y += float(size[1]) + gap
        column = max(column, float(size[0]) + gap)
    return x + column - start - gap


def garments(options: argparse.Namespace, rng: np.random.Generator) -> None:
    """Real dockets on two widths, folded and single, against a person's obvious lay."""
    from drafting.docket import Docket

    rows = []
    folders = (ROOT / "configs" / "dockets", ROOT / "configs" / "styles")
    for path in sorted(p for folder in folders for p in folder.glob("*.yaml")):
        try:
            docket = Docket.load(path)
            pieces = docket.pieces()
        except ValueError as error:
            print(f"{path.name}: {error}")
            continue
        for width in (1150.0, 1400.0):
            for fold in ("lengthwise", "none"):
                cloth = Cloth.from_dict(
                    {"width": width, "fold": fold, "nap": "two-way", "selvedge": 10}
                )
                simple = obvious(pieces, cloth, docket.rules)
                effort = Effort(int(rng.integers(2**31)))
                lay = plan(pieces, cloth, options.seconds, rules=docket.rules, effort=effort)
                again = lay_as_it_is(pieces, cloth, lay.docket_placements(), docket.rules)
                VIOLATIONS.extend(again.problems() if not lay.left_out else [])
                saved = simple - lay.used_length_mm
                rows.append([path.stem, len(lay.placements), f"{width:.0f}", fold,
                             f"{simple:.0f}", f"{lay.used_length_mm:.0f}", f"{saved:.0f}",
                             f"{100 * saved / simple:.0f} %", f"{100 * lay.efficiency:.0f} %",
                             len(lay.left_out)])  # fmt: skip
    table(
        f"Dockets at {options.seconds:g} s against piece after piece, mm",
        ["docket", "lines", "width", "fold", "obvious", "planned", "saved", "", "used", "left out"],
        rows,
    )


# -- two planners side by side -----------------------------------------------------------------------

_PLANS = """
import sys, json
sys.path.insert(0, sys.argv[1])
from drafting.docket import Docket
from drafting.lay import Cloth, plan
for line in sys.stdin:
    ask = json.loads(line)
    docket = Docket.from_dict(ask["docket"])
    try:
        from drafting.lay import Effort, Rules
        how = {"effort": Effort(ask["seed"]), "rules": Rules(5.0, ask["allowances"])}
    except ImportError:  # before there were such
        how = {"seed": ask["seed"], "distance_mm": 5.0, "allowances": ask["allowances"]}
    lay = plan(docket.pieces(), Cloth.from_dict(ask["cloth"]), ask["seconds"], **how)
    print(json.dumps([lay.used_length_mm, lay.cut_area_mm2, len(lay.left_out), lay.problems()]), flush=True)
"""
CLOTHS: dict[str, dict[str, Any]] = {
    "folded 1400": {"width": 1400, "fold": "lengthwise", "nap": "two-way", "selvedge": 10},
    "single 1400": {"width": 1400, "nap": "two-way", "selvedge": 10},
    "single 1150, any turn": {"width": 1150, "selvedge": 10},
    "velvet": {"width": 1130, "fold": "lengthwise", "nap": "one-way", "selvedge": 12},
    "remnant": {
        "outline": [[0, 0], [2600, 0], [2450, 900], [1900, 1500], [60, 1440]],
        "holes": [[[900, 420], [940, 420], [940, 460], [900, 460]]],
    },
    "striped": {
        "width": 1500, "fold": "lengthwise", "nap": "two-way", "selvedge": 12,
        "repeat": {"length": 48}, "match": [["front.side", "back.side"]],
    },
}  # fmt: skip


def every_garment() -> dict[str, dict[str, Any]]:
    """Each shipped style on each shipped body that it can be drafted for, as a docket's mapping."""
    import yaml

    from drafting.docket import Docket

    made = {}
    for style in sorted((ROOT / "configs" / "styles").glob("*.yaml")):
        for body in sorted((ROOT / "configs" / "measurements").glob("*.yaml")):
            data = yaml.safe_load(style.read_text())
            data["measurements"] = str(body)
            try:
                Docket.from_dict(data).pieces()
            except ValueError as error:
                print(f"{style.stem} on {body.stem} is left out: {error}")
                continue
            made[f"{style.stem} · {body.stem}"] = data
    return made


def against(options: argparse.Namespace, rng: np.random.Generator) -> None:
    """The same garments, cloths, seeds and seconds with this planner and with that of another checkout."""
    import subprocess

    if not options.against:
        print("against: no other checkout given, skipped (--against DIR)")
        return
    child = {
        name: subprocess.Popen(
            [sys.executable, "-c", _PLANS, tree],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=tree,
        )
        for name, tree in (("here", str(ROOT)), ("there", options.against))
    }  # fmt: skip

    def ask(name: str, order: dict[str, Any]) -> list[Any]:
        into, out = child[name].stdin, child[name].stdout
        assert into is not None
        assert out is not None
        into.write(json.dumps(order) + "\n")
        into.flush()
        got: list[Any] = json.loads(out.readline())
        VIOLATIONS.extend(f"{name}: {text}" for text in got[3])
        return got

    kinds = list(CLOTHS)
    gains: dict[str, list[float]] = {kind: [] for kind in kinds}
    left = {"here": 0, "there": 0}
    for g, (garment, data) in enumerate(every_garment().items()):
        for kind in (kinds[g % len(kinds)], kinds[(g + 1 + g // len(kinds)) % len(kinds)]):
            if kind == "striped" and "skirt" in garment:
                continue  # its edges bear other names
            for _ in range(options.runs):
                order = {"docket": data, "cloth": CLOTHS[kind], "seconds": options.seconds,
                         "seed": int(rng.integers(2**31)), "allowances": {"all": 10.0, "hem": 25.0}}  # fmt: skip
                first_ = rng.random() < 0.5
                got = {
                    name: ask(name, order)
                    for name in (("here", "there") if first_ else ("there", "here"))
                }
                for name in left:
                    left[name] += got[name][2]
                here, there = got["here"], got["there"]
                # length where both laid everything, else the cloth cut
                gain = there[0] / here[0] if not here[2] + there[2] else here[1] / there[1]
                gains[kind].append(gain - 1.0)
                print(
                    f"{garment:32} {kind:22} {here[0]:7.0f} {there[0]:7.0f} {100 * gain - 100:+6.2f} %",
                    flush=True,
                )
    for one in child.values():
        one.kill()
    every = [g for kind in kinds for g in gains[kind]]
    rows = [
        [kind, len(g), f"{100 * np.mean(g):+.2f} %", f"{100 * np.std(g) / math.sqrt(len(g)):.2f} %",
         f"{100 * min(g):+.1f} %", f"{100 * max(g):+.1f} %"]
        for kind, g in [*gains.items(), ("all", every)] if g
    ]  # fmt: skip
    table(
        f"Gain of this planner over that of {options.against} at {options.seconds:g} s; "
        f"left out {left['here']} here, {left['there']} there",
        ["cloth", "plans", "mean", "standard error", "worst", "best"],
        rows,
    )


# -- memory -------------------------------------------------------------------------------------------


def memory(options: argparse.Namespace, rng: np.random.Generator) -> None:
    """Resident memory of this program and its workers while planning for ten minutes (or --seconds)."""
    pieces = {f"p{i}": garment_like(rng, f"p{i}") for i in range(18)}
    for name in ("half1", "half2"):  # on the fold: for our own planner, not for the strip library
        ring = [(0.0, 0.0), (260.0, 20.0), (240.0, 600.0), (0.0, 560.0)]
        pieces[name] = Piece.from_outline(name, ring, fold=((0.0, 0.0), (0.0, 560.0)))
    cloth = Cloth.from_dict({"width": 1400, "fold": "lengthwise"})
    began = time.monotonic()
    samples: list[tuple[float, float]] = []

    def rss(pid: int) -> float:
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmRSS"):
                return int(line.split()[1]) / 1024
        return 0.0

    def show(_: Lay) -> None:
        at = time.monotonic() - began
        if samples and at - samples[-1][0] < options.seconds / 20:
            return
        me = os.getpid()
        kids = Path(f"/proc/{me}/task/{me}/children").read_text().split()
        samples.append((at, rss(me) + sum(rss(int(k)) for k in kids)))

    plan(pieces, cloth, options.seconds, progress=show)
    table(
        "Resident memory, this program and its workers",
        ["s", "MB"],
        [[f"{t:.0f}", f"{m:.0f}"] for t, m in samples],
    )


PARTS = {
    "first": first,
    "open": open_instances,
    "cut": cut_cases,
    "remnant": remnant,
    "garment": garments,
    "against": against,
    "memory": memory,
}


def main() -> None:
    """Parse, run, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("parts", nargs="+", choices=list(PARTS))
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--seed", type=int)
    parser.add_argument("--nesting", default="nesting", metavar="DIR")
    parser.add_argument("--instances", nargs="*", default=INSTANCES)
    parser.add_argument("--against", metavar="DIR", help="another checkout of this project")
    parser.add_argument("--bent", action="store_true", help="bent cuts: harder to put together")
    parser.add_argument("--counts", nargs="*", type=int, default=(8, 14, 20))
    parser.add_argument("--kinds", nargs="*", default=())
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    for part in options.parts:
        PARTS[part](options, rng)
    print(f"\nViolations over every plan shown: {len(VIOLATIONS)}")
    for text in VIOLATIONS[:10]:
        print(f"  {text}")


if __name__ == "__main__":
    main()

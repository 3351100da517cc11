"""How true print, export and import are, and how long they take. Run by hand:

    python tests/bench/bench_exchange.py

Print: pages rasterised at 300 dots an inch by pypdfium2, every straight run of every cutting line
measured across. Export → import: largest change of any edge's length. Intake: random cubics and
whole circles against integrals; time for a drawing of forty pieces; time and memory for files that
are large or hostile.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "drafting"))

import test_export_pdf as printing
import test_intake_hostile as hostile
from exchange_pieces import ALLOWANCES, garment

from drafting.export.dxf import pieces_dxf
from drafting.export.pdf import pieces_pdf
from drafting.export.svg import pieces_svg
from drafting.intake import read_outlines
from drafting.intake.geometry import CHORD_MM, Bezier, ellipse


def seconds(run: object, times: int = 3) -> float:
    """Best of some runs, processor seconds."""
    best = math.inf
    for _ in range(times):
        start = time.process_time()
        run()  # type: ignore[operator]
        best = min(best, time.process_time() - start)
    return best


def print_truth() -> None:
    """Lines on every sheet, off their place."""
    print(
        f"{'paper':8} {'sheets':>6} {'points':>6} {'median mm':>10} {'95 % mm':>8} {'worst mm':>9}"
    )
    for paper in ("a4", "letter", "a0"):
        made = printing.printed(paper)
        offsets = []
        for i, (r, c) in enumerate(made.sheets):
            page = printing.raster(made.data, made.first_sheet + i)
            for name, piece in garment().items():
                ring = piece.cutting_line(ALLOWANCES)
                points, normals = printing.walk(
                    printing.joined(made, name, np.vstack([ring, ring[:1]])), 3.0
                )
                shown = printing.on_sheets(made, points)[r, c]
                local = points[shown] - (c * made.grid.step_x, r * made.grid.step_y)
                offsets.append(printing.line_offsets(page, local + made.margin_mm, normals[shown]))
        off = np.abs(np.concatenate(offsets))
        off = off[~np.isnan(off)]  # the fold is not drawn as a cut
        print(
            f"{paper:8} {len(made.sheets):6} {len(off):6} {np.median(off):10.4f} "
            f"{np.percentile(off, 95):8.4f} {off.max():9.4f}"
        )


def round_trip() -> None:
    """Edges out and in again."""
    print(f"\n{'kind':8} {'edges':>6} {'worst length mm':>16}")
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("svg", "dxf"):
            path = Path(folder) / f"top.{kind}"
            if kind == "svg":
                path.write_text(pieces_svg(garment(), ALLOWANCES), encoding="utf-8")
            else:
                path.write_bytes(pieces_dxf(garment(), ALLOWANCES))
            worst, count = 0.0, 0
            for outline in read_outlines(path).outlines:
                for name, points in outline.edges.items():
                    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
                    worst = max(worst, abs(length - garment()[outline.name].edges[name].length_mm))
                    count += 1
            print(f"{kind:8} {count:6} {worst:16.6f}")


def curves() -> None:
    """Curves of foreign drawings."""
    rng = np.random.default_rng(1)
    t = np.linspace(0, 1, 200_001)[:, None]
    worst, most = 0.0, 0
    for _ in range(200):
        c = rng.uniform(-300, 300, (4, 2))
        p = Bezier(c).flatten(CHORD_MM)
        f = (
            (1 - t) ** 3 * c[0]
            + 3 * t * (1 - t) ** 2 * c[1]
            + 3 * t * t * (1 - t) * c[2]
            + t**3 * c[3]
        )
        lengths = [float(np.linalg.norm(np.diff(q, axis=0), axis=1).sum()) for q in (p, f)]
        worst, most = max(worst, abs(lengths[0] - lengths[1])), max(most, len(p))
    print(f"\n200 random cubics: worst length {worst:.4f} mm, most points {most}")
    for radius in (5.0, 50.0, 500.0):
        p = ellipse(0, 0, radius, radius).flatten(CHORD_MM)
        around = float(np.linalg.norm(np.diff(np.vstack([p, p[:1]]), axis=0), axis=1).sum())
        print(
            f"circle of radius {radius:g}: {len(p)} points, length off {around - 2 * math.pi * radius:.5f} mm"
        )


def speed() -> None:
    """Processor seconds."""
    print(f"\n{'job':44} {'s':>7}")
    print(
        f"{'print, three pieces on A4':44} {seconds(lambda: pieces_pdf(garment(), ALLOWANCES)):7.3f}"
    )
    print(f"{'SVG of three pieces':44} {seconds(lambda: pieces_svg(garment(), ALLOWANCES)):7.3f}")
    print(f"{'DXF of three pieces':44} {seconds(lambda: pieces_dxf(garment(), ALLOWANCES)):7.3f}")
    shape = "M{x} 0h150c0 90 -30 160 -90 200a60 60 0 0 1 -60 -60z"
    body = "".join(f'<path d="{shape.format(x=200 * i)}"/>' for i in range(40))
    head = 'xmlns="http://www.w3.org/2000/svg" width="8000mm" viewBox="0 0 8000 400"'
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "forty.svg"
        path.write_text(f"<svg {head}>{body}</svg>", encoding="utf-8")
        print(
            f"{'import, forty curved outlines from SVG':44} {seconds(lambda: read_outlines(path)):7.3f}"
        )


def large_and_hostile() -> None:
    """Processor seconds and memory of `import` for each hostile file, and for files just inside the
    bounds; the limits are 10 s and 1 GB."""
    ring = hostile.points(19_000)
    corner = "".join(
        f"0\nVERTEX\n8\n0\n10\n{x}\n20\n{y}\n" for x, y in (p.split(",") for p in ring.split())
    )
    notches = '<path class="notch" d="M900 500h-4"/>' * 900
    group = (
        f'<path class="cutting" d="M{ring}Z"/><path class="sewing" d="M{hostile.points(9_000)}Z"/>'
    )
    inside = {
        "three outlines of 19,000 points.svg": hostile.svg(f'<polygon points="{ring}"/>' * 3),
        "a piece with 900 notches.svg": hostile.svg(f'<g data-piece="a">{group}{notches}</g>'),
        "three outlines of 19,000 points.dxf": hostile.dxf(
            f"0\nPOLYLINE\n8\n0\n66\n1\n70\n1\n{corner}0\nSEQEND\n" * 3
        ),
    }
    refused = {f"{n}.svg": hostile.svg(b) for n, b in hostile.SVG.items()}
    refused |= {f"{n}.dxf": b for n, b in hostile.DXF.items()}
    print(f"\n{'file':44} {'exit':>4} {'s':>6} {'MB':>5}   (limits 10 s, 1000 MB)")
    run = (
        "import sys, resource\nfrom projector.cli import main\ncode = main(sys.argv[1:])\n"
        "used = resource.getrusage(resource.RUSAGE_SELF)\n"
        # its own most, not that of the process it came from
        "most = open('/proc/self/status').read().split('VmHWM:')[1].split()[0]\n"
        "print(code, used.ru_utime + used.ru_stime, int(most) // 1024, file=sys.stderr)"
    )
    with tempfile.TemporaryDirectory() as folder:
        for name, data in {**inside, **refused}.items():
            path = Path(folder) / name
            path.write_bytes(data)
            words = [sys.executable, "-c", run, "import", str(path), f"{folder}/out.yaml"]
            told = subprocess.run(words, capture_output=True, text=True, check=False)
            code, used, most = told.stderr.split("\n")[-2].split()
            print(f"{name:44} {code:>4} {float(used):6.1f} {most:>5}")
            Path(folder, "out.yaml").unlink(missing_ok=True)


if __name__ == "__main__":
    print_truth()
    round_trip()
    curves()
    speed()
    large_and_hostile()

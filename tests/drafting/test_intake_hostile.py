"""Files that are huge, crooked or made to break a reader: one message each, in bounded memory.

Each set is read by one process of its own that may take 1 GB of address space and, as a net under
endless loops, two minutes of processor time; how long one file takes is for `tests/bench`.
"""

from __future__ import annotations

import json
import math
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from configs.errors import InputError
from drafting.intake import read_outlines
from drafting.intake.dxfshape import MAX_FIT
from drafting.intake.svg import MAX_LEVELS
from drafting.intake.svgtree import MAX_RULES

SQUARE = "M0 0H100V100H0Z"
RUN = """
import io, json, sys, contextlib
from projector.cli import main
for name in json.loads(sys.argv[1]):
    said = io.StringIO()
    with contextlib.redirect_stderr(said), contextlib.redirect_stdout(io.StringIO()):
        code = main(["import", name])
    print(json.dumps([name, code, said.getvalue()]), flush=True)
"""


def svg(body: str) -> bytes:
    """An SVG of 1 × 1 m around some elements."""
    head = 'xmlns="http://www.w3.org/2000/svg" width="1000mm" viewBox="0 0 1000 1000"'
    return f"<svg {head}>{body}</svg>".encode()


def points(n: int) -> str:
    """``n`` points on a circle, as SVG writes them."""
    turn = 2 * math.pi / n
    return " ".join(
        f"{500 + 400 * math.cos(i * turn):.3f},{500 + 400 * math.sin(i * turn):.3f}"
        for i in range(n)
    )


def svg_bodies() -> dict[str, str]:
    """What stands in each SVG; made when it is wanted, they are large."""
    return {
        "equal-lines": '<path d="M0 0L100 0"/>' * 19_900,
        "nested": "".join(
            f'<path d="M{i * 0.01} 0H{900 - i * 0.01}V900Z"/>' for i in range(19_900)
        ),
        "ends-in-one-place": "".join(
            f'<path d="M{x:.4f} {y:.4f}L{100 + x:.4f} {y:.4f}"/>'
            for x, y in ((i % 100 * 5e-4, i // 100 * 4e-4) for i in range(19_900))
        ),
        "300000-points": f'<polygon points="{points(300_000)}"/>',
        "300000-points-path": f'<path d="M{points(300_000)}Z"/>',
        "100000-polylines": '<polyline points="0,0 10,10"/>' * 100_000,
        "20-MB-of-points": f'<polygon points="{"1 1 " * 4_900_000}"/>',
        "20-MB-of-transforms": f'<g transform="{"scale(1) " * 2_000_000}"><path d="{SQUARE}"/></g>',
        "many-rules": f"<style>{'.a{display:none}' * 9_000}</style>" + '<path class="a"/>' * 9_000,
        "many-pieces": "".join(
            f'<g data-piece="p{i}"><path class="sewing" d="{SQUARE}"/></g>' for i in range(600)
        ),
        "use-in-groups": "".join(
            f'<g id="a{i}">{"<g>" * 7}<use href="#a{i + 1}"/>{"</g>" * 7}</g>' for i in range(19)
        )
        + f'<g id="a19"><path d="{SQUARE}"/></g>',
        "use-bomb": "".join(
            f'<g id="b{i}">{f"""<use href="#b{i + 1}"/>""" * 9}</g>' for i in range(19)
        )
        + f'<path id="b19" d="{SQUARE}"/>',
        "use-ring": '<g id="x"><use href="#y"/></g><g id="y"><use href="#x"/></g>',
        "half-letter": f'<path id="&#xD800;" d="{SQUARE}"/>',
        "not-a-number": '<path d="M0 0Lnan 3L5 5Z"/>',
    }


def dxf(entities: str, blocks: str = "") -> bytes:
    """A DXF R2000 in mm around some entities."""
    head = "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1015\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n"
    blocks = f"0\nSECTION\n2\nBLOCKS\n{blocks}0\nENDSEC\n" if blocks else ""
    return f"{head}{blocks}0\nSECTION\n2\nENTITIES\n{entities}0\nENDSEC\n0\nEOF\n".encode("latin1")


def entity(kind: str, subclass: str, *values: tuple[int, object]) -> str:
    """One entity on layer 0."""
    rows = [(0, kind), (8, "0"), (100, "AcDbEntity"), (100, subclass), *values]
    return "".join(f"{code}\n{value}\n" for code, value in rows)


def spline(degree: int, knots: list[object], n: int) -> str:
    """A spline through made-up control points."""
    at = [v for i in range(n) for v in ((10, i % 50 * 10), (20, i * 3 % 100), (30, 0))]
    head = [(70, 8), (71, degree), (72, len(knots)), (73, n), (74, 0)]
    return entity("SPLINE", "AcDbSpline", *head, *((40, k) for k in knots), *at)


def line(x: object, y: object) -> str:
    """A line from the origin."""
    return entity("LINE", "AcDbLine", (10, 0), (20, 0), (11, x), (21, y))


def lwpolyline(n: int) -> str:
    """A closed polyline of ``n`` points."""
    at = "".join("10\n{}\n20\n{}\n".format(*p.split(",")) for p in points(n).split())
    return entity("LWPOLYLINE", "AcDbPolyline", (90, n), (70, 1)) + at


def block(name: str, body: str) -> str:
    """A block."""
    return f"0\nBLOCK\n8\n0\n2\n{name}\n70\n0\n10\n0\n20\n0\n{body}0\nENDBLK\n"


def insert(name: str) -> str:
    """Its place in the drawing."""
    return entity("INSERT", "AcDbBlockReference", (2, name), (10, 0), (20, 0))


def ellipse(stop: str) -> str:
    """An ellipse from 0 to some parameter."""
    shape = ((10, 0), (20, 0), (11, 100), (21, 0), (40, 0.5), (41, 0), (42, stop))
    return entity("ELLIPSE", "AcDbEllipse", *shape)


BOMB = block("b0", entity("CIRCLE", "AcDbCircle", (10, 0), (20, 0), (40, 50))) + "".join(
    block(f"b{i}", insert(f"b{i - 1}") * 10) for i in range(1, 9)
)
BULGE = "".join(f"10\n{x}\n20\n{y}\n42\ninf\n" for x, y in ((0, 0), (90, 0), (90, 90)))


def dxf_files() -> dict[str, bytes]:
    """Each DXF, whole."""
    return {
        "equal-lines": dxf(line(100, 0) * 19_900),
        "100000-lines": dxf(line(100, 0) * 100_000),
        "100000-polylines": dxf(
            "0\nLWPOLYLINE\n8\n0\n90\n2\n10\n0\n20\n0\n10\n9\n20\n9\n" * 100_000
        ),
        "300000-points": dxf(lwpolyline(300_000)),
        "one-long-text": dxf(f"0\nTEXT\n8\n0\n10\n0\n20\n0\n40\n3\n1\n{'x' * 9_000_000}\n"),
        "degree-300": dxf(spline(300, [0] * 301 + [1] * 301, 301)),
        "degree-11": dxf(spline(11, [0] * 12 + [1] * 12, 12)),
        "knot-inf": dxf(spline(3, [0, 0, 0, 0, 1, 1, 1, "inf"], 4)),
        "knot-nan": dxf(spline(3, [0, 0, 0, 0, 1, 1, 1, "nan"], 4)),
        "knot-huge": dxf(spline(3, [0, 0, 0, 0, 1, 1, 1, "1e308"], 4)),
        "ellipse-inf": dxf(ellipse("inf")),
        "ellipse-nan": dxf(ellipse("nan")),
        "ellipse-huge": dxf(ellipse("1e308")),
        "line-nan": dxf(line("nan", 0)),
        "line-inf": dxf(line("inf", 0)),
        "line-huge": dxf(line("1e308", 0)),
        "bulge-inf": dxf(entity("LWPOLYLINE", "AcDbPolyline", (90, 3), (70, 1)) + BULGE),
        "blocks-in-blocks": dxf(insert("b8"), BOMB),
        "half-letter": dxf(line(100, 0).replace("8\n0\n", "8\n\\U+D800\n")),
        "no-utf-8": dxf(line(100, 0).replace("8\n0\n", "8\nR\xe9gie\n")),
    }


BOUNDS = {  # by which bound each is refused, where another would take minutes
    "ends-in-one-place": "too many lines end near",
    "nested": "at most 500",
    "many-pieces": "at most 500",
    "many-rules": "style rules",
    "use-in-groups": "more than 150 groups",
    "100000-lines": "at most 60000",
    "degree-300": "of degree 300",
    "blocks-in-blocks": "more than 20000 entities",
}


def told(tmp_path: Path, files: dict[str, bytes], kind: str) -> list[tuple[str, int, str]]:
    """(file, exit code, what was said) of `chalkbeam import` for each, in one limited process."""
    names = []
    for name, data in files.items():
        names.append(str(tmp_path / f"{name}.{kind}"))
        Path(names[-1]).write_bytes(data)

    def limits() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))
        resource.setrlimit(resource.RLIMIT_CPU, (120, 120))

    run = subprocess.run(
        [sys.executable, "-c", RUN, json.dumps(names)],
        capture_output=True,
        text=True,
        preexec_fn=limits,
        check=False,
    )
    rows = [json.loads(row) for row in run.stdout.splitlines()]
    assert len(rows) == len(names), (names[len(rows)], run.stderr[-2000:])
    return [(Path(name).stem, code, said) for name, code, said in rows]


@pytest.mark.parametrize("kind", ["svg", "dxf"])
def test_each_costs_one_message(tmp_path: Path, kind: str) -> None:
    """Exit code 2 and one message that names the file and what to do; no traceback, no warning."""
    files = {n: svg(body) for n, body in svg_bodies().items()} if kind == "svg" else dxf_files()
    for name, code, said in told(tmp_path, files, kind):
        assert code == 2, (name, code, said)
        assert said.startswith("Not done: "), (name, said)
        assert said.count("\n") == 1 and f"{name}.{kind}" in said, (name, said)
        assert len(said) < 600, name
        said.encode("utf-8")  # no half letter is left in it
        assert BOUNDS.get(name, "") in said, (name, said)


def nest(levels: int) -> bytes:
    """A square inside groups that use groups, ``levels`` of them in all."""
    each, body = 40, f'<g id="a0"><path d="{SQUARE}"/></g>'
    uses = levels // (each + 2)
    for i in range(1, uses):
        body += f'<g id="a{i}">{"<g>" * each}<use href="#a{i - 1}"/>{"</g>" * each}</g>'
    return svg(f'<defs>{body}</defs><use href="#a{uses - 1}"/>')


def rules(count: int) -> bytes:
    """A square and ``count`` style rules that hide other things."""
    return svg(f"<style>{'.b{display:none}' * count}</style>" + f'<path d="{SQUARE}"/>')


def fit(count: int) -> bytes:
    """A closed spline through ``count`` points."""
    at = [p.split(",") for p in points(count).split()]
    through = [v for x, y in [*at, at[0]] for v in ((11, x), (21, y), (31, 0))]
    head = ((70, 8), (71, 3), (72, 0), (73, 0), (74, count + 1))
    return dxf(entity("SPLINE", "AcDbSpline", *head, *through))


@pytest.mark.parametrize(
    ("make", "bound", "kind"),
    [(nest, MAX_LEVELS, "svg"), (rules, MAX_RULES, "svg"), (fit, MAX_FIT, "dxf")],
)
def test_bounds_hold_back_only_what_is_past_them(
    tmp_path: Path, make: Callable[[int], bytes], bound: int, kind: str
) -> None:
    """A file at half of a bound is read; one at twice the bound is refused."""
    path = tmp_path / f"a.{kind}"
    path.write_bytes(make(bound // 2))
    (outline,) = read_outlines(path).outlines
    assert outline.area_mm2 > 9_000
    path.write_bytes(make(bound * 2))
    with pytest.raises(InputError):
        read_outlines(path)

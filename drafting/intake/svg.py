"""Outlines from an SVG file: units, viewBox, transforms, shapes, groups; hostile files refused.

First station of the intake, after `svgtree` has read the elements. What an SVG viewer would not
show (``defs``, ``display:none``, clip paths) is not taken.

Sources: SVG 1.1 (Second Edition), chapters 7 (coordinate systems, units) and 9 (shapes), W3C;
1 in = 96 px (CSS Values 3, section 6.2).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from configs.errors import Fault, InputError
from configs.files import read_bounded
from drafting.intake.drawn import CUTTING, FOLD, GRAIN, INSIDE, SEWING, Drawn
from drafting.intake.found import Found
from drafting.intake.geometry import LARGEST, Array, bounded
from drafting.intake.judge import outlines_from
from drafting.intake.svgshape import LENGTH, UNIT_MM, chains_of, length, shift, transform, view_box
from drafting.intake.svgtree import MAX_ELEMENTS, Node, Sheet, moves, parse

MAX_BYTES = 20_000_000
MAX_SEGMENTS = 100_000  # of the whole file
MAX_LEVELS = 150  # of groups and uses in one another

_XLINK = "http://www.w3.org/1999/xlink"
_HIDDEN = {
    "defs",
    "symbol",
    "clipPath",
    "mask",
    "marker",
    "pattern",
    "metadata",
    "style",
    "script",
    "title",
    "desc",
    "linearGradient",
    "radialGradient",
    "filter",
    "foreignObject",
}
_GROUPS = {"svg", "g", "a", "switch", "symbol"}
_KINDS = (SEWING, CUTTING, GRAIN, FOLD, *INSIDE, "sign")
_AGAIN = "Save the drawing again."


def read_svg(
    path: str | Path, unit: str | None = None, only: Collection[str] = (), scale: float = 1.0
) -> Found:
    """The closed outlines of an SVG file, in mm, y up; see `drafting.intake.read_outlines`."""
    path = Path(path)
    return svg_outlines(read_bytes(path, MAX_BYTES), str(path), unit, only, scale)


def svg_outlines(
    data: bytes,
    where: str,
    unit: str | None = None,
    only: Collection[str] = (),
    scale: float = 1.0,
) -> Found:
    """As `read_svg`, from the file's bytes; ``where`` names it in messages."""
    try:
        root, sheet = parse(data, where)
        return _Walk(root, sheet, where, unit, scale).found(only)
    except InputError as error:
        raise InputError(
            [f if f.where else Fault(where, f.what, f.remedy) for f in error.faults]
        ) from error


class _Walk:
    """Carries transforms and names down the tree and collects what is drawn."""

    def __init__(self, root: Node, where: str, unit: str | None) -> None:
        self.root = root
        self.where = where
        self.unit = unit
        self.notes: list[str] = []
        self.drawn: list[Drawn] = []
        self.elements = 0
        self.segments = 0
        self.uses: list[Node] = []
        self.by_id: dict[str, Node] = {}
        self.viewport: list[tuple[float, float]] = []
        for node in _all(root):
            if node.attributes.get("id"):
                self.by_id.setdefault(node.attributes["id"], node)

    def found(self, only: Collection[str]) -> Found:
        scale, box = self.scale()
        self.viewport.append(box)
        flip = np.array([[scale[0], 0.0, 0.0], [0.0, -scale[1], 0.0], [0.0, 0.0, 1.0]])
        self.group(self.root, flip, _Context())
        return outlines_from(self.drawn, self.where, self.notes, only)

    def scale(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """(mm per user unit in x, y) and the root's (width, height) in user units."""
        a = self.root.attributes
        box = _view_box(a.get("viewBox", ""), self.root.row)
        sizes: list[float | None] = []
        missing = False
        for key in ("width", "height"):
            match = _LENGTH.fullmatch(a.get(key, ""))
            unit = match.group(2).lower() if match else ""
            if match and unit in UNIT_MM:
                size = (bounded(float(match.group(1))) or 0.0) * UNIT_MM[unit]
                if size <= 0.0:
                    raise self.fault(
                        self.root, f"its {key} is {a[key]}.", "It must be above zero, and a size."
                    )
                sizes.append(size)
                if unit == "px" and key == "width":
                    self.notes.append(
                        "The file gives its size in px; 96 px were taken as an inch. Check the sizes."
                    )
            else:
                sizes.append(None)
                missing = missing or key == "width"
        width, height = sizes
        view = box[2:] if box else None
        if width is None and height is None:
            if self.unit is None:
                said = (
                    f"its width is '{a['width']}', with no unit"
                    if missing and "width" in a
                    else "it declares no size"
                )
                raise self.fault(
                    self.root,
                    f"{said}, so its scale is unknown.",
                    "Say what one unit of the drawing is: --unit mm, cm, in, pt or px.",
                )
            one = UNIT_MM[self.unit]
            return (one, one), view or (1000.0, 1000.0)
        if self.unit is not None:
            self.notes.append("The file declares its own size; --unit was not needed and not used.")
        if view is None:  # user units are px
            one = UNIT_MM["px"]
            return (one, one), ((width or 0.0) / one, (height or 0.0) / one)
        ratios = [s / v for s, v in zip((width, height), view, strict=True) if s is not None]
        if len(ratios) == 1:
            return (ratios[0], ratios[0]), view
        fit = a.get("preserveAspectRatio", "").split()
        if fit[:1] == ["none"]:
            return (ratios[0], ratios[1]), view
        one = max(ratios) if "slice" in fit else min(ratios)
        if max(ratios) > 1.001 * min(ratios):
            self.notes.append(
                "Width, height and viewBox of the file differ in shape; the scale is what a viewer shows."
            )
        return (one, one), view

    def group(self, node: Node, matrix: Array, context: _Context) -> None:
        """Everything below ``node``, whose own transform is in ``matrix`` already."""
        context = context.below(node)
        for child in node.children:
            self.element(child, matrix, context)

    def element(self, node: Node, matrix: Array, context: _Context) -> None:
        self.elements += 1
        if self.elements > MAX_ELEMENTS:
            raise self.fault(
                node, f"more than {MAX_ELEMENTS} elements are drawn.", "Save the outlines alone."
            )
        style = node.attributes.get("style", "").replace(" ", "").lower()
        if node.attributes.get("display", "").strip() == "none" or "display:none" in style:
            return
        if re.search(r"(^|;)(transform|rotate|scale|translate|zoom|d)(-[a-z]+)?:", style):
            raise self.fault(
                node,
                "moves or shapes its lines by a style rule, which is not read.",
                "Save it as plain SVG from the program it came from.",
            )
        if node.tag in _HIDDEN or not node.tag:
            return
        if "transform" in node.attributes:
            matrix = matrix @ self.transform(node)
            if not float(np.abs(matrix).max()) <= LARGEST:
                raise self.fault(node, "its transform is too large.", "Save the drawing again.")
        if node.tag == "use":
            self.use(node, matrix, context)
        elif node.tag == "svg":
            self.nested(node, matrix, context)
        elif node.tag in _GROUPS:
            self.group(node, matrix, context)
        elif node.tag == "text" or node.tag == "image":
            if not context.label:
                self.note(
                    f"{'Text' if node.tag == 'text' else 'A picture'} in the file was left out."
                )
        else:
            self.shape(node, matrix, context)

    def note(self, text: str) -> None:
        if text not in self.notes:
            self.notes.append(text)

    def use(self, node: Node, matrix: Array, context: _Context) -> None:
        href = node.attributes.get("href") or node.attributes.get(f"{_XLINK} href") or ""
        if not href.startswith("#"):
            if href:
                raise self.fault(
                    node,
                    f"refers to another file ('{href[:60]}'), which is not fetched.",
                    "Put the outlines into one file.",
                )
            return
        target = self.by_id.get(href[1:])
        if target is None:
            raise self.fault(
                node, f"refers to '{href[:60]}', which is not there.", "Save the drawing again."
            )
        if target in self.uses or len(self.uses) > 20:
            raise self.fault(
                node, "refers to itself by a ring of <use>.", "Save the drawing again."
            )
        x, y = self.number(node, "x", 0), self.number(node, "y", 1)
        matrix = matrix @ _shift(x, y)
        self.uses.append(target)
        if target.tag in ("symbol", "svg"):
            sized = Node(
                "svg",
                {
                    **target.attributes,
                    **{k: v for k, v in node.attributes.items() if k in ("width", "height")},
                },
                node.row,
                target.children,
                target.title,
            )
            self.nested(sized, matrix @ self.transform(target), context)
        else:
            self.element(target, matrix, context)
        self.uses.pop()

    def nested(self, node: Node, matrix: Array, context: _Context) -> None:
        """An <svg> or used <symbol> inside: its own viewport and viewBox."""
        outer = self.viewport[-1]
        a = node.attributes
        width = self.number(node, "width", 0) if "width" in a else outer[0]
        height = self.number(node, "height", 1) if "height" in a else outer[1]
        matrix = matrix @ _shift(self.number(node, "x", 0), self.number(node, "y", 1))
        box = _view_box(a.get("viewBox", ""), node.row)
        if box:
            ratio = (width / box[2], height / box[3])
            fit = a.get("preserveAspectRatio", "xMidYMid").split()
            if fit[:1] != ["none"]:
                one = max(ratio) if "slice" in fit else min(ratio)
                ratio = (one, one)
            matrix = matrix @ np.diag([ratio[0], ratio[1], 1.0]) @ _shift(-box[0], -box[1])
            width, height = box[2], box[3]
        self.viewport.append((width, height))
        self.group(node, matrix, context)
        self.viewport.pop()

    def shape(self, node: Node, matrix: Array, context: _Context) -> None:
        try:
            chains = self.chains(node)
        except InputError as error:
            f = error.faults[0]
            raise self.fault(node, f.what, f.remedy) from error
        self.segments += sum(len(c.segments) for c in chains)
        if self.segments > MAX_SEGMENTS:
            raise self.fault(
                node, f"more than {MAX_SEGMENTS} segments are drawn.", "Simplify the paths."
            )
        context = context.below(node)
        for chain in chains:
            self.drawn.append(
                Drawn(
                    chain.moved(matrix),
                    context.name,
                    self.place(node),
                    context.piece,
                    context.edge,
                    context.line,
                    context.about,
                )
            )

    def place(self, node: Node) -> str:
        name = node.attributes.get("id", "")
        return f"line {node.row} <{node.tag}{' ' + name[:40] if name else ''}>"

    def fault(self, node: Node, what: str, remedy: str) -> InputError:
        return InputError(Fault(f"{self.where} {self.place(node)}", what, remedy))


@dataclass(frozen=True)
class _Context:
    """Names and our own keys, handed down from group to shape."""

    name: str = ""
    piece: str = ""
    edge: str = ""
    line: str = ""
    label: bool = False
    about: Mapping[str, str] = field(default_factory=dict)

    def below(self, node: Node) -> _Context:
        a = node.attributes
        own = next((v for k, v in a.items() if k.rpartition(" ")[2] == "label" and v), "")
        kinds = set(a.get("class", "").split())
        piece = a.get("data-piece", "")
        ours = bool(piece or self.piece)
        line = next((k for k in ("sewing", "cutting", "grain", "fold") if k in kinds), "")
        if kinds & {"notch", "dart", "drill", "mark", "sign"}:
            line = "mark"
        about = {k[5:]: v for k, v in a.items() if k.startswith("data-")} if piece else self.about
        root = node.tag == "svg"
        return _Context(
            (own or node.title or a.get("id", "")).strip() * (not root) or self.name,
            piece or self.piece,
            a.get("data-edge", "") or self.edge,
            (line if ours else "") or self.line,
            self.label or "label" in kinds or "note" in kinds,
            about,
        )



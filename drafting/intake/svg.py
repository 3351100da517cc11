"""Outlines from an SVG file: units, viewBox, transforms, shapes, groups; hostile files refused.

First station of the intake, after `svgtree` has read the elements. What an SVG viewer would not
show (``defs``, ``display:none``, clip paths) is not taken.

Sources: SVG 1.1 (Second Edition), chapters 7 (coordinate systems, units) and 9 (shapes), W3C;
1 in = 96 px (CSS Values 3, section 6.2).
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from configs.errors import Fault, InputError
from drafting.intake.drawn import CUTTING, FOLD, GRAIN, INSIDE, SEWING, Drawn
from drafting.intake.found import Found, many
from drafting.intake.geometry import LARGEST, Array, bounded
from drafting.intake.judge import outlines_from
from drafting.intake.svgshape import LENGTH, UNIT_MM, chains_of, length, shift, transform, view_box
from drafting.intake.svgtree import MAX_ELEMENTS, Node, Sheet, moves, parse

MAX_BYTES = 20_000_000
MAX_SEGMENTS = 100_000  # of the whole file
MAX_LEVELS = 150  # of groups and uses in one another

T = TypeVar("T")

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


def svg_outlines(
    data: bytes,
    where: str,
    unit: str | None = None,
    only: Collection[str] = (),
    scale: float = 1.0,
) -> Found:
    """The closed outlines of an SVG file's bytes; ``where`` names it in messages, all else as in
    `drafting.intake.read_outlines`."""
    try:
        root, sheet = parse(data, where)
        return _Walk(root, sheet, where, unit, scale).found(only)
    except InputError as error:
        raise InputError(
            [f if f.where else Fault(where, f.what, f.remedy) for f in error.faults]
        ) from error


class _Walk:
    """Carries transforms and names down the tree and collects what is drawn."""

    def __init__(
        self, root: Node, sheet: Sheet, where: str, unit: str | None, larger: float
    ) -> None:
        self.root = root
        self.sheet = sheet
        self.where = where
        self.unit = unit
        self.larger = larger
        self.notes: list[str] = []
        self.drawn: list[Drawn] = []
        self.elements = 0
        self.segments = 0
        self.level = 0
        self.hidden = 0
        self.other, self.left = Counter[str](), Counter[str]()
        self.uses: list[Node] = []
        self.by_id: dict[str, Node] = {}
        self.viewport: list[tuple[float, float]] = []
        for node in root.all():
            if node.attributes.get("id"):
                self.by_id.setdefault(node.attributes["id"], node)

    def found(self, only: Collection[str]) -> Found:
        scale, box = self.scale()
        self.viewport.append(box)
        x, y = scale[0] * self.larger, scale[1] * self.larger
        flip = np.array([[x, 0.0, 0.0], [0.0, -y, 0.0], [0.0, 0.0, 1.0]])
        self.group(self.root, flip, _Context())
        if self.sheet.unread:
            self.note(
                "A style sheet of the file hides things by rules that are not read: look whether "
                "all that was found is meant."
            )
        if self.hidden:
            self.note(f"{many(self.hidden, 'hidden element')} left out, with all that is in them.")
        for tag, count in self.left.items():
            self.note(f"{many(count, 'text' if tag == 'text' else 'picture')} left out.")
        for piece, count in self.other.items():
            self.note(f"'{piece}': {many(count, 'line')} of no kind that is known left out.")
        return outlines_from(self.drawn, self.where, self.notes, only)

    def scale(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """(mm per user unit in x, y) and the root's (width, height) in user units.

        What she says goes before what the file declares.
        """
        declared, view = self.declared()
        if self.unit is None:
            if declared is None:
                a = self.root.attributes
                said = (
                    f"its width is '{a['width'][:40]}', with no unit"
                    if "width" in a
                    else "it declares no size"
                )
                raise self.fault(
                    self.root,
                    f"{said}, so its scale is unknown.",
                    "Say what one unit of the drawing is: --unit mm, cm, in, pt or px.",
                )
            return declared, view
        one = UNIT_MM[self.unit]
        if declared is not None and max(abs(d / one - 1.0) for d in declared) > 1e-3:
            self.note(
                f"The file says that one unit of its drawing is {declared[0]:.6g} mm; "
                f"{one:.6g} mm was taken, as --unit {self.unit} says."
            )
        return (one, one), view

    def declared(self) -> tuple[tuple[float, float] | None, tuple[float, float]]:
        """(mm per user unit in x, y) that the file declares, None without; and the root's size."""
        a = self.root.attributes
        box = view_box(a.get("viewBox", ""))
        sizes: list[float | None] = []
        for key in ("width", "height"):
            match = LENGTH.fullmatch(a.get(key, ""))
            unit = match.group(2).lower() if match else ""
            if not match or unit not in UNIT_MM:
                sizes.append(None)
                continue
            size = (bounded(float(match.group(1))) or 0.0) * UNIT_MM[unit]
            if size <= 0.0:
                raise self.fault(
                    self.root, f"its {key} is {a[key]}.", "It must be above zero, and a size."
                )
            sizes.append(size)
            if unit == "px" and key == "width" and self.unit is None:
                self.note(
                    "The file gives its size in px; 96 px were taken as an inch. Check the sizes."
                )
        width, height = sizes
        view = box[2:] if box else None
        if width is None and height is None:
            return None, view or (1000.0, 1000.0)
        if view is None:  # user units are px
            one = UNIT_MM["px"]
            return (one, one), ((width or 0.0) / one, (height or 0.0) / one)
        ratios = [s / v for s, v in zip((width, height), view, strict=True) if s is not None]
        how = a.get("preserveAspectRatio", "")
        if max(ratios) > 1.001 * min(ratios) and how.split()[:1] != ["none"]:
            self.note(
                "Width, height and viewBox of the file differ in shape; the scale is what a viewer shows."
            )
        return _fitted((ratios[0], ratios[-1]), how), view

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
        if self.level >= MAX_LEVELS:
            raise self.fault(node, f"lies in more than {MAX_LEVELS} groups and uses.", _AGAIN)
        if moves(node.attributes.get("style", "")):
            raise self.fault(
                node,
                "moves or shapes its lines by a style rule, which is not read.",
                "Save it as plain SVG from the program it came from.",
            )
        if node.tag in _HIDDEN or not node.tag:
            return
        said = self.sheet.said_of(node)
        if said.get("display") == "none":
            self.hidden += 1
            return
        visible = said.get("visibility", "inherit")
        if visible != "inherit":
            context = dataclasses.replace(context, visible=visible not in ("hidden", "collapse"))
        if "transform" in node.attributes:
            matrix = matrix @ self.read(node, transform, node.attributes["transform"])
            if not float(np.abs(matrix).max()) <= LARGEST:
                raise self.fault(node, "its transform is too large.", _AGAIN)
        self.level += 1
        if node.tag == "use":
            self.use(node, matrix, context)
        elif node.tag == "svg":
            self.nested(node, matrix, context)
        elif node.tag in _GROUPS:
            self.group(node, matrix, context)
        elif not context.visible:
            self.hidden += 1
        elif node.tag in ("text", "image"):
            if not context.below(node).label:
                self.left[node.tag] += 1
        else:
            self.shape(node, matrix, context)
        self.level -= 1

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
            raise self.fault(node, f"refers to '{href[:60]}', which is not there.", _AGAIN)
        if target in self.uses or len(self.uses) > 20:
            raise self.fault(node, "refers to itself by a ring of <use>.", _AGAIN)
        x, y = self.number(node, "x", 0), self.number(node, "y", 1)
        matrix = matrix @ shift(x, y)
        self.uses.append(target)
        if target.tag in ("symbol", "svg"):
            size = {k: v for k, v in node.attributes.items() if k in ("width", "height")}
            said = {**target.attributes, **size}
            sized = dataclasses.replace(target, tag="svg", attributes=said, row=node.row)
            own = self.read(node, transform, target.attributes.get("transform", ""))
            self.nested(sized, matrix @ own, context)
        else:
            self.element(target, matrix, context)
        self.uses.pop()

    def nested(self, node: Node, matrix: Array, context: _Context) -> None:
        """An <svg> or used <symbol> inside: its own viewport and viewBox."""
        outer = self.viewport[-1]
        a = node.attributes
        width = self.number(node, "width", 0) if "width" in a else outer[0]
        height = self.number(node, "height", 1) if "height" in a else outer[1]
        matrix = matrix @ shift(self.number(node, "x", 0), self.number(node, "y", 1))
        box = self.read(node, view_box, a.get("viewBox", ""))
        if box:
            ratio = (width / box[2], height / box[3])
            ratio = _fitted(ratio, a.get("preserveAspectRatio", ""))
            matrix = matrix @ np.diag([ratio[0], ratio[1], 1.0]) @ shift(-box[0], -box[1])
            width, height = box[2], box[3]
        self.viewport.append((width, height))
        self.group(node, matrix, context)
        self.viewport.pop()

    def shape(self, node: Node, matrix: Array, context: _Context) -> None:
        def number(key: str, axis: int) -> float:
            return self.number(node, key, axis)

        chains = self.read(node, lambda tag: chains_of(tag, node.attributes, number), node.tag)
        self.segments += sum(len(c.segments) for c in chains)
        if self.segments > MAX_SEGMENTS:
            raise self.fault(
                node, f"more than {MAX_SEGMENTS} segments are drawn.", "Simplify the paths."
            )
        context = context.below(node)
        if context.piece and not context.line and not context.edge and chains:
            self.other[context.piece] += 1
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
                    context.note,
                )
            )

    def number(self, node: Node, key: str, axis: int) -> float:
        """An attribute as a length in user units; ``axis`` 0 x, 1 y, 2 neither (for %)."""
        text = node.attributes.get(key, "").strip()
        if text in ("", "auto"):
            return 0.0
        try:
            return length(text, axis, self.viewport[-1])
        except InputError as error:
            raise self.fault(node, f"its {key} {error.faults[0].what}", _AGAIN) from error

    def read(self, node: Node, how: Callable[[str], T], text: str) -> T:
        """An attribute read by ``how``, its fault told with the element's place."""
        try:
            return how(text)
        except InputError as error:
            f = error.faults[0]
            if f.where:
                raise
            raise self.fault(node, f.what, f.remedy) from error

    def place(self, node: Node) -> str:
        name = node.attributes.get("id", "")
        return f"line {node.row} <{node.tag}{' ' + name[:40] if name else ''}>"

    def fault(self, node: Node, what: str, remedy: str) -> InputError:
        return InputError.of(f"{self.where} {self.place(node)}", what, remedy)


def _fitted(ratios: tuple[float, float], how: str) -> tuple[float, float]:
    """How much larger a viewBox is shown in x and y, from what would fill its place.

    ``how``: a ``preserveAspectRatio`` (SVG 1.1, section 7.8).
    """
    if how.split()[:1] == ["none"]:
        return ratios
    one = max(ratios) if "slice" in how.split() else min(ratios)
    return one, one


@dataclass(frozen=True)
class _Context:
    """Names and our own keys, handed down from group to shape."""

    name: str = ""
    piece: str = ""
    edge: str = ""
    line: str = ""
    label: bool = False
    visible: bool = True
    about: Mapping[str, str] = field(default_factory=dict)
    note: Mapping[str, str] = field(default_factory=dict)

    def below(self, node: Node) -> _Context:
        """What holds for an element, or for all that is in a group."""
        a = node.attributes
        label = next((v for k, v in a.items() if k.rpartition(" ")[2] == "label" and v), "")
        kinds = set(a.get("class", "").split())
        data = {k[5:]: v for k, v in a.items() if k.startswith("data-")}
        piece = data.get("piece", "")
        line = next((k for k in _KINDS if k in kinds), "") if piece or self.piece else ""
        root = node.tag == "svg"
        return _Context(
            (label or node.title or a.get("id", "")).strip() * (not root) or self.name,
            piece or self.piece,
            data.get("edge", "") or self.edge,
            line or self.line,
            self.label or "label" in kinds or "note" in kinds,
            self.visible,
            data if piece else self.about,
            data if line in INSIDE else self.note,
        )

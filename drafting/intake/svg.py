"""Outlines from an SVG file: units, viewBox, transforms, shapes, groups; hostile files refused.

First station of the intake. The XML is read by expat with every door shut: no entities, no
internal DTD, nothing fetched from elsewhere, and limits on size, depth, elements and segments, so
that a hostile file costs a message and not the machine. What an SVG viewer would not show
(``defs``, ``display:none``, clip paths) is not taken.

Sources: SVG 1.1 (Second Edition), chapters 7 (coordinate systems, units) and 9 (shapes), W3C;
1 in = 96 px (CSS Values 3, section 6.2).
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

import numpy as np

from configs.errors import Fault, InputError
from drafting.intake.found import Drawn, Found, outlines_from
from drafting.intake.geometry import (
    LARGEST,
    Array,
    Chain,
    Segment,
    bounded,
    ellipse,
    line,
    polygon,
    svg_arc,
)
from drafting.intake.svgpath import parse_path

MAX_BYTES = 20_000_000
MAX_ELEMENTS = 20_000  # also after every <use> is carried out
MAX_DEPTH = 60
MAX_SEGMENTS = 100_000  # of the whole file

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
UNIT_MM = {
    "mm": 1.0,
    "cm": 10.0,
    "in": 25.4,
    "pt": 25.4 / 72.0,
    "pc": 25.4 / 6.0,
    "px": 25.4 / 96.0,
    "q": 0.25,
}
_LENGTH = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z%]*)\s*")
_FUNCTION = re.compile(r"\s*,?\s*([A-Za-z]+)\s*\(([^()]*)\)")
_MOVING_RULE = re.compile(r"[{;]\s*(transform|rotate|scale|translate|zoom|d)\s*:", re.IGNORECASE)
_FLOAT = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
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


@dataclass
class _Node:
    tag: str
    attributes: dict[str, str]
    row: int
    children: list[_Node] = field(default_factory=list)
    title: str = ""


def read_svg(path: str | Path, unit: str | None = None, only: Collection[str] = ()) -> Found:
    """The closed outlines of an SVG file, in mm, y up.

    Args:
        path: the file.
        unit: what one user unit is ('mm', 'cm', 'in', 'pt', 'px') when the file does not say.
        only: names of the outlines wanted; what is wrong with others is then a note.

    Raises:
        InputError: not an SVG, hostile or past the limits, no unit declared and none given, or an
            outline that cannot be a piece.
    """
    path = Path(path)
    data = read_bytes(path, MAX_BYTES)
    return svg_outlines(data, str(path), unit, only)


def read_bytes(path: Path, limit: int) -> bytes:
    """A file's bytes.

    Raises:
        InputError: missing, a folder, not readable or larger than ``limit``.
    """
    try:
        if path.is_dir():
            raise InputError(Fault(str(path), "is a folder, not a file."))
        with path.open("rb") as file:
            data = file.read(limit + 1)
    except OSError as error:
        raise InputError(
            Fault(
                str(path), f"cannot be read ({error.strerror}).", "Check the name and the folder."
            )
        ) from error
    if len(data) > limit:
        raise InputError(
            Fault(
                str(path),
                f"is larger than {limit // 1_000_000} MB.",
                "Save the outlines alone, without pictures, to a new file.",
            )
        )
    return data


def svg_outlines(
    data: bytes, where: str, unit: str | None = None, only: Collection[str] = ()
) -> Found:
    """As `read_svg`, from the file's bytes; ``where`` names it in messages."""
    try:
        return _Walk(_parse(data, where), where, unit).found(only)
    except InputError as error:
        raise InputError(
            [f if f.where else Fault(where, f.what, f.remedy) for f in error.faults]
        ) from error


# -- XML ------------------------------------------------------------------------------------------


def _parse(data: bytes, where: str) -> _Node:
    """The element tree, built by expat under the limits."""
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
    parser.buffer_text = True
    stack: list[_Node] = []
    roots: list[_Node] = []
    count = 0

    def refuse(what: str, remedy: str) -> InputError:
        return InputError(Fault(f"{where} line {parser.CurrentLineNumber}", what, remedy))

    plain = "Save it as plain SVG from the program it came from."

    def doctype(name: str, system: str | None, public: str | None, internal: int) -> None:
        if internal:
            raise refuse("declares its own entities or DTD, which is not read.", plain)

    def entity(*_: object) -> None:
        raise refuse("declares or uses an entity, which is not read.", plain)

    def external(*_: object) -> int:
        raise refuse("refers to another file, which is not fetched.", plain)

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal count
        count += 1
        if count > MAX_ELEMENTS:
            raise refuse(f"holds more than {MAX_ELEMENTS} elements.", "Save the outlines alone.")
        if len(stack) >= MAX_DEPTH:
            raise refuse(f"nests deeper than {MAX_DEPTH} groups.", plain)
        namespace, _, tag = name.rpartition(" ")
        node = _Node(tag if namespace in (_SVG, "") else "", attributes, parser.CurrentLineNumber)
        (stack[-1].children if stack else roots).append(node)
        stack.append(node)

    def end(_: str) -> None:
        stack.pop()

    def text(characters: str) -> None:
        if len(stack) > 1 and stack[-1].tag == "title":
            stack[-2].title = (stack[-2].title + characters)[:200]
        if stack[-1].tag == "style" and _MOVING_RULE.search(characters):
            raise refuse("moves or shapes its lines by a style sheet, which is not read.", plain)

    parser.StartDoctypeDeclHandler = doctype
    parser.EntityDeclHandler = entity
    parser.UnparsedEntityDeclHandler = entity
    parser.NotationDeclHandler = entity
    parser.SkippedEntityHandler = entity
    parser.ExternalEntityRefHandler = external
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = text
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise InputError(
            Fault(
                f"{where} line {error.lineno}",
                f"is not well-formed XML ({expat.ErrorString(error.code)}).",
                "Is it an SVG file? " + plain,
            )
        ) from error
    except (UnicodeError, LookupError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            Fault(where, "is written in an encoding that is not read.", plain)
        ) from error
    root = roots[0]
    if root.tag != "svg":
        raise InputError(
            Fault(where, "is not an SVG file.", "Its outermost element must be <svg>.")
        )
    return root


# -- drawing --------------------------------------------------------------------------------------


class _Walk:
    """Carries transforms and names down the tree and collects what is drawn."""

    def __init__(self, root: _Node, where: str, unit: str | None) -> None:
        self.root = root
        self.where = where
        self.unit = unit
        self.notes: list[str] = []
        self.drawn: list[Drawn] = []
        self.elements = 0
        self.segments = 0
        self.uses: list[_Node] = []
        self.by_id: dict[str, _Node] = {}
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

    def group(self, node: _Node, matrix: Array, context: _Context) -> None:
        """Everything below ``node``, whose own transform is in ``matrix`` already."""
        context = context.below(node)
        for child in node.children:
            self.element(child, matrix, context)

    def element(self, node: _Node, matrix: Array, context: _Context) -> None:
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

    def use(self, node: _Node, matrix: Array, context: _Context) -> None:
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
            sized = _Node(
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

    def nested(self, node: _Node, matrix: Array, context: _Context) -> None:
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

    def shape(self, node: _Node, matrix: Array, context: _Context) -> None:
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

    def chains(self, node: _Node) -> list[Chain]:
        """A basic shape or path as chains, in its own units (SVG 1.1, chapter 9)."""

        def n(key: str, axis: int) -> float:
            return self.number(node, key, axis)

        if node.tag == "path":
            return parse_path(node.attributes.get("d", ""))
        if node.tag in ("polygon", "polyline"):
            values = _floats(node.attributes.get("points", ""))
            if len(values) % 2:
                raise InputError(
                    Fault("", "has a point with one coordinate.", "Save the drawing again.")
                )
            made = polygon(np.array(values).reshape(-1, 2), node.tag == "polygon")
            return [made] if made else []
        if node.tag == "line":
            ends = np.array([[n("x1", 0), n("y1", 1)], [n("x2", 0), n("y2", 1)]])
            return [Chain((line(ends[0], ends[1]),), False)]
        if node.tag == "circle":
            r = n("r", 2)
            return [ellipse(n("cx", 0), n("cy", 1), r, r)] if r > 0 else []
        if node.tag == "ellipse":
            rx, ry = n("rx", 0), n("ry", 1)
            return [ellipse(n("cx", 0), n("cy", 1), rx, ry)] if rx > 0 and ry > 0 else []
        if node.tag == "rect":
            return _rect(n("x", 0), n("y", 1), n("width", 0), n("height", 1), *self.corner(node))
        return []

    def corner(self, node: _Node) -> tuple[float, float]:
        rx = self.number(node, "rx", 0) if "rx" in node.attributes else None
        ry = self.number(node, "ry", 1) if "ry" in node.attributes else None
        rx, ry = (ry if rx is None else rx), (rx if ry is None else ry)
        width, height = self.number(node, "width", 0), self.number(node, "height", 1)
        return min(rx or 0.0, width / 2.0), min(ry or 0.0, height / 2.0)

    def number(self, node: _Node, key: str, axis: int) -> float:
        """An attribute as a length in user units; ``axis`` 0 x, 1 y, 2 neither (for %)."""
        text = node.attributes.get(key, "").strip()
        if text in ("", "auto"):
            return 0.0
        match = _LENGTH.fullmatch(text)
        if match:
            value, unit = float(match.group(1)), match.group(2).lower()
            width, height = self.viewport[-1]
            if unit == "%":
                whole = (width, height, math.hypot(width, height) / math.sqrt(2.0))[axis]
                value *= whole / 100.0
            elif unit in UNIT_MM:
                value *= UNIT_MM[unit] / UNIT_MM["px"]
            elif unit:
                match = None
            kept = bounded(value) if match else None
            if kept is not None:
                return kept
        raise self.fault(node, f"its {key} '{text[:40]}' is no length.", "Save the drawing again.")

    def transform(self, node: _Node) -> Array:
        """The (3, 3) matrix of a ``transform`` attribute (SVG 1.1, section 7.6)."""
        text = node.attributes.get("transform", "").strip()
        matrix = np.eye(3)
        at = 0
        while at < len(text):
            match = _FUNCTION.match(text, at)
            step = _transform_step(match.group(1), _floats(match.group(2))) if match else None
            if match is None or step is None:
                raise self.fault(
                    node, f"its transform '{text[:60]}' cannot be read.", "Save the drawing again."
                )
            matrix = matrix @ step
            if not float(np.abs(matrix).max()) <= LARGEST:
                raise self.fault(node, "its transform is too large.", "Save the drawing again.")
            at = match.end()
        return matrix

    def place(self, node: _Node) -> str:
        name = node.attributes.get("id", "")
        return f"line {node.row} <{node.tag}{' ' + name[:40] if name else ''}>"

    def fault(self, node: _Node, what: str, remedy: str) -> InputError:
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

    def below(self, node: _Node) -> _Context:
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


def _all(root: _Node) -> Iterator[_Node]:
    stack = [root]
    while stack:
        node = stack.pop()
        yield node
        stack += reversed(node.children)


def _view_box(text: str, row: int) -> tuple[float, float, float, float] | None:
    if not text.strip():
        return None
    values = _floats(text)
    if len(values) != 4 or min(values[2:]) <= 0.0:
        raise InputError(
            Fault(
                "",
                f"line {row}: the viewBox '{text[:60]}' cannot be used.",
                "Save the drawing again.",
            )
        )
    return values[0], values[1], values[2], values[3]


def _floats(text: str) -> list[float]:
    """Numbers parted by spaces or commas, or only by a sign.

    Raises:
        InputError: anything else stands between them, or one is too large.
    """
    rest = _FLOAT.sub(" ", text)
    read = [bounded(float(v)) for v in _FLOAT.findall(text)]
    values = [v for v in read if v is not None]
    if rest.strip(" ,\t\r\n\f") or len(values) < len(read):
        raise InputError(
            Fault("", f"'{text.strip()[:40]}' is no list of numbers.", "Save the drawing again.")
        )
    return values


def _shift(x: float, y: float) -> Array:
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])


def _transform_step(name: str, v: list[float]) -> Array | None:
    if name == "matrix" and len(v) == 6:
        return np.array([[v[0], v[2], v[4]], [v[1], v[3], v[5]], [0.0, 0.0, 1.0]])
    if name == "translate" and len(v) in (1, 2):
        return _shift(v[0], v[1] if len(v) == 2 else 0.0)
    if name == "scale" and len(v) in (1, 2):
        return np.diag([v[0], v[-1], 1.0])
    if name == "rotate" and len(v) in (1, 3):
        c, s = math.cos(math.radians(v[0])), math.sin(math.radians(v[0]))
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        return turn if len(v) == 1 else _shift(v[1], v[2]) @ turn @ _shift(-v[1], -v[2])
    if name in ("skewX", "skewY") and len(v) == 1:
        t = math.tan(math.radians(v[0]))
        step = np.eye(3)
        step[(0, 1) if name == "skewX" else (1, 0)] = t
        return step
    return None


def _rect(x: float, y: float, w: float, h: float, rx: float, ry: float) -> list[Chain]:
    if w <= 0.0 or h <= 0.0:
        return []
    if rx <= 0.0 or ry <= 0.0:
        made = polygon(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]), True)
        return [made] if made else []
    r, b = x + w, y + h
    corners = np.array(
        [
            [[x + rx, y], [r - rx, y], [r, y + ry]],
            [[r, y + ry], [r, b - ry], [r - rx, b]],
            [[r - rx, b], [x + rx, b], [x, b - ry]],
            [[x, b - ry], [x, y + ry], [x + rx, y]],
        ]
    )
    segments: list[Segment] = []
    for start, turn, end in corners:
        if not np.allclose(start, turn, rtol=0.0, atol=1e-12):
            segments.append(line(start, turn))
        segments.append(svg_arc(turn, end, rx, ry, 0.0, False, True))
    return [Chain(tuple(segments), True)]

"""Grips: where on its pieces a garment can be pulled, and what each pull changes.

Above the docket, for the table: every length among the style options, and every change of fit that
goes both ways, is tried by a little; the place of the outline that it moves most becomes its grip. So
a block needs to say nothing of grips, and what is pulled is what the docket says. Piece mm.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import ChalkbeamError
from configs.units import format_length, parse_length
from drafting.blocks import Block, get
from drafting.docket import Docket
from drafting.fit import KINDS, parse_fit
from drafting.outline import points_along
from drafting.piece import Piece

Array = NDArray[np.float64]

_PART = re.compile(r"with\[(\d+)\]\.(.+)")  # a key of a block that is sewn to the garment
_TRY_MM = 2.0  # by which an option is tried
_FAR = 7.5  # times as much, to see whether a place follows evenly
_UNEVEN = 0.1  # of its way, by which it may not
_SHARES = np.linspace(0.0, 1.0, 9)  # of an edge, where it may have its grip
_LEAST = 0.1  # mm of outline for a mm of the option; less is no place to pull at
_ALIKE = 0.97  # of the strongest: among places as strong as each other the middle one is taken
_NEAR_MM = 30.0  # of another grip that moves the outline the same way: one is enough
_SAME_MM = 0.5  # a word's length is found by drawing it: so near it must come
Sampled = Mapping[tuple[str, str], Array]  # (piece, edge) → places along it
MOST_FIT_MM = 60.0  # of a pull that becomes a change of fit


@dataclass(frozen=True, eq=False)
class Grip:
    """A place to pull at.

    ``key``: ``style.length``, ``fit.hem``, ``with[0].style.length`` of a block that is sewn on; ``name`` and ``text``: in words; ``value_mm`` now, and its
    limits; ``piece`` and ``edge`` that it is on, ``at`` (2,) piece mm; ``way`` (2,): how far the place
    moves for 1 mm more of it.
    """

    key: str
    name: str
    text: str
    value_mm: float
    low_mm: float
    high_mm: float
    piece: str = ""
    edge: str = ""
    at: Array = field(default_factory=lambda: np.zeros(2), repr=False)
    way: Array = field(default_factory=lambda: np.zeros(2), repr=False)
    _share: int = 0

    def pulled_to(self, by: Array) -> float:
        """The value when the place is pulled by (2,) piece mm, within the limits."""
        value = self.value_mm + float(by @ self.way) / float(self.way @ self.way)
        return min(max(value, self.low_mm), self.high_mm)


def pulled(docket: Docket, key: str, value_mm: float) -> Docket:
    """The docket with a grip's value: a style option, or one entry of its list of fit changes, of the
    garment itself or of a block that is sewn to it.

    Drafting it may still refuse (`Docket.pieces`).
    """
    garment = dict(docket.garment or {})
    length = format_length(value_mm, docket.unit)
    if abs(parse_length(length, signed=True) - value_mm) > 0.05:  # not a whole step of her unit
        length = f"{value_mm:.1f} mm"
    part = _PART.fullmatch(key)
    if part is None:
        return docket.replace(garment=_valued(garment, key, length, value_mm))
    parts = list(garment.get("with") or [])
    n = int(part[1])
    parts[n] = _valued(dict(parts[n]), part[2], length, value_mm)
    return docket.replace(garment={**garment, "with": parts})


def _valued(recipe: dict[str, Any], key: str, length: str, value_mm: float) -> dict[str, Any]:
    """A block's entry with another value of a style option, or of a change of fit."""
    kind, _, name = key.partition(".")
    if kind == "style":
        return {**recipe, "style": {**(recipe.get("style") or {}), name: length}}
    fit = [dict(f) for f in recipe.get("fit") or [] if isinstance(f, Mapping)]
    at = next((i for i, f in enumerate(fit) if _plain(f, name)), None)
    if at is None:
        fit.append({"change": name, "by": length, "note": "pulled on the cloth"})
    elif abs(value_mm) < 0.05:
        del fit[at]
    else:
        fit[at] = {**fit[at], "by": length}
    return {**recipe, "fit": fit}


def grips(docket: Docket) -> list[Grip]:
    """Every place at which the docket's garment can be pulled; none where it has no block.

    Raises:
        ChalkbeamError: the garment as it stands cannot be drafted.
    """
    if docket.measurements is None or not docket._recipe.get("block"):
        return []
    base, of = _sampled(docket.pieces()), _pieces_by_part(docket)
    tried = [
        _up_to(docket, n, {k: v for k, v in base.items() if k[0] in own})
        for n, own in enumerate(of)
    ]
    found: list[Grip] = []
    for key, name, text, value, low, high in _values(docket):
        part = _PART.fullmatch(key)
        short, here = tried[int(part[1]) + 1 if part is not None else 0]
        grip = _grip(short, here, Grip(key, name, text, value, low, high))
        if grip is not None and not any(_same(grip, other) for other in found):
            found.append(grip)
    return found


def _up_to(docket: Docket, parts: int, own: Sampled) -> tuple[Docket, Sampled]:
    """The docket without the blocks that are sewn on later, which is drafted sooner, and a part's own
    edges; the whole docket where these lie otherwise without them."""
    garment = docket.garment or {}
    after = list(garment.get("with") or [])[parts:]
    if after:
        recipe = {**garment, "with": garment["with"][:parts]}
        short = docket.replace(
            garment=recipe, allowances={}, piece_allowances={}, lay=(), traced=()
        )
        try:
            edges = _sampled(short.pieces())
        except ChalkbeamError:
            return docket, own
        if all(k in edges and np.allclose(edges[k], own[k], atol=1e-9) for k in own):
            return short, own
    return docket, own


def _pieces_by_part(docket: Docket) -> list[set[str]]:
    """The pieces of the garment itself, then of each block that it sews on: a block's grips are there."""
    made, count = docket.draft(), len((docket.garment or {}).get("with") or [])
    before = [set(p.onto.pieces) for p in made.parts if p.onto is not None]
    whole = [*before, set(made.pieces)]
    own = [b - a for a, b in pairwise(whole)]
    return [whole[0], *own[len(own) - count :]]


def moved_along(docket: Docket, found: Sequence[Grip]) -> list[Grip]:
    """The grips where their places lie now, after a pull; those whose edge is gone are left out."""
    now = _sampled(docket.pieces())
    return [
        replace(g, at=now[g.piece, g.edge][g._share]) for g in found if (g.piece, g.edge) in now
    ]


def _values(docket: Docket) -> Iterator[tuple[str, str, str, float, float, float]]:
    """Key, name, text, value (nan where it is a word) and limits of all that is a length."""
    made, garment = docket.draft(), docket.garment or {}
    yield from _values_of(get(made.block), made.style, garment, docket.unit)
    own = list(garment.get("with") or [])  # a base's parts are pulled in the base
    for n, (entry, part) in enumerate(
        zip(own, made.parts[len(made.parts) - len(own) :], strict=True)
    ):
        block = get(part.block)
        of = block.name.replace("-", " ")
        for key, name, text, value, low, high in _values_of(block, part.style, entry, docket.unit):
            yield f"with[{n}].{key}", f"{name}, {of}", text, value, low, high


def _values_of(
    block: Block, style: Mapping[str, Any], recipe: Mapping[str, Any], unit: str
) -> Iterator[tuple[str, str, str, float, float, float]]:
    """The same of one block, as it was drafted with ``style``; ``recipe``: what the docket says of it."""
    for option in block.options:
        idle = option.when and not any(style[k] in values for k, values in option.when)
        if option.kind in ("length", "both") and not idle:
            now = style.get(option.key)
            value = float(now) if isinstance(now, int | float) else math.nan
            name = option.key.replace("_", " ")
            yield f"style.{option.key}", name, option.text, value, option.low, option.high
    for change in block.changes:
        kind = KINDS[change]
        if kind.signed:
            # this garment's own alone: a base's changes are there already, whatever is pulled
            own = [f for f in recipe.get("fit") or [] if _plain(f, change)]
            by = sum(c.by_mm for c in parse_fit(own[:1], unit))
            most = min(kind.limit_mm, MOST_FIT_MM)
            yield f"fit.{change}", f"{change} (fit)", kind.text, by, -most, most


def _plain(entry: Any, change: str) -> bool:
    """Whether an entry of the list is this change, for all of the garment."""
    mapping = isinstance(entry, Mapping)
    return mapping and entry.get("change") == change and not {"where", "side"} & set(entry)


def _sampled(pieces: Mapping[str, Piece]) -> Sampled:
    """(piece, edge) → places (9, 2) mm at even shares of it."""
    return {
        (name, edge.name): points_along(edge.points, _SHARES * edge.length_mm)
        for name, piece in pieces.items()
        for edge in piece.edges.values()
    }


def _drawn(docket: Docket, key: str, value_mm: float) -> Sampled | None:
    """The garment with another value, sampled; None where it cannot be drafted."""
    try:
        return _sampled(pulled(docket, key, value_mm).pieces())
    except ChalkbeamError:
        return None


def _grip(docket: Docket, base: Sampled, grip: Grip) -> Grip | None:
    """The grip with its place; None where it moves nothing, or cannot be tried."""
    value = grip.value_mm
    if math.isnan(value):
        found = _length_of_word(docket, base, grip)
        if found is None:
            return None
        value = found
    for step in (_TRY_MM, -_TRY_MM):
        if not grip.low_mm <= value + step <= grip.high_mm:
            continue
        tried = _drawn(docket, grip.key, value + step)
        if tried is not None:
            far = _drawn(docket, grip.key, value + _FAR * step)
            place = _strongest(base, tried, step, far)
            if place is None:
                return None
            (piece, edge), share, way = place
            return replace(
                grip, piece=piece, edge=edge, at=base[piece, edge][share], way=way,
                value_mm=value, _share=share,
            )  # fmt: skip
    return None


def _length_of_word(docket: Docket, base: Sampled, grip: Grip) -> float | None:
    """The length that a word ('to the hip bone'), or nothing said, comes to: drawn from two lengths
    that are tried, and proved by drawing it."""
    middle = 0.5 * (grip.low_mm + grip.high_mm)
    one = _drawn(docket, grip.key, middle)
    two = _drawn(docket, grip.key, middle + _TRY_MM)
    if one is None or two is None:
        return None
    votes: Counter[float] = Counter()  # each place says which length would bring it where it lies
    for k in base.keys() & one.keys() & two.keys():
        ways = (two[k] - one[k]) / _TRY_MM
        size = np.sum(ways**2, axis=1)
        far = size >= _LEAST**2
        votes.update(
            np.round(
                middle + np.sum((base[k] - one[k]) * ways, axis=1)[far] / size[far], 1
            ).tolist()
        )
    for value, _ in votes.most_common(3):
        proof = _drawn(docket, grip.key, value) if grip.low_mm <= value <= grip.high_mm else None
        if proof is not None and base.keys() <= proof.keys():
            off = max(float(np.abs(proof[k] - base[k]).max()) for k in base)
            if off < _SAME_MM:
                return value
    return None


def _strongest(
    base: Sampled,
    tried: Sampled,
    step: float,
    far: Sampled | None,
) -> tuple[tuple[str, str], int, Array] | None:
    """The place of all outlines that moves most: its (piece, edge), which it is, its way a mm.

    ``far``: drawn with so much more of it that a place which does not follow evenly shows.
    """
    best: list[tuple[float, float, tuple[str, str], int, Array]] = []
    for n, k in enumerate(base):
        if k not in tried:
            continue
        ways = (tried[k] - base[k]) / step
        sizes = np.hypot(*ways.T)
        if far is not None and k in far:
            odd = np.hypot(*((far[k] - base[k]) / (_FAR * step) - ways).T) > _UNEVEN * sizes
            sizes = np.where(odd, 0.0, sizes)
        best += [
            (float(s), abs(float(_SHARES[i]) - 0.5) + 0.01 * n, k, i, ways[i])
            for i, s in enumerate(sizes)
        ]
    most = max((b[0] for b in best), default=0.0)
    if most < _LEAST:
        return None
    _, _, k, i, way = min((b for b in best if b[0] >= _ALIKE * most), key=lambda b: b[1])
    return k, i, way


def _same(one: Grip, other: Grip) -> bool:
    if one.piece != other.piece or math.dist(one.at, other.at) > _NEAR_MM:
        return False
    a, b = one.way / np.hypot(*one.way), other.way / np.hypot(*other.way)
    return bool(abs(float(a @ b)) > 0.95)


def moved_pieces(before: Mapping[str, Piece], after: Mapping[str, Piece]) -> Sequence[str]:
    """The pieces whose sewing line is another one now."""
    return [
        name
        for name, piece in after.items()
        if name not in before or not np.array_equal(before[name].sewing_line, piece.sewing_line)
    ]

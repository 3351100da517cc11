"""From sewing line to cutting line: each edge with its own allowance, corners by kind.

Between an outline and its piece. The cut shape is built from the sewn shape, one strip an
edge and one patch a corner, and joined; so an allowance wider than a curve's radius, a reflex
corner or a very short edge cannot fold the line over itself. The result is then measured
against the sewing line, since a wrong allowance would only be noticed after cutting.

Corner kinds (common practice, no source):

- extended: both cutting lines run on until they meet;
- squared: the allowance of the seam that is sewn first ends square to that seam;
- mirrored: the allowance's end is the mirror image, in the line it turns up on, of the edge it
  will lie on. Hems: turned up, their ends lie on the side seam's cut edge.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from configs.errors import DraftError, Fault, InputError
from configs.units import length_text, parse_length
from drafting.outline import Edge, Points, ring_points
from drafting.outline import without_repeats as _tidy

if TYPE_CHECKING:
    import shapely

FOLD = "fold"
HEM = "hem"
ALL = "all"
RAW = "raw edge"
EXTENDED, SQUARED, MIRRORED = "extended", "squared", "mirrored"
KINDS = (EXTENDED, SQUARED, MIRRORED)
MOST_MM = 200.0
SMALL_ALLOWANCE_MM = 3.0  # no shears cut a seam so narrow (common practice, no source)
POINT_LIMIT = 2.5  # an extended corner is blunted at this many allowances from its corner
DISTANCE_TOLERANCE_MM = 0.05  # the flattening tolerance of the curves
_GENTLE = np.radians(20.0)  # vertices of a curve turn by less, corners by more
_GRID_MM = 1e-6
_STRAIGHT = np.radians(2.0)  # edges that run on into one another within this need no corner


def plain(edge: str) -> str:
    """An edge's name without the wearer's side."""
    return edge.removeprefix("left ").removeprefix("right ")


def allowance_of(edge: str, allowances: Mapping[str, float] | None) -> float:
    """The allowance in mm of the edge named ``edge``.

    The edge's own entry, else that of its name without 'left ' or 'right ', else for a hem of any
    kind (a sleeve hem) that of ``hem``, else ``all``, else 0. A fold never has one, and a raw edge
    (of a binding) only where it is named.
    """
    if edge == FOLD or not allowances:
        return 0.0
    hem = (HEM,) if edge.split()[-1] == HEM else ()
    general = () if edge.endswith(RAW) else (ALL,)
    for key in (edge, plain(edge), *hem, *general):
        if key in allowances:
            return float(allowances[key])
    return 0.0


def with_bound(allowances: Mapping[str, float] | None, bound: Sequence[str]) -> dict[str, float]:
    """Allowances in which bound edges get none from ``all``, only where they are named."""
    out = dict(allowances or {})
    if ALL in out:
        for edge in bound:
            if plain(edge) not in out:
                out.setdefault(edge, 0.0)
    return out


def cutting_ring(
    edges: Mapping[str, Edge],
    allowances: Mapping[str, float | str] | None,
    corners: Mapping[tuple[str, str], tuple[str, str]] | None = None,
) -> Points:
    """(N, 2) mm: the closed cutting line, counter-clockwise, first point not repeated.

    ``edges``: the ring of the sewing line; ``allowances``: mm by edge name, with ``all`` for
    the others; ``corners``: (edge, next edge) → (kind, edge whose allowance is shaped), where
    the default is mirrored at a hem and extended elsewhere. A fold edge lies on x = 0 and the
    cutting line never crosses it.

    Raises:
        InputError: an allowance below 0, above 200 mm or no length.
        DraftError: no sound cutting line exists (an allowance larger than the piece).
    """
    allowances = in_mm(allowances)
    widths = [allowance_of(name, allowances) for name in edges]
    sewn = ring_points(edges)
    if not any(widths):
        return sewn
    ring = list(edges.values())
    chosen = dict(corners or {})
    for trim in (True, False):  # a trim that would bite into another part is left out
        cut = _join(ring, widths, chosen, sewn, trim)
        short = falls_short(ring, widths, cut)
        if not short:
            return cut
    raise DraftError.of(
        f"cutting line outside '{short}'",
        "comes nearer to the sewing line than the allowance.",
        "Use a smaller allowance there.",
    )


def in_mm(allowances: Mapping[str, float | str] | None) -> dict[str, float]:
    """Allowances as float mm; texts carry their own unit (``10 mm``, ``3/8 in``).

    Raises:
        InputError: all that is wrong at once: no length, not finite, below 0 or above 200 mm.
    """
    faults: list[Fault] = []
    out = {}
    for name, value in (allowances or {}).items():
        where = f"allowances.{name}"
        try:
            mm = parse_length(value if isinstance(value, str) else float(value), "mm", where)
        except InputError as error:
            faults += error.faults
        except (TypeError, ValueError):
            faults.append(Fault(where, f"is {value!r}, not a number of mm."))
        else:
            out[name] = mm
            if mm > MOST_MM:
                faults.append(
                    Fault(
                        where,
                        f"is {length_text(mm)}; it must lie between 0 and {length_text(MOST_MM)}.",
                    )
                )
    if faults:
        raise InputError(faults)
    return out


def _join(
    ring: Sequence[Edge],
    widths: Sequence[float],
    corners: Mapping[tuple[str, str], tuple[str, str]],
    sewn: Points,
    trim: bool,
) -> Points:
    """Sewn shape, strips and corner patches, joined into one ring."""
    import shapely
    from shapely.geometry.polygon import orient

    strips = [_strip(e.points, w) for e, w in zip(ring, widths, strict=True)]
    patches: list[Any] = []
    for i, a in enumerate(ring):
        j = (i + 1) % len(ring)
        b = ring[j]
        kind, lead = corners.get((a.name, b.name)) or _default_kind(a.name, b.name)
        patch, off_a, off_b = _corner(a, b, widths[i], widths[j], kind, lead == a.name)
        patches += [_polygon(p) for p in patch]
        if trim:
            for k, off in ((i, off_a), (j, off_b)):
                if off is not None:
                    strips[k] = [shapely.difference(shapely.union_all(strips[k]), _polygon(off))]
    parts = [_polygon(sewn), *(s for strip in strips for s in strip), *patches]
    shape = shapely.union_all([p for p in parts if not p.is_empty], grid_size=_GRID_MM)
    if any(e.name == FOLD for e in ring):
        low, high = sewn.min(axis=0) - 1e3, sewn.max(axis=0) + 1e3
        shape = shapely.intersection(shape, shapely.box(0.0, low[1], high[0], high[1]))
    if shape.geom_type != "Polygon":
        shape = max(shape.geoms, key=lambda g: g.area)
    out = np.asarray(orient(shape).exterior.coords, dtype=np.float64)[:-1]
    out = _bare(_tidy(out, closed=True))
    start = int(np.argmin(np.hypot(*(out - sewn[0]).T)))
    return np.roll(out, -start, axis=0)


def _bare(ring: Points) -> Points:
    """Drop points on a straight run (joining leaves some), so that each vertex means something."""
    import shapely

    first = int(np.argmax(ring @ (1.0, 0.137)))  # farthest in an odd direction: a corner surely
    line = shapely.LinearRing(np.roll(ring, -first, axis=0))
    kept = shapely.get_coordinates(shapely.simplify(line, 2.0 * _GRID_MM))
    return np.asarray(kept[:-1], dtype=np.float64)


def _polygon(points: Any) -> shapely.Polygon:
    """A polygon, made valid when rounding has folded it."""
    import shapely

    shape = shapely.Polygon(points)
    return shape if shape.is_valid else shapely.make_valid(shape)


def _right(t: Points) -> Points:
    """The outward normal of a counter-clockwise ring's unit tangent (…, 2)."""
    return np.stack([t[..., 1], -t[..., 0]], axis=-1)


def _strip(points: Points, width: float) -> list[Any]:
    """What lies along the outside of an edge, with wedges where it turns outward sharply.

    At the vertices of a flattened curve neighbours share their outer corner, so that no hairline
    stays between them, and what hangs together so is one polygon: the fewer, the faster joined.
    """
    import shapely

    if width <= 0:
        return []
    p = _tidy(points)
    d = np.diff(p, axis=0)
    t = d / np.hypot(*d.T)[:, None]
    n = _right(t)
    start, end = p[:-1] + n * width, p[1:] + n * width
    turn = np.arctan2(t[:-1, 0] * t[1:, 1] - t[:-1, 1] * t[1:, 0], (t[:-1] * t[1:]).sum(axis=1))
    gentle = np.flatnonzero(np.abs(turn) < _GENTLE)
    both = n[gentle] + n[gentle + 1]
    shared = p[gentle + 1] + both * (width / (0.5 * (both * both).sum(axis=1)))[:, None]
    near, far = start.copy(), end.copy()
    near[gentle + 1], far[gentle] = shared, shared
    # In a hollow tighter than the allowance a quad would turn inside out: there it stays square.
    flipped = ((far - near) * d).sum(axis=1) <= 0
    near[flipped], far[flipped] = start[flipped], end[flipped]
    breaks = np.flatnonzero(~(np.abs(turn) < _GENTLE) | flipped[:-1] | flipped[1:]) + 1
    parts: list[Any] = []
    for first, stop in itertools.pairwise([0, *breaks.tolist(), len(d)]):
        outer = np.concatenate([near[first : first + 1], far[first:stop]])
        whole = shapely.Polygon(np.concatenate([p[first : stop + 1], outer[::-1]]))
        if whole.is_valid:
            parts.append(whole)
        else:  # it runs into itself: quad by quad
            quads = np.stack([p[:-1], near, far, p[1:]], axis=1)[first:stop]
            parts += list(shapely.polygons(quads))
    sharp = np.flatnonzero(turn >= _GENTLE)
    return parts + [_polygon(_extended(p[i + 1], t[i], t[i + 1], width, width)) for i in sharp]


def _extended(c: Points, t1: Points, t2: Points, w1: float, w2: float) -> list[Points]:
    """Patch outside a convex corner ``c``: both cutting lines run on until they meet.

    A corner so sharp that its point would lie past `POINT_LIMIT` allowances is blunted there.
    """
    n1, n2 = _right(t1), _right(t2)
    a, b = c + w1 * n1, c + w2 * n2
    sine = float(t1[0] * t2[1] - t1[1] * t2[0])
    cosine = float(t1 @ t2)
    s, u = (w2 - w1 * cosine) / sine, (w1 - w2 * cosine) / sine
    limit = POINT_LIMIT * max(w1, w2)
    meet = a + s * t1
    if np.hypot(*(meet - c)) <= limit:
        # a wide line that meets a narrow one past its own start must not stand out before that
        return [c, *([a] if s >= 0 else []), meet, *([b] if u >= 0 else [])]
    reach = float(np.sqrt(max(limit**2 - max(w1, w2) ** 2, 0.0)))
    return [c, a, a + min(max(s, 0.0), reach) * t1, b - min(max(u, 0.0), reach) * t2, b]


def _default_kind(a: str, b: str) -> tuple[str, str]:
    """Kind of the corner between neighbours, and the edge whose allowance it shapes."""
    hems = [name for name in (a, b) if name.split()[-1] == HEM]
    return (MIRRORED, hems[0]) if len(hems) == 1 else (EXTENDED, a)


def _corner(
    a: Edge, b: Edge, wa: float, wb: float, kind: str, lead_a: bool
) -> tuple[list[list[Points]], list[Points] | None, list[Points] | None]:
    """Patches for the corner where ``a`` runs into ``b``, and what to trim from each strip."""
    c, ta, tb = a.points[-1], a.end_tangent, b.start_tangent
    na, nb = _right(ta), _right(tb)
    sine, cosine = float(ta[0] * tb[1] - ta[1] * tb[0]), float(ta @ tb)
    turn = float(np.arctan2(sine, cosine))
    if turn <= _STRAIGHT:  # reflex or straight on: the strips overlap or meet by themselves
        return ([[c, c + wa * na, c + wb * nb]] if turn > 0 else []), None, None
    big = 8.0 * max(wa, wb)
    if kind == EXTENDED or wa == 0 or wb == 0:
        off_a = off_b = None
        if wa < wb * cosine:  # b's strip would stand out past a's cutting line
            off_b = _beyond(c + wa * na, ta, na, big)
        if wb < wa * cosine:
            off_a = _beyond(c + wb * nb, -tb, nb, big)
        return [_extended(c, ta, tb, wa, wb)], off_a, off_b
    # Seen from the shaped edge: ``out`` runs on past the corner along it, ``n`` is its outside.
    out, n, w = (ta, na, wa) if lead_a else (-tb, nb, wb)
    other_n, other_w, other_run = (nb, wb, tb) if lead_a else (na, wa, -ta)
    q = c + out * (other_w / sine)
    if kind == SQUARED:
        end = n * w
    else:
        # The other edge, mirrored in the shaped one: what the allowance lies on when turned.
        down = other_run - 2.0 * float(other_run @ n) * n
        rise = float(down @ n)
        end = down * (w / rise) if rise > 0.2 else n * w
    patches, trim_lead, trim_other = [[c, c + w * n, q + end, q]], None, None
    if float((q + end - c) @ out) < 0:  # the end leans back over the edge
        patches = [[c, q + end, q]]
        far = q + end * (big / w)
        trim_lead = [q, far, far + out * big, q + out * big]
    if w < other_w * cosine:
        trim_other = _beyond(c + w * n, out, n, big)
    else:
        patches.append([c, q, c + other_w * other_n])
    trims = (trim_lead, trim_other)
    return patches, *(trims if lead_a else trims[::-1])


def _beyond(origin: Points, along: Points, outward: Points, size: float) -> list[Points]:
    """A box of ``size`` outside the line that runs from ``origin`` on."""
    far = origin + along * size
    return [origin, far, far + outward * size, origin + outward * size]


def falls_short(ring: Sequence[Edge], widths: Sequence[float], cut: Points) -> str:
    """The name of an edge that has less than its allowance outside it, off its corners, or ''."""
    import shapely

    shape = shapely.Polygon(cut)
    if not shape.is_valid:
        return "outline"
    shapely.prepare(shape)
    for edge, width in zip(ring, widths, strict=True):
        if width <= 0 or edge.name == FOLD:
            continue
        length = edge.length_mm
        margin = min(width * 1.5, 0.35 * length)
        spots, along = edge.spots(np.linspace(margin, length - margin, 9))
        reach = spots + _right(along) * (width - DISTANCE_TOLERANCE_MM)
        inside = shapely.contains_xy(shape, reach[:, 0], reach[:, 1])
        if any(e.name == FOLD for e in ring):
            inside |= reach[:, 0] <= 0.0  # past the fold there is no cloth edge
        if not inside.all():
            return edge.name
    return ""

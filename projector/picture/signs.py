"""Signs: what is drawn beside the pieces, the cloth, arrows, a plan's outlines, pointer, check square."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from drafting.placement import Array, carry
from projector.lettering import text_width
from projector.picture import room
from projector.picture.faces import text_block
from projector.picture.marks import Item, circle, polyline, ring, stepped
from projector.picture.stage import Stage
from projector.picture.view import rigid

if TYPE_CHECKING:
    from drafting.placement import Placement


_FROM_WORDS_MM = 3.0  # room kept between a label and a line that must be broken for it
_HATCH_MM = 14.0  # between two lines of a hatching
_ASIDE_MM = np.array([0.0, 70.0, -70.0, 140.0, -140.0])  # of the way, where an arrow may stand
_EDGE_MM = 90.0  # of the beam's edge: farther in nobody looks for it
_BEYOND_MM = 10.5  # letters beside an arrow towards what is not lit


def cloth(stage: Stage, used_mm: float | None = None) -> Item:
    """The cloth's edge, selvedge and fold, and a tick where the used length ends; made once."""
    bolt = stage.docket.cloth is None or stage.docket.cloth.lie_outline_mm is None
    key = ("cloth", stage.docket.cloth, round(used_mm or 0.0) if bolt else 0)
    return stage.kept(key, lambda: _cloth(stage, used_mm)).moved(stage.view.table_from_cloth)


def _cloth(stage: Stage, used_mm: float | None) -> Item:
    cloth = stage.docket.cloth
    if cloth is None:
        return Item("cloth", (), stage.view.table_from_cloth)
    marks = []
    outline = cloth.lie_outline_mm
    x1 = cloth.x_range_mm[1]
    if cloth.outline is not None:
        marks.append(stage.mark("cloth", [ring(np.array(cloth.outline))]))
    else:
        if outline is None:
            x1 = (used_mm or 0.0) + 300.0  # off the bolt: as far as the work reaches, and a bit
        lengths = cloth.lengths_lying(x1)
        for n, (a, b, far) in enumerate(lengths):
            folds = cloth.folds_mm if n == 0 else ()
            if outline is not None or n < len(lengths) - 1:
                marks.append(stage.mark("cloth", [polyline((b, 0), (b, far))]))
            if n == 0:
                marks.append(stage.mark("cloth", [polyline((a, far), (a, 0))]))
            for y in (0.0, far):  # a side that is a fold looks like one
                kind = "guide" if y in folds else "cloth"
                marks.append(stage.mark(kind, [polyline((a, y), (b, y))]))
        if cloth.meeting_mm is not None:  # both selvedges meet there, whatever is left of them
            ends = [polyline((0, y), (lengths[0][1], y)) for y in cloth.meeting_mm]
            marks.append(stage.mark("selvedge", ends))
        if cloth.selvedge_mm > 0:
            for n, (a, b, far) in enumerate(lengths):
                sides = {0.0: cloth.selvedge_mm, far: far - cloth.selvedge_mm}
                kept = [y for side, y in sides.items() if n or side not in cloth.folds_mm]
                if kept:
                    lines = [polyline((a, y), (b, y)) for y in kept]
                    marks.append(stage.mark("selvedge", lines))
    holes, flaws = ([np.asarray(r, float) for r in rings] for rings in (cloth.holes, cloth.flaws))
    if holes or flaws:
        marks.append(stage.mark("trouble", [ring(r) for r in (*holes, *flaws)]))
        # told apart by their hatching: a hole is crossed, a flaw is striped
        lines = [x for r in (*holes, *flaws) for x in hatching(r, 45.0)]
        lines += [x for r in holes for x in hatching(r, -45.0)]
        marks.append(stage.mark("cloth", lines))
    return Item("cloth", tuple(marks), stage.view.table_from_cloth)


def hatching(outline: Array, turn_deg: float, step_mm: float = _HATCH_MM) -> list[Array]:
    """Lines (2, 2) mm across the inside of a ring (N, 2), at an angle; at least one."""
    import shapely

    turn = rigid(turn_deg, (0.0, 0.0))[:2, :2]
    turned = outline @ turn
    (x0, y0), (x1, y1) = turned.min(axis=0), turned.max(axis=0)
    count = max(1, round((y1 - y0) / step_mm))
    levels = y0 + (np.arange(count) + 0.5) * (y1 - y0) / count
    across = shapely.MultiLineString([[(x0 - 1, y), (x1 + 1, y)] for y in levels])
    inside = shapely.intersection(across, shapely.make_valid(shapely.Polygon(turned)))
    parts = [p for p in shapely.get_parts(inside) if p.geom_type == "LineString"]
    return [shapely.get_coordinates(p) @ turn.T for p in parts]


def overlap(stage: Stage, name: str, one: Array, two: Array) -> Item:
    """Hatching where two outlines (N, 2), cloth mm, overlap."""
    import shapely

    both = shapely.intersection(*(shapely.make_valid(shapely.Polygon(r)) for r in (one, two)))
    lines: list[Array] = []
    for part in shapely.get_parts(both):
        if part.geom_type == "Polygon" and not part.is_empty:
            lines += hatching(shapely.get_coordinates(part.exterior), 45.0, 8.0)
    marks = (stage.mark("trouble", lines),) if lines else ()
    return Item(f"overlap:{name}", marks, stage.view.table_from_cloth)


def beyond(
    stage: Stage,
    placement: Placement,
    clear_of: Sequence[Array] = (),
    lines: Array | None = None,
) -> tuple[Item, Array] | None:
    """An arrow at the beam's edge towards a copy that is not lit, with its name; and its ground.
    None where there is no place for it.

    ``clear_of``: (N, 2) table mm each, to keep off (the strip, words, other arrows); the ground:
    alike; ``lines``: (N, 2) table mm along the lines that it must not cover.
    """
    face = stage.faces.of(placement)
    a = stage.table_from_piece(placement)
    goal = carry(a, 0.5 * (face.rough.min(axis=0) + face.rough.max(axis=0)))
    middle = stage.middle_mm
    read = stage.read
    way = (goal - middle) / max(1.0, float(np.hypot(*(goal - middle))))
    name = face.words[0]
    x, y = 0.5 * text_width(name, _BEYOND_MM) + 8.0, 34.0
    box = polyline((-x, -y), (x, -y), (x, y), (-x, y))
    reach = 2.0 * float(np.hypot(*np.ptp(stage.lens.beam_mm, axis=0)))
    at = np.concatenate(  # towards it, and a little aside of that
        [
            middle + np.linspace(1.0, 0.0, 201)[:, None] * (way * reach) + aside
            for aside in _ASIDE_MM[:, None] * np.array([-way[1], way[0]])
        ]
    )
    grounds = (box @ read.T)[None] + at[:, None]
    free = np.ones(len(at), dtype=bool)
    low, high = at @ read - (x, y), at @ read + (x, y)
    for each in clear_of:
        seen = each @ read
        meets = (np.maximum(low, seen.min(axis=0)) < np.minimum(high, seen.max(axis=0))).all(1)
        free &= ~meets
    lit = stage.lens.covers(grounds.reshape(-1, 2)).reshape(len(at), -1).all(axis=1)
    step = lit.reshape(len(_ASIDE_MM), -1)
    outmost = np.where(step.any(axis=1), step.argmax(axis=1), 999)
    near = np.arange(step.shape[1]) - outmost[:, None] < _EDGE_MM / (reach / 200.0)
    good = np.flatnonzero(free & lit & near.ravel())
    drawn = np.zeros((0, 2)) if lines is None else lines @ read
    best = next(  # the outermost place
        (
            int(k) for k in sorted(good, key=lambda k: (k % 201, k))
            if not ((drawn > low[k]) & (drawn < high[k])).all(axis=1).any()
        ),
        None,
    )  # fmt: skip
    if best is None:
        return None
    at, ground = at[best], grounds[best]
    # in her directions: right, away
    d = ((goal - at) / max(1.0, float(np.hypot(*(goal - at))))) @ read
    side = np.array([-d[1], d[0]])
    foot, tip = np.array([0.0, 12.0]) - 14.0 * d, np.array([0.0, 12.0]) + 14.0 * d
    head = [tip - 9.0 * d + 5.0 * side, tip, tip - 9.0 * d - 5.0 * side]
    marks = (
        stage.mark("strong", [np.array([foot, tip]), np.array(head)], wider=1.2),
        stage.mark("text", text_block([name], _BEYOND_MM, (0.0, -22.0))),
    )
    return Item(f"beyond:{placement.key}", marks, stage.reading_frame(at)), ground


def ghost(stage: Stage, placements: Sequence[Placement], words: Sequence[Array]) -> Item:
    """Outlines of a plan, in the table frame, broken where they would run through words.

    ``words``: points (N, 2) table mm of one label each.
    """
    boxes = [
        (seen.min(axis=0) - _FROM_WORDS_MM, seen.max(axis=0) + _FROM_WORDS_MM)
        for seen in (w @ stage.read for w in words)
    ]
    lines: list[Array] = []
    for p in placements:
        for line in stage.faces.of(p).lines["cutting"]:
            table = carry(stage.table_from_piece(p), line)
            lines += _outside(stepped(table, 3.0), stage.read, boxes)
    return Item("ghost", (stage.mark("ghost", lines),), np.eye(3))


def cursor(stage: Stage, at_mm: Sequence[float] | Array, *, busy: bool = False) -> Item:
    """The pointer, drawn in mm on the cloth."""

    def drawn() -> Item:
        r, ways = 7.0, np.array([(1, 0), (-1, 0), (0, 1), (0, -1)])
        lines = [circle(0, 0, r, 24), *(np.array([w * (r + 1), w * (r + 6)]) for w in ways)]
        if not busy:
            lines.append(polyline((-0.3, 0), (0.3, 0)))
        return Item("cursor", (stage.mark("chosen", lines, wider=0.8),), np.eye(3))

    return stage.kept(("cursor", busy), drawn).moved(stage.reading_frame(at_mm))


def guides(stage: Stage, lines: Sequence[Array]) -> Item:
    """Lines in the cloth frame that a moving piece has snapped to."""
    return Item("guides", (stage.mark("snap", lines),), stage.view.table_from_cloth)


# -- the check square ---------------------------------------------------------------------------


def check_square(stage: Stage, at_mm: Sequence[float] | Array, *, inches: bool = False) -> Item:
    """A square and a ruler, to lay a real ruler on: 100 and 200 mm, or 4 and 8 in."""
    frame = stage.reading_frame(at_mm)
    unit, side, words = (25.4, 4, "4 in each side") if inches else (10.0, 10, "100 mm each side")
    s = side * unit
    square = polyline((0, 0), (s, 0), (s, s), (0, s), (0, 0))
    diagonals = [polyline((0, 0), (s, s)), polyline((s, 0), (0, s))]
    ticks = [polyline((0, -30), (2 * s, -30))]
    numbers: list[Array] = []
    parts, named = (8, 1) if inches else (2, 5)  # of a unit; units from number to number
    for i in range(2 * side * parts + 1):
        at, whole = i * unit / parts, i % parts == 0
        numbered = whole and i // parts % named == 0
        high = 12.0 if numbered else 8.0 if whole or (i % (parts // 2) == 0 and inches) else 5.0
        ticks.append(polyline((at, -30), (at, -30 + high)))
        if numbered:
            numbers += text_block([str(i // parts)], 8.0, (at, -42.0))
    numbers += text_block([words], 8.5, (s, s + 12.0))
    marks = (
        stage.mark("cutting", [square], wider=0.6),
        stage.mark("guide", diagonals),
        stage.mark("cutting", ticks, wider=0.5),
        stage.mark("text", numbers),
    )
    return Item("check", marks, frame)


def check_panel(stage: Stage, at_mm: Sequence[float] | Array) -> Array:
    """(4, 2) table mm: what is cleared under a check square, so that no line crosses it."""
    return carry(
        stage.reading_frame(at_mm), polyline((-14, -50), (214, -50), (214, 128), (-14, 128))
    )


def check_covers(stage: Stage, at_mm: Array, quads: Sequence[Array]) -> bool:
    """Whether a check square at a place reaches out of the light, or over one of some quads (4, 2)."""
    import shapely

    panel = check_panel(stage, at_mm)
    ground = shapely.Polygon(panel)
    return not stage.lens.covers(panel).all() or any(
        map(ground.intersects, map(shapely.Polygon, quads))
    )


def check_corner(stage: Stage, at_mm: Array, keep_off: Sequence[Array] = ()) -> Array:
    """(2,) where a check square stands that is asked for at a place: there, or the nearest free.

    ``keep_off``: quads (4, 2) table mm that it must not cover.
    """
    if not check_covers(stage, at_mm, keep_off):
        return np.asarray(at_mm, dtype=np.float64)
    panel = check_panel(stage, at_mm)
    read = stage.read
    w, h = (float(v) for v in np.ptp(panel @ read, axis=0))
    found = room.place(stage.lens, read, (w, h), at_mm, keep_off=keep_off)
    if found is None:
        return np.asarray(at_mm, dtype=np.float64)
    return np.asarray(found + np.asarray(at_mm) - panel[0])


def _outside(line: Array, read: Array, boxes: Sequence[tuple[Array, Array]]) -> list[Array]:
    """The stretches of a line that lie in none of the boxes, given in reading axes."""
    seen = line @ read
    free = np.ones(len(line), dtype=bool)
    for low, high in boxes:
        free &= ~((seen >= low) & (seen <= high)).all(axis=1)
    if free.all():
        return [line]
    runs = np.split(np.arange(len(line)), np.flatnonzero(np.diff(free.astype(int))) + 1)
    return [line[run] for run in runs if free[run[0]] and len(run) > 1]

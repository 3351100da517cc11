"""Align: bring the lay onto the cloth that really lies there, from places she points at.

Between the pointer and the `View`. She points at places on the cloth whose coordinates are known
(chalked crosses, the selvedge, the fold), and the view is turned and moved so that the lay falls
on them. Only turn and move: a cloth that has stretched is told, never followed, because the
pieces must keep their size.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from configs.errors import InputError
from configs.units import length_text
from drafting.cloth import Cloth
from drafting.curves import turn
from drafting.placement import Array, carry
from projector.picture.view import View, rigid

RESIDUAL_LIMIT_MM = 2.0
STRETCH_LIMIT = 0.003
POINTER_MM = 1.0  # she points to within ± this in x and in y
LEAST_BASE_MM = 50.0  # two places closer than this say nothing about a direction
LINES = ("near", "far", "start", "end")


@dataclass(frozen=True, eq=False)
class Registration:
    """The rigid move that takes places of the cloth best onto the places she pointed at.

    ``rotation``: radians, counter-clockwise; ``translation``: (x, y) table mm; ``mirrored``: the
    cloth lies turned over (its y reversed first). ``residuals_mm``: (N,) distance left at each
    place; ``stretch``: how much longer the places lie apart than they should, as a fraction
    (least squares; +0.003 is 3 mm in a metre); ``stretch_doubt``: its standard error from
    pointing alone. ``points_cloth``: (N, 2) mm, what it was made from.
    """

    rotation: float
    translation: tuple[float, float]
    mirrored: bool
    residuals_mm: Array
    stretch: float
    stretch_doubt: float
    points_cloth: Array

    @property
    def residual_mm(self) -> float:
        """The largest distance left between a place and where it was pointed at, mm."""
        return float(self.residuals_mm.max())

    @property
    def worst(self) -> int:
        """Index of the place that fits least."""
        return int(np.argmax(self.residuals_mm))

    @property
    def ok(self) -> bool:
        """Whether residual and stretch are within 2 mm and 0.3 %."""
        return self.residual_mm <= RESIDUAL_LIMIT_MM and abs(self.stretch) <= STRETCH_LIMIT

    @property
    def base_mm(self) -> float:
        """The largest distance between two of the places, on the cloth, mm."""
        p = self.points_cloth
        return float(np.hypot(*np.moveaxis(p[:, None] - p[None], 2, 0)).max())

    @property
    def table_from_cloth(self) -> Array:
        """(3, 3) rigid, cloth mm → table mm."""
        return rigid(math.degrees(self.rotation), self.translation, self.mirrored)

    def view(self, before: View) -> View:
        """The view with this turn and place; the side where she stands stays."""
        return replace(
            before, turn_deg=math.degrees(self.rotation), at=self.translation, mirror=self.mirrored
        )

    def expected_error_mm(self, points_cloth: ArrayLike) -> Array:
        """(N,) rms distance by which pointing alone may put each place of the cloth aside.

        Errors even within ± `POINTER_MM` in x and y; for a turn and move by least squares the
        variance at a place is 2 s² (1/n + d²/(2 Q) ), d its distance from the middle of the n
        crosses, Q the sum of their squared distances from it (derived by arithmetic).
        """
        p = self.points_cloth
        middle = p.mean(axis=0)
        q = float(np.sum((p - middle) ** 2))
        d2 = np.sum((np.asarray(points_cloth, dtype=np.float64) - middle) ** 2, axis=1)
        variance = POINTER_MM**2 / 3.0  # of one coordinate
        return np.asarray(np.sqrt(variance * (2.0 / len(p) + d2 / q)))


def register(
    points_cloth: ArrayLike, points_table: ArrayLike, *, mirrored: bool = False
) -> Registration:
    """The turn and move that take places of the cloth best onto what she pointed at.

    Rigid least squares in the plane, in closed form (the two-dimensional case of Horn 1987; from
    memory). ``stretch`` is what a scale would have gained; it is reported and not applied.

    Args:
        points_cloth: (N, 2) mm, N ≥ 2.
        points_table: (N, 2) mm, where each of them was pointed at, in the same order.
        mirrored: the cloth lies turned over, as the view says.

    Raises:
        InputError: fewer than two places, numbers that differ, not finite, or all in one spot.
    """
    p, q = (np.array(points, dtype=np.float64) for points in (points_cloth, points_table))
    for array, name in ((p, "points_cloth"), (q, "points_table")):
        if array.ndim != 2 or array.shape[1] != 2 or not np.all(np.isfinite(array)):
            what = f"has the shape {array.shape}; expected (N, 2) finite numbers, mm."
            raise InputError.of(name, what)
    if len(p) != len(q):
        raise InputError.of("points", f"{len(p)} places on the cloth but {len(q)} pointed at.")
    if len(p) < 2:
        what = "one place does not say how the cloth is turned."
        raise InputError.of("points", what, "Point at a second.")
    a = p * (1.0, -1.0) if mirrored else p
    pm, qm = a.mean(axis=0), q.mean(axis=0)
    u, v = a - pm, q - qm
    spread = float(np.sum(u * u))
    base = float(np.hypot(*np.moveaxis(u[:, None] - u[None], 2, 0)).max())
    if base < LEAST_BASE_MM or float(np.sum(v * v)) < LEAST_BASE_MM**2 / 8.0:
        what = f"the places lie within {base:.0f} mm; that does not say how the cloth is turned."
        raise InputError.of("points", what, "Point at places far apart.")
    along = float(np.sum(u * v))
    across = float(np.sum(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]))
    angle = math.atan2(across, along)
    turn = rigid(math.degrees(angle), (0.0, 0.0))[:2, :2]
    move = qm - turn @ pm
    left = q - (a @ turn.T + move)
    p.setflags(write=False)
    return Registration(
        angle,
        (float(move[0]), float(move[1])),
        mirrored,
        np.hypot(left[:, 0], left[:, 1]),
        math.hypot(along, across) / spread - 1.0,
        POINTER_MM / math.sqrt(3.0 * spread),
        p,
    )


def told(registration: Registration, names: Sequence[str] = ()) -> str:
    """What is left over, and what to do when it is too much: short parts, by line breaks."""
    r = registration
    name = names[r.worst] if r.worst < len(names) else f"place {r.worst + 1}"
    stretch = round(100.0 * r.stretch, 2) + 0.0  # no minus nought
    if r.ok:
        return f"Fits: off by {r.residual_mm:.1f} mm at most, stretch {stretch:+z.2f} %"
    if r.residual_mm > RESIDUAL_LIMIT_MM and len(r.residuals_mm) > 2:
        limit = f"{RESIDUAL_LIMIT_MM:g} mm at most"
        return (
            f"Not good enough: {name} is off by {r.residual_mm:.1f} mm ({limit})\n"
            f"smooth the cloth and point again\nstretch {stretch:+z.2f} %"
        )
    longer = "longer" if r.stretch > 0 else "shorter"
    by = abs(r.stretch) * r.base_mm
    parts = [
        f"Not good enough: stretch {stretch:+z.2f} %, {by:.1f} mm {longer} over {length_text(round(r.base_mm))}",
        "let the cloth lie slack and point again",
        f"off by {r.residual_mm:.1f} mm",
    ]
    if 3.0 * r.stretch_doubt > abs(r.stretch):
        parts.append("pointing alone can do that over so short a way")
    return "\n".join(parts)


# -- the selvedge or the fold ---------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Alignment:
    """The view after she has pointed along an edge of the cloth.

    ``view``: turned and moved; ``turned_deg``: by how much; ``anchors_cloth``: (N, 2) cloth mm of
    the places, kept for the next time; ``apart_mm``: distance between the two outermost places;
    ``bow_mm``: how far a third place and others lie off the straight line at most;
    ``registration``: when the same places were pointed at again after a move, else None.
    """

    view: View
    turned_deg: float
    anchors_cloth: Array
    apart_mm: float
    bow_mm: float
    registration: Registration | None = None

    def said(self) -> str:
        """What to tell her: the distance to check by tape, the turn, what pointing may cost."""
        if self.registration is not None:
            return told(self.registration, ("the first place", "the second place"))
        slip = 1000.0 * POINTER_MM * math.sqrt(2.0 / 3.0) / self.apart_mm
        parts = [
            f"The places are {length_text(round(self.apart_mm))} apart: check with the tape",
            f"turned by {self.turned_deg:+z.2f}°",
        ]
        if self.bow_mm > 1.0:
            parts.append(f"the edge bows by {self.bow_mm:.1f} mm: smooth it")
        if slip > 2.0:
            parts.insert(1, f"so close together, {slip:.1f} mm off a metre on: point wider")
        return "\n".join(parts)


def align(
    view: View,
    points_table: ArrayLike,
    *,
    line: str = "near",
    cloth: Cloth | None = None,
) -> Alignment:
    """Turn and move the lay onto the edge of the cloth she pointed along.

    The lay turns the shorter way, so the places may be taken in any order; along the edge it
    stays where the first place was.

    Args:
        view: the view before.
        points_table: (N, 2) table mm on the edge, N ≥ 2.
        line: ``near`` (y = 0: the near selvedge, or the fold), ``far`` (the other selvedge),
            ``start`` (x = 0, the cut end) or ``end``.
        cloth: for the width and length; needed for ``far`` and ``end``.

    Raises:
        InputError: fewer than two places, too close together, or an edge that is not known.
    """
    q = np.asarray(points_table, dtype=np.float64)
    if q.ndim != 2 or q.shape[1] != 2 or len(q) < 2 or not np.all(np.isfinite(q)):
        raise InputError.of("align", "needs two places along the edge.", "Point at two.")
    if line not in LINES:
        raise InputError.of("align", f"{line!r} is not one of {', '.join(LINES)}.")
    middle = q.mean(axis=0)
    _, _, axes = np.linalg.svd(q - middle)
    along = axes[0]
    reach = (q - middle) @ along
    apart = float(np.ptp(reach))
    if apart < LEAST_BASE_MM:
        what = f"the places are only {length_text(round(apart))} apart."
        raise InputError.of("align", what, "Point far apart.")
    bow = float(np.abs((q - middle) @ axes[1]).max()) if len(q) > 2 else 0.0
    lengthwise = line in ("near", "far")
    level = _level(line, cloth)
    before = view.table_from_cloth
    meant = before[:2, 0] if lengthwise else before[:2, 1]
    if float(along @ meant) < 0:
        along = -along
    turned = math.degrees(turn(meant, along))
    linear = rigid(turned, (0.0, 0.0))[:2, :2] @ before[:2, :2]
    # across: the edge lies on the middle of the places; along: the first place keeps its number
    fixed = 0 if lengthwise else 1
    first = carry(view.cloth_from_table, q[:1])[0]
    here = np.empty(2)
    here[1 - fixed] = level
    here[fixed] = first[fixed]
    on_line = middle + along * float((q[0] - middle) @ along)
    at = on_line - linear @ here
    turn_deg = math.remainder(view.turn_deg + turned, 360.0)
    new = replace(view, turn_deg=turn_deg, at=(float(at[0]), float(at[1])))
    anchors = carry(new.cloth_from_table, q)
    return Alignment(new, turned, anchors, apart, bow)


def align_again(view: View, points_table: ArrayLike, anchors_cloth: ArrayLike) -> Alignment:
    """The same places pointed at again after the cloth was moved: turn, place along, and a check.

    Args:
        view: the view before the move.
        points_table: (N, 2) table mm, in the same order as the first time.
        anchors_cloth: (N, 2) cloth mm, `Alignment.anchors_cloth` of the first time.

    Raises:
        InputError: as `register`.
    """
    registration = register(anchors_cloth, points_table, mirrored=view.mirror)
    new = registration.view(view)
    turned = math.remainder(new.turn_deg - view.turn_deg, 360.0)
    anchors = np.asarray(anchors_cloth, dtype=np.float64).copy()
    return Alignment(new, turned, anchors, registration.base_mm, 0.0, registration)


def _level(line: str, cloth: Cloth | None) -> float:
    """The cloth coordinate that is the same all along this edge, mm."""
    if line in ("near", "start"):
        return 0.0
    if cloth is not None and line == "far" and cloth.width_mm:
        return cloth.lie_width_mm
    if cloth is not None and line == "end" and math.isfinite(cloth.x_range_mm[1]):
        return cloth.x_range_mm[1]
    size = "width" if line == "far" else "length"
    raise InputError.of(
        f"cloth.{size}",
        f"is not known, so the lay cannot be brought to the {line} edge.",
        "Align to the fold, the near selvedge or the first cut end, or note the size.",
    )


@dataclass(frozen=True, eq=False)
class Pointing:
    """Places being pointed at, as data: what `table` holds while she aligns.

    ``line``: which edge; ``taken``: table mm so far; ``anchors``: cloth mm from the last time,
    empty when none; ``again``: she points at those same places.
    """

    line: str = "near"
    taken: tuple[tuple[float, float], ...] = ()
    anchors: tuple[tuple[float, float], ...] = ()
    again: bool = False

    @property
    def wanted(self) -> int:
        """How many places it takes."""
        return len(self.anchors) if self.again else 2

    def asks(self) -> str:
        """What she is to point at next."""
        n = len(self.taken)
        nth = ("first", "second", "third", "fourth")[min(n, 3)]
        if self.again:
            return f"Point at the {nth} of the places you marked."
        where = {
            "near": "on the fold or near selvedge",
            "far": "on the far selvedge",
            "start": "on the cut end",
            "end": "on the other cut end",
        }[self.line]
        return f"Point at the {nth} place {where}" + (
            "." if n == 0 else ", as far from the first as you can."
        )

    def point(
        self, at: tuple[float, float], view: View, cloth: Cloth | None = None
    ) -> tuple[Pointing, Alignment | None]:
        """With one more place; the `Alignment` when that was the last.

        Raises:
            InputError: the places do not do; nothing is changed.
        """
        taken = (*self.taken, (float(at[0]), float(at[1])))
        if len(taken) < self.wanted:
            return Pointing(self.line, taken, self.anchors, self.again), None
        if self.again:
            made = align_again(view, taken, self.anchors)
        else:
            made = align(view, taken, line=self.line, cloth=cloth)
        kept = tuple((float(x), float(y)) for x, y in made.anchors_cloth)
        return Pointing(self.line, (), kept), made

    def to_dict(self) -> dict[str, Any]:
        """Plain data for the docket's ``table`` key."""
        return {"line": self.line, "anchors": [[round(v, 4) for v in p] for p in self.anchors]}

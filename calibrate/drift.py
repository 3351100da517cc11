"""Is a calibration still true? By how much not, in which way, and how it is mended.

A new photo of cards and pattern is solved on its own and laid over the old calibration. What is
left after the best rigid fit of the two is drift of the shape (scale, keystone): it shows without
any mark on the table. Where the beam has gone as a whole shows only against something that stayed:
cards left taped down, whose places the old calibration keeps.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np

from calibrate.arrays import Array
from calibrate.calibration import Calibration, CardPlace
from calibrate.cards import in_words
from calibrate.plane import apply, matrix_of, rigid
from configs.errors import Fault, InputError

TOLERANCE_MM = 1.0
_COLUMNS, _ROWS = 17, 11  # of the places over the beam that are compared
_CARD_MM = 100.0  # how far apart two points on a card are that carry its turn
_MOVED_MM = 0.6  # a card that misses the others by more was moved


@dataclass(frozen=True, eq=False)
class Drift:
    """How far the light has gone from where a calibration says.

    Lengths in mm, over the whole beam. ``shape_rms_mm``, ``shape_max_mm``: after the best rigid
    fit; ``scale_x``, ``scale_y``: growth along the picture's width and height (0.001 is 1 mm in a
    metre); ``keystone_mm``: how much more one end of the picture has grown than the other;
    ``position_max_mm``, ``shift_mm`` (dx, dy), ``turn``: of the light on the table, None when no
    taped card tells; ``still``: cards that lie where they lay, ``moved``: cards that do not;
    ``expected_mm``: what two calibrations of an unchanged beam differ by, rms; ``old_from_new``:
    (3, 3) from the new photo's table frame to the calibration's; ``tolerance_mm``.
    """

    shape_rms_mm: float
    shape_max_mm: float
    scale_x: float
    scale_y: float
    keystone_mm: float
    position_max_mm: float | None
    shift_mm: tuple[float, float] | None
    turn: float | None
    still: tuple[int, ...]
    moved: tuple[int, ...]
    expected_mm: float
    old_from_new: Array
    tolerance_mm: float

    @property
    def worst_mm(self) -> float:
        """The larger of shape and position."""
        return max(self.shape_max_mm, self.position_max_mm or 0.0)

    @property
    def past(self) -> bool:
        """Whether it is past the tolerance."""
        return self.worst_mm > self.tolerance_mm

    def to_dict(self) -> dict[str, Any]:
        """Plain data, for programs."""
        return {
            "past_tolerance": self.past,
            "tolerance_mm": self.tolerance_mm,
            "worst_mm": self.worst_mm,
            "shape_rms_mm": self.shape_rms_mm,
            "shape_max_mm": self.shape_max_mm,
            "scale_x": self.scale_x,
            "scale_y": self.scale_y,
            "keystone_mm": self.keystone_mm,
            "position_max_mm": self.position_max_mm,
            "shift_mm": None if self.shift_mm is None else list(self.shift_mm),
            "turn_deg": None if self.turn is None else math.degrees(self.turn),
            "cards_still": list(self.still),
            "cards_moved": list(self.moved),
            "expected_mm": self.expected_mm,
        }

    def sentences(self) -> list[str]:
        """What to say to the person, the verdict first."""
        out = []
        if self.past:
            out.append(
                f"No longer true: up to {self.worst_mm:.1f} mm off "
                f"(tolerance {self.tolerance_mm:g} mm). Calibrate again, or --mend."
            )
        else:
            out.append(
                f"Still true: at most {self.worst_mm:.1f} mm off (tolerance {self.tolerance_mm:g} mm)."
            )
        out.append(
            f"Shape: {self.shape_rms_mm:.2f} mm rms, {self.shape_max_mm:.2f} mm at the worst place; "
            f"{1000 * self.scale_x:+z.1f} mm in a metre along, {1000 * self.scale_y:+z.1f} across, "
            f"keystone {self.keystone_mm:+z.1f} mm. Two photos of an unmoved beam differ by about "
            f"{self.expected_mm:.2f} mm."
        )
        if self.position_max_mm is not None and self.shift_mm is not None:
            out.append(
                f"Position, against {in_words(self.still)}: the light has moved "
                f"{self.shift_mm[0]:+z.1f} mm to the right and {self.shift_mm[1]:+z.1f} mm away from "
                f"you, turned {math.degrees(self.turn or 0.0):+z.2f}°; at most "
                f"{self.position_max_mm:.1f} mm."
            )
        elif self.moved:
            out.append(
                "Position: not known, because the cards do not lie where they lay when the "
                "calibration was made. Tape two or more down to have it checked."
            )
        else:
            out.append("Position: not known; the calibration has no cards that stayed.")
        if 2 * self.expected_mm > self.tolerance_mm:
            out.append(
                "The calibration or this photo is hardly good enough to judge so small a "
                "tolerance: a nearer, sharper photo, or several frames with --live, tell more."
            )
        if self.position_max_mm is not None and self.moved:
            out.append(f"Not counted, because moved since: {in_words(self.moved)}.")
        return out


def drift(old: Calibration, new: Calibration, tolerance_mm: float = TOLERANCE_MM) -> Drift:
    """Compare a calibration with a fresh one of the same beam.

    Args:
        old: the calibration in use; its ``cards`` say what lay where.
        new: solved from a new photo, in a table frame of its own.

    Raises:
        InputError: different picture sizes, or a tolerance that is none.
    """
    if old.size != new.size:
        raise InputError(
            Fault(
                "size",
                f"the calibration is for {old.size[0]} x {old.size[1]} px, the photo shows "
                f"{new.size[0]} x {new.size[1]}.",
                "Show the pattern of the calibration's size.",
            )
        )
    if not (math.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise InputError(Fault("--tolerance", f"{tolerance_mm:g} mm is no tolerance."))
    px = old.model.grid_px(_COLUMNS, _ROWS)
    was, now_at = old.to_table(px), new.to_table(px)
    fitted = matrix_of(rigid(now_at, was))
    miss = apply(fitted, now_at) - was
    shape = np.hypot(miss[:, 0], miss[:, 1])
    scale_x, scale_y, keystone = _ways(was, apply(fitted, now_at))
    still, moved, by_cards = _match(old.cards, new.cards)
    position, shift, turn = None, None, None
    if by_cards is not None:
        gone = apply(by_cards, now_at) - was
        position = float(np.hypot(gone[:, 0], gone[:, 1]).max())
        mean = gone.mean(axis=0)
        shift = (float(mean[0]), float(mean[1]))
        # the light's own turn: from where it was to where it is, in the old frame
        whole = matrix_of(rigid(was, apply(by_cards, now_at)))
        turn = math.atan2(whole[1, 0], whole[0, 0])
    both = old.expected_error_mm(was) ** 2 + new.expected_error_mm(now_at) ** 2
    return Drift(
        float(np.sqrt(np.mean(shape**2))),
        float(shape.max()),
        scale_x,
        scale_y,
        keystone,
        position,
        shift,
        turn,
        still,
        moved,
        float(np.sqrt(np.mean(both))),
        by_cards if by_cards is not None else fitted,
        tolerance_mm,
    )


def mend(old: Calibration, new: Calibration, found: Drift) -> Calibration:
    """The new calibration in the old table frame, so that a lay in progress stays where it was.

    With taped cards the frame is carried by them; without, by the best fit of the two beams, which
    is right when the beam has changed its shape but not its place.
    """
    mended = new.moved(found.old_from_new)
    kept: Mapping[int, CardPlace] = {c.card: c for c in old.cards if c.card in found.still}
    cards = tuple(kept.get(c.card, c) for c in mended.cards)
    return replace(
        mended,
        display=old.display or mended.display,
        cards=cards,
        facts={
            **mended.facts,
            "mended_from": old.date,
            "frame_carried_by": "cards" if found.position_max_mm is not None else "beam",
        },
    )


def _ways(was: Array, now_at: Array) -> tuple[float, float, float]:
    """Growth along the picture's width and height, and the difference between its two ends in mm."""

    def lengths(points: Array) -> tuple[Array, Array]:
        grid = points.reshape(_ROWS, _COLUMNS, 2)
        return np.hypot(*(grid[:, -1] - grid[:, 0]).T), np.hypot(*(grid[-1] - grid[0]).T)

    pairs = list(zip(lengths(was), lengths(now_at), strict=True))
    along, across = (float(np.mean(now / before)) - 1 for before, now in pairs)
    ends = [float((now - before)[-1] - (now - before)[0]) for before, now in pairs]
    return along, across, max(ends, key=abs)


def _match(
    old: Sequence[CardPlace], new: Sequence[CardPlace]
) -> tuple[tuple[int, ...], tuple[int, ...], Array | None]:
    """Which cards stayed, which moved, and the frame change that the ones that stayed agree on.

    A turned card is told from a shifted beam by the others: the largest group of cards that agree
    with one rigid move is taken to have stayed.
    """
    before, after = {c.card: c for c in old}, {c.card: c for c in new}
    both = sorted(before.keys() & after.keys())
    if len(both) < 2:
        return (), (), None
    arms = {i: (_arms(after[i]), _arms(before[i])) for i in both}
    best: tuple[int, ...] = ()
    for i, j in combinations(both, 2):
        move = _carried(arms, (i, j))
        agree = tuple(k for k in both if _off(move, *arms[k]) < _MOVED_MM)
        if len(agree) > len(best):
            best = agree
    # a pair that holds the moved card can lie between the places: each against all the others
    while len(best) > 2:
        rest = {k: tuple(o for o in best if o != k) for k in best}
        off = {k: _off(_carried(arms, rest[k]), *arms[k]) for k in best}
        worst = max(best, key=off.__getitem__)
        if off[worst] < _MOVED_MM:
            break
        best = rest[worst]
    moved = tuple(k for k in both if k not in best)
    # two cards of three or four may have been put back as a pair by chance of one hand's move
    if len(best) < 2:
        return (), tuple(both), None
    return best, moved, _carried(arms, best)


def _carried(arms: Mapping[int, tuple[Array, Array]], cards: Sequence[int]) -> Array:
    """The rigid move (3, 3) that these cards agree on best."""
    source, target = (np.vstack([arms[k][n] for k in cards]) for n in (0, 1))
    return matrix_of(rigid(source, target))


def _arms(place: CardPlace) -> Array:
    """A card as four points that carry its place and its turn."""
    c, s = math.cos(place.turn), math.sin(place.turn)
    half = np.array([[c, s], [-s, c], [-c, -s], [s, -c]]) * (_CARD_MM / 2)
    return np.asarray(np.array(place.at_mm) + half)


def _off(move: Array, source: Array, target: Array) -> float:
    return float(np.sqrt(np.mean(np.sum((apply(move, source) - target) ** 2, axis=1))))

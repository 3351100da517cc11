"""What a drawing file was found to hold: closed outlines in millimetres, fit to be pieces.

What the intake answers (`judge` fills it in) and what `adopt` makes pieces of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from configs.errors import InputError
from drafting.intake.geometry import Array, Chain
from drafting.outline import crossing_of, polyline_length, signed_area

MIN_AREA_MM2 = 100.0  # a square centimetre: smaller closed shapes are marks, not pieces
MAX_EXTENT_MM = 20_000.0  # no piece is longer than 20 m; larger means a wrong unit
MAX_POINTS = 20_000  # of one outline, after flattening

Ends = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Inner:
    """A line or point that lies on an outline or inside it, as the file shows it.

    ``kind``: notch, dart, drill or mark; ``points``: (N, 2) mm, axes of the outline; ``note``:
    what the file says of it: on (edge), at (mm along it), count, match, name.
    """

    kind: str
    points: Array
    closed: bool = False
    note: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Outline:
    """A closed outline fit to be a piece.

    ``points``: (N, 2) mm, counter-clockwise, y up, first point not repeated, nowhere
    further than 0.01 mm from the file's curve and of its length; ``edges``: name → (M, 2) mm in ring order, each starting where the
    one before it ends, empty when the file names none; ``line``: 'sewing' or 'cutting' when the
    file says which it is; ``where``: its place in the file; ``cutting``: (K, 2) mm, the file's
    cutting line round a sewing line, counter-clockwise, where it has both; ``inner``: what lies on
    the outline and inside; ``label``: lines of text that belong to the piece.
    """

    name: str
    points: Array
    where: str
    edges: Mapping[str, Array] = field(default_factory=dict)
    line: str = ""
    grain: Ends | None = None
    fold: Ends | None = None
    cut: int = 1
    pair: bool = False
    turns: tuple[float, ...] = (0.0, 180.0)
    cutting: Array | None = None
    inner: tuple[Inner, ...] = ()
    label: tuple[str, ...] = ()

    @property
    def called(self) -> str:
        """How messages call it: by its name, else its place in the file."""
        return f"'{self.name}'" if self.name else self.where

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of its bounding box."""
        width, height = np.ptp(self.points, axis=0).tolist()
        return width, height

    @property
    def length_mm(self) -> float:
        """Once round."""
        return polyline_length(np.vstack([self.points, self.points[:1]]))

    @property
    def area_mm2(self) -> float:
        """What it encloses (positive)."""
        return signed_area(self.points)


@dataclass(frozen=True)
class Found:
    """All outlines of a file, and ``notes`` on what was left out or taken for granted."""

    outlines: tuple[Outline, ...]
    notes: tuple[str, ...] = ()


def many(count: int, what: str) -> str:
    """'1 open line', '2 open lines'."""
    return f"{count} {what}{'s' if count > 1 else ''}"


def ring(chain: Chain) -> Array | None:
    """(N, 2) counter-clockwise ring of a closed chain; None when too small to be a piece.

    Raises:
        InputError: it is too large, has too many points, or crosses itself.
    """
    low, high = chain.box
    if not np.all(np.isfinite([low, high])) or float((high - low).max()) > MAX_EXTENT_MM:
        raise InputError.of(
            "",
            f"is {float((high - low).max()) / 1000:.3g} m long: larger than any piece.",
            "Check the unit that the file was saved in.",
        )
    points = _tidy(chain.flatten())
    if len(points) > MAX_POINTS:
        raise InputError.of(
            "",
            f"has {len(points)} points on its outline; at most {MAX_POINTS} are taken.",
            "Simplify the path in the program that it came from.",
        )
    if len(points) < 3 or float(np.ptp(points, axis=0).prod()) <= MIN_AREA_MM2:
        return None
    if (spot := crossing_of(points)) is not None:
        raise InputError.of(
            "",
            f"its outline crosses or touches itself near x {spot[0]:z.1f}, y {spot[1]:z.1f} mm.",
            "Mend it in the program that it came from: one plain line round the piece.",
        )
    if abs(signed_area(points)) <= MIN_AREA_MM2:
        return None
    if signed_area(points) < 0.0:
        points = np.vstack([points[:1], points[:0:-1]])
    return points


def _tidy(points: Array) -> Array:
    """Without points that repeat the one before them (within a thousandth of a millimetre)."""
    step = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1)
    step[0] = np.inf if len(points) < 2 or step[0] > 1e-3 else step[0]
    return np.array(points[step > 1e-3])

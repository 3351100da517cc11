"""The picture that the projector shows while the photo is taken.

A chessboard over the whole beam with markers in it, and bright windows for the cards. The grid
follows from the picture's size alone; the beam's width only moves the windows. Which marker
stands where depends on the size too, so that a pattern made for another size is recognised.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import Array, Image, Mask
from calibrate.cards import (
    FIRST_PATTERN_ID,
    MARKER_CELLS,
    MARKER_IDS,
    Board,
    clear_of_ink,
    marker_bits,
    saddles_of,
)
from configs.errors import Fault, InputError
from configs.files import FORMAT_VERSION
from configs.reader import Reader

DEFAULT_BEAM_MM = 1000.0  # when not told: windows that a card fits from 0.9 m of beam upwards
_SQUARES = 48  # along the longer side
_MARKER_STEP = 6  # squares from marker to marker
# A card's diagonal (158 mm) and a finger's breadth: it fits at any angle, keystone or not.
_WINDOW_MM = 178.0
_LARGE_WINDOW_MM = (245.0, 205.0)
_LARGEST_SHARE = 0.42  # of the beam's side that one window may take

COMMON_SIZES = (
    (640, 360), (640, 480), (800, 480), (800, 600), (854, 480), (960, 540), (1024, 600),
    (1024, 768), (1280, 720), (1280, 768), (1280, 800), (1366, 768), (1400, 1050), (1440, 900),
    (1600, 900), (1600, 1200), (1680, 1050), (1920, 1080), (1920, 1200), (2048, 1080),
    (2560, 1440), (2560, 1600), (2716, 1528), (3840, 2160), (4096, 2160),
)  # fmt: skip


@dataclass(frozen=True)
class Pattern:
    """The projected chessboard: ``size`` px; ``windows`` (x, y, w, h) px, bright, for the cards."""

    size: tuple[int, int]
    windows: tuple[tuple[int, int, int, int], ...] = ()

    @property
    def square_px(self) -> int:
        """Side of a square, px."""
        return max(10, round(max(self.size) / _SQUARES))

    def lines(self, axis: int) -> NDArray[np.int64]:
        """First pixel right of (below) each chessboard line along ``axis`` (0: x, 1: y)."""
        length, s = self.size[axis], self.square_px
        count = max(2, length // s)
        return np.asarray((length - (count - 1) * s) // 2 + s * np.arange(count), dtype=np.int64)

    def marker_cells(self) -> dict[int, tuple[int, int]]:
        """Marker id -> (column, row) of the top-left square of its two by two block.

        All places that the size gives, those under windows too.
        """
        nx, ny = len(self.lines(0)) - 1, len(self.lines(1)) - 1
        cells = [
            (i, j)
            for j in range(1, ny - 2, _MARKER_STEP)
            for i in range(1, nx - 2, _MARKER_STEP)
            if (i + j) % 2 == 0
        ]
        label = f"{self.size[0]}x{self.size[1]}"
        ids = sorted(
            range(FIRST_PATTERN_ID, MARKER_IDS),
            key=lambda n: hashlib.sha256(f"{label}:{n}".encode()).digest(),
        )
        return dict(zip(ids, cells, strict=False))

    def _white(self) -> tuple[Mask, dict[int, tuple[int, int]]]:
        """Which squares are kept white, and the markers that are shown.

        Index [row + 1, column + 1]: the part squares at the picture's edge count too.
        """
        lx, ly = self.lines(0), self.lines(1)
        s = self.square_px
        white = np.zeros((len(ly) + 1, len(lx) + 1), dtype=bool)
        x0 = np.concatenate([[lx[0] - s], lx])
        y0 = np.concatenate([[ly[0] - s], ly])
        for x, y, w, h in self.windows:
            hit_x = (x0 < x + w) & (x0 + s > x)
            hit_y = (y0 < y + h) & (y0 + s > y)
            white |= np.outer(hit_y, hit_x)
        shown = {
            marker: (i, j)
            for marker, (i, j) in self.marker_cells().items()
            if not white[j : j + 4, i : i + 4].any()
        }
        for i, j in shown.values():
            white[j + 1 : j + 3, i + 1 : i + 3] = True
        return white, shown

    def _marker_corner(self, i: int, j: int) -> tuple[int, int, int]:
        """First pixel of a marker's black border, and the side of a cell, px."""
        s = self.square_px
        cell = max(1, round(2 * s / (MARKER_CELLS + 2)))
        left = int(self.lines(0)[i]) + (2 * s - MARKER_CELLS * cell) // 2
        top = int(self.lines(1)[j]) + (2 * s - MARKER_CELLS * cell) // 2
        return left, top, cell

    def board(self) -> Board:
        """The pattern for the detector, projector px, pixel centres at integers, y down.

        Corners under windows are left out when the windows are known.
        """
        white, shown = self._white()
        lx, ly = self.lines(0), self.lines(1)
        j, i = np.meshgrid(np.arange(len(ly) + 1), np.arange(len(lx) + 1), indexing="ij")
        black = ((i + j) % 2 == 1) & ~white
        rows, columns, signs = saddles_of(black)
        corners = np.column_stack([lx[columns], ly[rows]]).astype(np.float64) - 0.5
        markers = {}
        for marker, cell_place in shown.items():
            x, y, cell = self._marker_corner(*cell_place)
            e = MARKER_CELLS * cell
            markers[marker] = np.array([(x, y), (x + e, y), (x + e, y + e), (x, y + e)]) - 0.5
        s = float(self.square_px)
        clear = clear_of_ink(corners, list(markers.values()), s)
        far = np.array(self.size) - 0.5
        edge = np.minimum(corners + 0.5, far - corners).min(axis=1) / s
        return Board("pattern", corners, signs, markers, s, np.minimum(clear, edge))

    def image(self) -> Image:
        """(H, W) uint8: 0 black, 255 white."""
        white, shown = self._white()
        w, h = self.size
        s = self.square_px
        column = (np.arange(w) - self.lines(0)[0]) // s + 1
        row = (np.arange(h) - self.lines(1)[0]) // s + 1
        column = np.clip(column, 0, white.shape[1] - 1)
        row = np.clip(row, 0, white.shape[0] - 1)
        black = ((row[:, None] + column[None, :]) % 2 == 1) & ~white[row[:, None], column[None, :]]
        out = np.where(black, 0, 255).astype(np.uint8)
        for marker, (i, j) in shown.items():
            x, y, cell = self._marker_corner(i, j)
            bits = np.kron(np.where(marker_bits(marker), 0, 255), np.ones((cell, cell)))
            out[y : y + bits.shape[0], x : x + bits.shape[1]] = bits
        return out

    def to_dict(self) -> dict[str, Any]:
        """The data of ``pattern.yaml``."""
        return {
            "chalkbeam": FORMAT_VERSION,
            "size": list(self.size),
            "square_px": self.square_px,
            "windows": [list(window) for window in self.windows],
        }


def windows_for(
    size: tuple[int, int], beam_width_mm: float | None = None, large: bool = False
) -> tuple[tuple[int, int, int, int], ...]:
    """Four bright places near the corners of the picture, (x, y, w, h) px.

    Args:
        beam_width_mm: width of the lit picture on the table; None takes `DEFAULT_BEAM_MM`.
        large: for the larger cards.

    Raises:
        InputError: no beam over a table is that wide.
    """
    beam = DEFAULT_BEAM_MM if beam_width_mm is None else float(beam_width_mm)
    if not 200 <= beam <= 6000:
        raise InputError(
            Fault(
                "--beam-width",
                f"{beam:g} mm is no width of a beam over a table.",
                "Measure the lit picture along its longer side, in mm.",
            )
        )
    base = Pattern(size)
    s = base.square_px
    px_per_mm = size[0] / beam
    wanted = _LARGE_WINDOW_MM if large else (_WINDOW_MM, _WINDOW_MM)
    spans = []
    for axis in (0, 1):
        squares = math.ceil(min(wanted[axis] * px_per_mm, _LARGEST_SHARE * size[axis]) / s)
        lines = base.lines(axis)
        squares = min(squares, (len(lines) - 5) // 2)  # two squares stay between them
        if squares < 2:
            raise InputError(Fault("--size", f"{size[0]}x{size[1]} is too small for a pattern."))
        last = len(lines) - 2 - squares
        spans.append([(int(lines[1]), squares * s), (int(lines[last]), squares * s)])
    return tuple((x, y, w, h) for y, h in spans[1] for x, w in spans[0])


@cache
def bare(size: tuple[int, int]) -> Pattern:
    """The pattern of a size with no window known: every corner and marker that there can be."""
    check_size(size)
    return Pattern(size)


def pattern_for(
    size: tuple[int, int], beam_width_mm: float | None = None, large: bool = False
) -> Pattern:
    """The pattern to show.

    Raises:
        InputError: the size or the beam's width is no projector's.
    """
    check_size(size)
    return Pattern(size, windows_for(size, beam_width_mm, large))


def check_size(size: tuple[int, int]) -> None:
    """Refuse what is no projector's picture.

    Raises:
        InputError: a side under 240 or over 16384 px, or a strip.
    """
    if not all(240 <= n <= 16384 for n in size) or max(size) > 4 * min(size):
        raise InputError(
            Fault(
                "--size",
                f"{size[0]}x{size[1]} is no projector's picture.",
                "Give the projector's own resolution, such as 1920x1080.",
            )
        )


def parse_size(text: str) -> tuple[int, int]:
    """'1920x1080' to (1920, 1080).

    Raises:
        InputError: not two whole numbers with an x between them, or no projector's size.
    """
    parts = text.lower().replace("×", "x").replace(" ", "").split("x")
    if len(parts) != 2 or not all(p.isascii() and p.isdigit() and len(p) < 7 for p in parts):
        raise InputError(Fault("--size", f"'{text}' is no picture size.", "Write it as 1920x1080."))
    size = (int(parts[0]), int(parts[1]))
    check_size(size)
    return size


def load_pattern(path: str | Path) -> Pattern:
    """Read a ``pattern.yaml``.

    Raises:
        InputError: with every fault of the file.
    """
    reader = Reader.of_file(path).only(("chalkbeam", "size", "square_px", "windows"))
    size = reader.numbers("size", (2,))
    windows = []
    for i, window in enumerate(reader.items("windows")):
        found = reader.numbers(f"windows[{i}]", (4,), "[x, y, w, h] in px", window)
        windows.append(tuple(found or (0, 0, 0, 0)))
    for key, each in (("size", [size or (0, 0)]), ("windows", windows)):
        if any(v != round(v) for row in each for v in row):
            reader.note(key, "must be whole numbers of px.")
    reader.done()
    assert size is not None
    whole = (int(size[0]), int(size[1]))
    check_size(whole)
    return Pattern(whole, tuple((int(x), int(y), int(w), int(h)) for x, y, w, h in windows))


def sizes_like(markers: Mapping[int, Array]) -> list[tuple[int, int]]:
    """Common picture sizes, the likeliest first, whose marker order agrees with what was seen.

    Args:
        markers: marker id -> (4, 2) corners seen, any px; only their order is used.
    """
    ids = [m for m in markers if m >= FIRST_PATTERN_ID]
    if len(ids) < 5:
        return []
    seen = np.array([markers[m].mean(axis=0) for m in ids])
    scores = []
    for size in COMMON_SIZES:
        cells = Pattern(size).marker_cells()
        known = [k for k, m in enumerate(ids) if m in cells]
        if len(known) < 5:
            continue
        grid = np.array([cells[ids[k]] for k in known], dtype=float)
        fit = np.column_stack([grid, grid.prod(axis=1), np.ones(len(grid))])
        left = seen[known] - fit @ np.linalg.lstsq(fit, seen[known], rcond=None)[0]
        spread = np.linalg.norm(seen[known] - seen[known].mean(axis=0))
        scores.append((float(np.linalg.norm(left) / spread), size))
    return [size for score, size in sorted(scores) if score < 0.15]

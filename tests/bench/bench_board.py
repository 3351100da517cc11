"""The camera half on real photographs: four patches of a chessboard predict the whole board.

The photographs are the widely used stereo calibration sample set (a flat chessboard of 9 x 6 inner
corners, one real lens), which lies beside the checkout; nothing here is simulated but the line that
says so. Printed per photograph and in the median, in parts per million of the board's diagonal,
after the best rigid move without scale:

- ours: `fit_plane`, corners measured by our own saddle fit, weighed with the noise that it tells;
- the same on the corners of OpenCV's sector-based detector;
- what those same corners leave when the camera is known beforehand, from all photographs by
  OpenCV's `calibrateCamera`, and only the plane and the patches' poses are unknown: no fit of one
  photograph can be expected to do better on them;
- the whole board given as one card: what the corners' own noise leaves.

    python tests/bench/bench_board.py [DIR]
"""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from calibrate.plane import homography, place, rigid
from calibrate.saddles import measure
from calibrate.stages import fit_plane

Array = NDArray[np.float64]

PHOTOS = Path(__file__).resolve().parents[3] / "shared" / "data" / "photos"
ACROSS, DOWN = 9, 6
BOARD = np.array([(x, y) for y in range(DOWN) for x in range(ACROSS)], dtype=float)
DIAGONAL = math.hypot(ACROSS - 1, DOWN - 1)
STARTS = ((0, 0), (5, 0), (0, 3), (5, 3))  # of the four patches of 4 x 3 corners
SB_SIGMA_PX = 0.05


def found(directory: Path = PHOTOS) -> dict[str, tuple[NDArray[np.uint8], Array]]:
    """name -> (picture (H, W) grey, corners (54, 2) px by OpenCV's sector-based detector)."""
    out = {}
    flags = cv2.CALIB_CB_ACCURACY | cv2.CALIB_CB_EXHAUSTIVE
    for path in sorted(directory.glob("*.jpg")):
        picture = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        ok, corners = cv2.findChessboardCornersSB(picture, (ACROSS, DOWN), flags=flags)
        if ok:
            out[path.stem] = (picture, corners.reshape(-1, 2).astype(float))
    return out


def measured(picture: NDArray[np.uint8], rough: Array) -> tuple[Array, float]:
    """Our own measure of the corners (54, 2) px near the rough ones, and its noise in px."""
    view = homography(BOARD, rough)

    def seen(points: Array) -> Array:
        q = np.column_stack([points, np.ones(len(points))]) @ view.T
        return np.asarray(q[:, :2] / q[:, 2:])

    e = 0.01
    steps = np.stack(
        [(seen(BOARD + d) - seen(BOARD - d)) / (2 * e) for d in np.array([[e, 0.0], [0.0, e]])],
        axis=-1,
    )
    odd = np.where(BOARD.sum(axis=1) % 2 == 0, 1.0, -1.0)
    half = np.full(len(BOARD), 0.5)
    tries = [measure(picture, rough, steps, 1.0, s * odd, half) for s in (1, -1)]
    best = max(tries, key=len)
    px = np.full_like(rough, np.nan)
    px[best.index] = best.px
    return px, float(np.median(best.sigma))


def patches(px: Array) -> dict[int, tuple[Array, Array]]:
    """The four corner patches as cards at unknown places."""
    cards = {}
    for k, (a, b) in enumerate(STARTS):
        inside = (BOARD[:, 0] >= a) & (BOARD[:, 0] < a + 4)
        inside &= (BOARD[:, 1] >= b) & (BOARD[:, 1] < b + 3)
        cards[k] = (BOARD[inside] - (a, b), px[inside])
    return cards


def ppm(told: Array) -> float:
    """Miss of the told board (54, 2), rms, in parts per million of its diagonal."""
    miss = place(told, rigid(told, BOARD)) - BOARD
    return float(np.sqrt(np.mean(np.sum(miss**2, axis=1)))) / DIAGONAL * 1e6


def ours(size: tuple[int, int], px: Array, sigma_px: float) -> float:
    """`fit_plane` from the four patches, ppm."""
    return ppm(fit_plane(patches(px), size, sigma_px).camera.to_table(px))


def whole(size: tuple[int, int], px: Array, sigma_px: float) -> float:
    """The whole board as one card, ppm."""
    return ppm(fit_plane({0: (BOARD, px)}, size, sigma_px).camera.to_table(px))


def known_camera(size: tuple[int, int], every: list[Array]) -> list[float]:
    """ppm per photograph when OpenCV's `calibrateCamera` has told the camera from all of them.

    Unknown are only the plane's tilt and distance and the poses of the patches on it.
    """
    solid = np.column_stack([BOARD, np.zeros(len(BOARD))])
    _, K, lens, turns, shifts = cv2.calibrateCamera(
        [solid.astype(np.float32)] * len(every),
        [px.astype(np.float32).reshape(-1, 1, 2) for px in every],
        size,
        None,  # type: ignore[call-overload]
        None,
    )
    out = []
    for px, turn, shift in zip(every, turns, shifts, strict=True):
        cards = patches(px)
        start = np.concatenate([turn.ravel(), shift.ravel(), np.zeros(9)])
        start[6:] = [c for a, b in STARTS[1:] for c in (a, b, 0.0)]

        def misses(x: Array, cards: dict[int, tuple[Array, Array]] = cards) -> Array:
            parts = []
            for k, (flat, seen) in cards.items():
                laid = flat if k == 0 else place(flat, x[3 + 3 * k : 6 + 3 * k])
                told, _ = cv2.projectPoints(
                    np.column_stack([laid, np.zeros(len(laid))]), x[:3], x[3:6], K, lens
                )
                parts.append((told.reshape(-1, 2) - seen).ravel())
            return np.concatenate(parts)

        x = least_squares(misses, start, x_scale="jac").x
        rotation = cv2.Rodrigues(x[:3])[0]
        plane = np.column_stack([rotation[:, 0], rotation[:, 1], x[3:6]])
        rays = cv2.undistortPoints(px.reshape(-1, 1, 2), K, lens).reshape(-1, 2)
        q = np.column_stack([rays, np.ones(len(rays))]) @ np.linalg.inv(plane).T
        out.append(ppm(q[:, :2] / q[:, 2:]))
    return out


def main() -> None:
    """Print the table."""
    photos = found(Path(sys.argv[1]) if len(sys.argv) > 1 else PHOTOS)
    if not photos:
        raise SystemExit("No photographs: give the folder that holds them.")
    rows: list[tuple[Any, ...]] = []
    names = list(photos)
    size = photos[names[0]][0].shape[::-1]
    corners = [px for _, px in photos.values()]
    known = known_camera(size, corners)
    for (picture, px), bound in zip(photos.values(), known, strict=True):
        fine, sigma = measured(picture, px)
        rows.append(
            (
                ours(size, fine, sigma),
                whole(size, fine, sigma),
                ours(size, px, SB_SIGMA_PX),
                bound,
                whole(size, px, SB_SIGMA_PX),
            )
        )
    table = np.array(rows)
    heads = ("own, 4 patches", "own, whole", "SB, 4 patches", "SB, camera known", "SB, whole")
    print("ppm of the board's diagonal      " + "".join(f"{h:>18s}" for h in heads))
    for name, row in zip(names, table, strict=True):
        print(f"{name:33s}" + "".join(f"{v:18.0f}" for v in row))
    print(f"{'median':33s}" + "".join(f"{v:18.0f}" for v in np.median(table, axis=0)))
    print(f"{'worst':33s}" + "".join(f"{v:18.0f}" for v in table.max(axis=0)))
    print(f"\n{len(names)} photographs; limits for the first column: median 800, worst 1,300")


if __name__ == "__main__":
    main()

"""Random rigs on the virtual table, and how far a calibration of one is from its truth.

Shared by the benchmarks and by tests that want a photo. Cards lie in the pattern's windows at
random places and angles, as a hand would lay them. Truth comes from the virtual projector only.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from calibrate.cards import card_images
from calibrate.pattern import Pattern, pattern_for
from calibrate.simulate import Sheet, VirtualCamera, VirtualTable

CARD_PX_PER_MM = 8.0


@dataclass(frozen=True)
class Rig:
    """One table with its projector, the pattern that it shows, and the cameras that look at it."""

    seed: int
    table: VirtualTable
    pattern: Pattern
    cameras: tuple[VirtualCamera, ...]
    frame: np.ndarray = field(repr=False)
    card_ids: tuple[int, ...] = ()

    def photos(self) -> list[np.ndarray]:
        """One photo (H, W, 3) uint8 RGB from each camera."""
        return [
            self.table.photograph(self.frame, camera, 1000 * self.seed + i)
            for i, camera in enumerate(self.cameras)
        ]

    def live(self, frames: int = 30) -> list[list[np.ndarray]]:
        """From each camera, standing still, so many frames with the projector's flicker."""
        return [
            list(self.table.sequence(self.frame, camera, frames, 1000 * self.seed + i))
            for i, camera in enumerate(self.cameras)
        ]


def lay_cards(
    table: VirtualTable,
    pattern: Pattern,
    seed: int,
    print_name: str = "a4",
    *,
    count: int = 4,
    heights_mm: Sequence[float] = (0.0,),
    curls_mm: Sequence[float] = (0.0,),
    print_scale: tuple[float, float] = (1.0, 1.0),
    paper: float = 0.82,
    spread_mm: float = 12.0,
    turn_deg: float = 9.0,
) -> tuple[Sheet, ...]:
    """The cards of a print, one in each window, inside it wherever that can be.

    Args:
        count: how many are laid; heights_mm, curls_mm: of each card, repeated when too few.
        spread_mm, turn_deg: deviation of their places and angles.
    """
    rng = np.random.default_rng([seed, 31])
    sheets = []
    for i, picture in enumerate(list(card_images(print_name, CARD_PX_PER_MM).values())[:count]):
        size = (picture.shape[1] / CARD_PX_PER_MM, picture.shape[0] / CARD_PX_PER_MM)
        x, y, w, h = pattern.windows[i % len(pattern.windows)]
        ring = np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)]) - 0.5
        middle = table.projector.to_table(np.array([[x + w / 2, y + h / 2]]) - 0.5)[0]
        best, best_out = None, np.inf
        for trial in range(40):
            ease = 1.0 - trial / 40
            at = middle + rng.normal(0, spread_mm, 2) * ease
            angle = float(rng.choice([0, 90, 180, 270]) + rng.normal(0, turn_deg) * ease)
            sheet = Sheet(
                picture,
                size,
                (float(at[0]), float(at[1])),
                angle,
                heights_mm[i % len(heights_mm)],
                curls_mm[i % len(curls_mm)],
                print_scale,
                paper,
            )
            corners = sheet.to_table(np.array([(0, 0), (size[0], 0), size, (0, size[1])], float))
            px = table.projector.to_pixels(corners[:, :2])
            out = float(np.maximum(ring[0] - px, px - ring[2]).max())
            if out < best_out:
                best, best_out = sheet, out
            if out <= 0:
                break
        assert best is not None
        sheets.append(best)
    return tuple(sheets)


def make_rig(
    seed: int,
    kind: str = "phone",
    *,
    views: int = 1,
    size: tuple[int, int] = (1920, 1080),
    print_name: str = "a4",
    tell_width: bool = True,
    cards: dict[str, Any] | None = None,
    camera: dict[str, Any] | None = None,
    **table_options: Any,
) -> Rig:
    """A random rig with cards on it.

    Args:
        kind: 'phone' or 'webcam'.
        views: photos from so many places.
        tell_width: the pattern's windows are made for the beam's width (to 10 %), as by
            ``--beam-width``; else for the default.
        cards: options of `lay_cards`; camera: fields or aim of the camera; the rest go to
            `VirtualTable.random`, whose lens has its further terms here unless ``rest=False``.
    """
    table = VirtualTable.random(seed, size, **({"rest": True} | table_options))
    rng = np.random.default_rng([seed, 8])
    middle = table.projector.to_table(np.array([[-0.5, size[1] / 2], [size[0] - 0.5, size[1] / 2]]))
    width = float(np.linalg.norm(middle[1] - middle[0])) * float(rng.uniform(0.95, 1.05))
    pattern = pattern_for(size, width if tell_width else None, print_name.endswith("large"))
    table = table.with_sheets(lay_cards(table, pattern, seed, print_name, **(cards or {})))
    make = VirtualCamera.phone if kind == "phone" else VirtualCamera.webcam
    cameras = tuple(
        make(97 * seed + 13 * view, table.beam_mm(), **(camera or {})) for view in range(views)
    )
    ids = tuple(card_images(print_name, 1.0))
    return Rig(seed, table, pattern, cameras, pattern.image(), ids)


def rigid(source: np.ndarray, target: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rotation (2, 2) and shift (2,), without scale or mirror, that best carry source to target."""
    a, b = source.mean(axis=0), target.mean(axis=0)
    u, _, vt = np.linalg.svd((source - a).T @ (target - b))
    turn = vt.T @ np.diag([1.0, np.sign(np.linalg.det(vt.T @ u.T))]) @ u.T
    return turn, b - turn @ a


def beam_grid_px(size: tuple[int, int], columns: int = 33, rows: int = 19) -> np.ndarray:
    """An even grid of projector pixels over the whole beam, its rim included (N, 2)."""
    x, y = np.meshgrid(np.linspace(0, size[0] - 1, columns), np.linspace(0, size[1] - 1, rows))
    return np.column_stack([x.ravel(), y.ravel()])


@dataclass(frozen=True)
class Trueness:
    """How far light lands from where the calibration says, over the whole beam, after the best rigid fit."""

    rms_mm: float
    max_mm: float
    expected_rms_mm: float
    scale_ppm: float
    mm_per_px: float

    @property
    def honesty(self) -> float:
        """True over expected rms: 1 is a calibration that knows how good it is."""
        return self.rms_mm / max(self.expected_rms_mm, 1e-9)


def trueness(calibration: Any, table: VirtualTable, align: bool = True) -> Trueness:
    """Measure a calibration against its table."""
    px = beam_grid_px(table.projector.size)
    true = table.projector.to_table(px)
    told = calibration.to_table(px)
    turn, shift = rigid(told, true) if align else (np.eye(2), np.zeros(2))
    miss = told @ turn.T + shift - true
    error = np.hypot(miss[:, 0], miss[:, 1])
    expected = calibration.expected_error_mm(told)
    flat = told - told.mean(axis=0)
    real = true - true.mean(axis=0)
    scale = float((flat @ turn.T * real).sum() / (real * real).sum())
    step = table.projector.to_table(px + np.array([1.0, 0.0])) - true
    return Trueness(
        float(np.sqrt(np.mean(error**2))),
        float(error.max()),
        float(np.sqrt(np.mean(expected**2))),
        (scale - 1) * 1e6,
        float(np.hypot(step[:, 0], step[:, 1]).mean()),
    )


def print_rows(title: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """A plain table on standard output."""
    text = [[str(c) for c in row] for row in rows]
    widths = [max(len(r[i]) for r in [list(header), *text]) for i in range(len(header))]
    print(f"\n{title}")
    for row in [list(header), ["-" * w for w in widths], *text]:
        print(
            "  ".join(
                c.ljust(w) if i == 0 else c.rjust(w)
                for i, (c, w) in enumerate(zip(row, widths, strict=True))
            )
        )


def spread(values: Sequence[float], digits: int = 3) -> list[str]:
    """Median, 90 % and worst of some numbers, as text."""
    v = np.asarray(values, float)
    if not len(v):
        return ["-", "-", "-"]
    return [f"{x:.{digits}f}" for x in (np.median(v), np.quantile(v, 0.9), v.max())]


def over_rigs(
    count: int, work: Callable[[int], Any], refusals: tuple[type[Exception], ...]
) -> tuple[dict[int, Any], dict[int, str], float]:
    """Run ``work(seed)`` over rigs: results and refusals by seed, and the mean seconds each took."""
    done: dict[int, Any] = {}
    refused: dict[int, str] = {}
    start = time.perf_counter()
    for seed in range(count):
        try:
            done[seed] = work(seed)
        except refusals as error:
            refused[seed] = str(error)
    return done, refused, (time.perf_counter() - start) / max(count, 1)


# name → options of `make_rig` for one rig; each is solved to 0.3 mm, or refused, or named
STRESS: dict[str, dict[str, Any]] = {
    "clean light table": {},
    "wood": {"surface": "wood"},
    "cloth": {"surface": "cloth"},
    "cutting mat with grid": {"surface": "cutting mat"},
    "dark mat": {"surface": "dark mat"},
    "dark cloth": {"surface": "dark cloth"},
    "room light 1.5 × beam": {"ambient": 1.5},
    "glare of the lens": {"glare": 0.6},
    "defocus 1.2 px": {"defocus_px": 1.2},
    "moiré: hard pixel grid": {"gap": 0.5, "defocus_px": 0.2},
    "lens shift 50 %": {"shift": (0.0, 0.5)},
    "colour wheel, one frame": {"wheel": 0.4, "camera": {"shutter_s": 1 / 250}},
    "sharpening phone": {"camera": {"sharpen": 0.8}},
    "shaken hand, 4 px": {"camera": {"shake_px": (3.6, 1.7)}},
    "colour fringes": {"camera": {"fringe": 4e-4}},
    "one card 1 mm high": {"cards": {"heights_mm": (1.0, 0.0, 0.0, 0.0)}},
    "one card 3 mm high": {"cards": {"heights_mm": (3.0, 0.0, 0.0, 0.0)}},
    "two cards on one side 1 mm high": {"cards": {"heights_mm": (1.0, 0.0, 1.0, 0.0)}},
    "two far cards 1 mm high": {"cards": {"heights_mm": (1.0, 1.0, 0.0, 0.0)}},
    "all cards 1 mm high": {"cards": {"heights_mm": (1.0,)}},
    "one card curled 3 mm": {"cards": {"curls_mm": (3.0, 0.0, 0.0, 0.0)}},
    "all cards curled 2 mm": {"cards": {"curls_mm": (2.0,)}},
    "print +0.2 % along": {"cards": {"print_scale": (1.002, 1.0)}},
    "print +0.2 % both": {"cards": {"print_scale": (1.002, 1.002)}},
    "blurred photo": {"camera": {"blur_px": 3.0}},
    "dim and noisy": {"camera": {"exposure": 0.25, "full_well": 800.0, "jpeg": 60}},
    "over-exposed": {"camera": {"exposure": 2.5}},
}

"""Calibrations for the tests of bays, align and height: ideal ones, and ones fitted to a rig.

A fitted one comes from the virtual projector's own rays at a grid of pixels by a general
least-squares search, so that these tests do not lean on the project's solver.
"""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

from calibrate.calibration import Calibration
from calibrate.model import ProjectorModel
from calibrate.simulate import VirtualTable
from drafting import Docket
from drafting.placement import Placement, carry
from projector.session.sitting import Sitting
from projector.tools.bays.model import inside
from projector.tools.bays.walk import crosses_shown
from projector.trueness import best_rigid


def ideal(
    width_mm: float = 1200.0,
    *,
    size: tuple[int, int] = (1920, 1080),
    keystone: float = 0.0,
    k1: float = 0.0,
    turn_deg: float = 0.0,
) -> Calibration:
    """A beam of this width about the origin; ``keystone``: how much narrower its far side is."""
    import cv2

    w, h = size
    half = np.array([width_mm, width_mm * h / w]) / 2
    corner = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half
    corner[:2, 0] *= 1 - keystone
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    corner = corner @ np.array([[c, s], [-s, c]])
    px = np.array([[-0.5, -0.5], [w - 0.5, -0.5], [w - 0.5, h - 0.5], [-0.5, h - 0.5]])
    matrix = cv2.getPerspectiveTransform(corner.astype(np.float32), px.astype(np.float32))
    model = ProjectorModel(size, matrix, np.array([(w - 1) / 2, (h - 1) / 2]), k1, 0.0)
    return Calibration(model, np.zeros((12, 12)), "test", "2026-11-25")


def calibration_of(rig: VirtualTable) -> Calibration:
    """The calibration of a rig from its own rays: as good as a calibration can be."""
    return _fitted(rig.projector)


@functools.lru_cache(maxsize=16)
def _fitted(projector: object) -> Calibration:
    import cv2

    w, h = projector.size  # type: ignore[attr-defined]
    gx, gy = np.meshgrid(np.linspace(0, w - 1, 17), np.linspace(0, h - 1, 11))
    px = np.column_stack([gx.ravel(), gy.ravel()])
    table = projector.to_table(px)  # type: ignore[attr-defined]
    first, _ = cv2.findHomography(table, px)
    # without k3 and the prism, which these rigs have not: a free search with them comes to rest early
    start = ProjectorModel((w, h), first, np.array([(w - 1) / 2, (h - 1) / 2])).vector()[:14]

    def miss(v: np.ndarray) -> np.ndarray:
        return (ProjectorModel.from_vector((w, h), v).to_projector(table) - px).ravel()

    starts = [start + np.eye(14)[9] * k2 for k2 in (0.0, -0.03, 0.03)]
    fits = (least_squares(miss, s, x_scale="jac", xtol=1e-14, ftol=1e-14) for s in starts)
    best = next((f for f in fits if np.abs(f.fun).max() < 0.001), None)  # px
    assert best is not None, "the fit came to rest early"
    model = ProjectorModel.from_vector((w, h), best.x)
    return Calibration(model, np.zeros((12, 12)), "test", "2026-11-25")


# -- a dress in bays on the virtual table ----------------------------------------------------------

DRESS = """chalkbeam: 1
title: concert dress
wearer: alto-3
measurements: {measurements}
garment: {{block: quick-top, style: {{length: 860 mm, waist: shaped, flare: 300 mm}}}}
pieces:
  - {{name: tie belt, outline: [[0, 0], [80, 0], [80, 1400], [0, 1400]], cut: 2}}
  - {{name: pocket, outline: [[0, 0], [150, 0], [165, 90], [140, 190], [60, 200], [0, 150]],
     cut: 2, pair: true}}
allowances: {{all: 10 mm, hem: 25 mm, neckline: 6 mm}}
cloth: {{width: 1400 mm, length: 2.2 m, fold: lengthwise, nap: two-way, selvedge: 10 mm}}
"""


def dress(folder: Path) -> Docket:
    """A dress of 1.8 m of cloth, end to end along the fold, with a belt beside it."""
    from configs import shipped
    from drafting import Docket

    path = folder / "dress.yaml"
    measurements = shipped("measurements", "alto-3.yaml")
    path.write_text(DRESS.format(measurements=measurements), encoding="utf-8")
    docket = Docket.load(path)
    front = docket.pieces()["front"].cutting_line(docket.allowances_for("front"))
    long = float(np.ptp(front[:, 1]))
    top = float(front[:, 1].max())
    lay = [
        Placement("front", 1, (long - top + 10, 0.0), 0.0, True),
        Placement("back", 1, (2 * long - top + 25, 0.0), 0.0, True),
        Placement("tie belt", 1, (200.0, 590.0), 0.0, False),
        Placement("pocket", 1, (1690.0, 560.0), 0.0, False),
    ]
    docket.replace(lay=tuple(lay)).save()
    return Docket.load(path)


@dataclass
class Worker:
    """She: moves the cloth, chalks where the light falls, points where the chalk lies.

    ``world_from_cloth``: (3, 3) how the cloth truly lies; ``chalk``: label → cloth mm of the
    chalked cross; ``steps``: mm between the two bays' lines at each joint, signed, across them.
    """

    sitting: Sitting
    table: VirtualTable
    world_from_table: np.ndarray
    rng: np.random.Generator
    move_mm: float = 3.0
    turn_deg: float = 1.0
    pointer_mm: float = 1.0
    chalk: dict[str, np.ndarray] = field(default_factory=dict)
    lit: dict[tuple[str, int, int], list[tuple[int, float]]] = field(default_factory=dict)
    residuals: list[float] = field(default_factory=list)
    asked_again: int = 0
    frames: dict[int, np.ndarray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.world_from_cloth = (
            self.world_from_table @ self.sitting.state.work.view.table_from_cloth
        )

    def world(self, table_mm: np.ndarray) -> np.ndarray:
        """Where the light aimed at table places falls in the world."""
        return self.table.projector.to_table(
            self.sitting.state.stage.calibration.to_projector(np.atleast_2d(table_mm))
        )

    def on_cloth(self, world_mm: np.ndarray) -> np.ndarray:
        """World → cloth mm, as the cloth truly lies."""
        return carry(np.linalg.inv(self.world_from_cloth), world_mm)

    def work(self) -> None:
        """Trace every bay to the end."""
        s = self.sitting
        s.do("trace")
        for _ in range(400):
            tool = s.state.tool
            assert tool is not None, s.state.message.text
            walk = tool.walk
            if walk.phase == "trace":
                if s.state.current is not None and s.state.current in walk.bay.parts:
                    self.look()
                if s.state.current is None:
                    self.frames.setdefault(walk.at, self.shot())
                    if walk.last:
                        return
                    for c in crosses_shown(walk):
                        if c.kind == "chalk":
                            self.chalk[c.label] = self.on_cloth(self.world(np.array(c.at_table)))[0]
                s.do("go-on")
                if s.state.tool.walk.phase == "move":
                    self.move()
            elif walk.phase == "move":
                self.point()
            else:
                self.asked_again += 1
                s.do("point-again")
            if walk.phase != "trace" and s.state.tool.walk.phase == "trace":
                self.residuals.append(s.state.tool.walk.registration.residual_mm)
        raise AssertionError("never done")

    def move(self) -> None:
        """Slide the cloth to where the light shows the next bay, by hand."""
        aim = self.world_from_table @ self.sitting.state.tool.walk.view.table_from_cloth
        turn = math.radians(self.rng.uniform(-self.turn_deg, self.turn_deg))
        middle = carry(
            aim, np.array([np.mean(np.reshape(self.sitting.state.tool.walk.bay.rect, (2, 2)), 0)])
        )[0]
        c, s = math.cos(turn), math.sin(turn)
        by = np.eye(3)
        by[:2, :2] = [[c, -s], [s, c]]
        by[:2, 2] = middle - by[:2, :2] @ middle + self.rng.uniform(-self.move_mm, self.move_mm, 2)
        self.world_from_cloth = by @ aim

    def point(self) -> None:
        """Bring the lit pointer over the chalk, and press."""
        self.sitting.frame()  # what she sees: the strip's buttons lie where they are shown
        label = self.sitting.state.tool.walk.next_cross.label
        at = carry(self.world_from_cloth, self.chalk[label][None])
        at = at + self.rng.uniform(-self.pointer_mm, self.pointer_mm, 2)
        x, y = self.table.projector.to_pixels(at)[0]
        self.sitting.pointer("down", float(x), float(y))
        self.sitting.pointer("up", float(x), float(y))

    def shot(self) -> np.ndarray:
        """What the projector shows now."""
        self.sitting.frame()
        return self.sitting.compositor.painter.rgb()

    def look(self) -> None:
        """Measure, in the light, how far each line lies aside where this bay hands it over."""
        s = self.sitting
        walk = s.state.tool.walk
        piece = next(p for p in s.state.tool.pieces if p.key == s.state.current)
        before = s.state
        s.state = before.but(strip=False, pointer_mm=None)
        frame = self.shot()
        s.state = before
        ring = np.vstack([piece.outline_mm, piece.outline_mm[:1]])
        step = np.diff(ring, axis=0)
        arc = np.append(0.0, np.cumsum(np.hypot(*step.T)))
        share = walk.bay.parts[piece.key]
        for i, (a, b) in enumerate(itertools.pairwise(ring)):
            if abs(a[1]) + abs(b[1]) < 1e-6 or np.array_equal(a, b):
                continue  # the fold is not cut
            for k, level in enumerate(share):
                axis = k % 2
                if not math.isfinite(level) or (a[axis] <= level) == (b[axis] <= level):
                    continue
                t = (level - a[axis]) / (b[axis] - a[axis])
                inward = 1.0 if (b[axis] > a[axis]) == (k < 2) else -1.0
                # along the line into this bay's share, away from the tick that ends it
                at = arc[i] + t * (arc[i + 1] - arc[i]) + inward * np.arange(10.0, 26.0, 2.0)
                j = np.clip(np.searchsorted(arc, at % arc[-1], side="right") - 1, 0, len(step) - 1)
                d = step[j] / np.hypot(*step[j].T)[:, None]
                places = ring[j] + d * (at % arc[-1] - arc[j])[:, None]
                if not all(inside(q, share) for q in places.tolist()):
                    continue
                across = np.column_stack([-d[:, 1], d[:, 0]])
                offset = self.offsets(frame, places, across)
                self.lit.setdefault((piece.key, i, round(level)), []).append((walk.at, offset))

    def offsets(self, frame: np.ndarray, places: np.ndarray, across: np.ndarray) -> float:
        """mm by which the light lies aside of these places of the cloth: middle of its centroids."""
        t = np.arange(-4.0, 4.01, 0.05)
        at = carry(self.world_from_cloth, places)
        n = across @ self.world_from_cloth[:2, :2].T
        probe = (at[:, None] + n[:, None] * t[:, None]).reshape(-1, 2)
        light = self.table.light(frame, probe).sum(axis=1).reshape(len(places), len(t))
        light = np.clip(light - 0.5 * light.max(axis=1, keepdims=True), 0.0, None)
        assert np.all(light.sum(axis=1) > 0), "a line of this bay is not lit"
        return float(np.median((light * t).sum(axis=1) / light.sum(axis=1)))

    @property
    def steps(self) -> list[float]:
        """mm, across the line, between the two bays where a line is handed over."""
        out = []
        for seen in self.lit.values():
            by_bay = dict(seen)
            values = list(by_bay.values())
            out += [abs(a - b) for a, b in itertools.combinations(values, 2)]
        return out


def worker(
    docket: Docket, table: VirtualTable, calibration: Calibration, seed: int, **habits: float
) -> Worker:
    """Her at this table, the docket before her."""
    w, h = calibration.size
    gx, gy = np.meshgrid(np.linspace(0, w - 1, 9), np.linspace(0, h - 1, 7))
    px = np.column_stack([gx.ravel(), gy.ravel()])
    world_from_table = best_rigid(calibration.to_table(px), table.projector.to_table(px))
    sitting = Sitting(docket, calibration)
    return Worker(sitting, table, world_from_table, np.random.default_rng([seed, 41]), **habits)

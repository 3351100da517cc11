"""Cloth told from the table by colour."""

from __future__ import annotations

import numpy as np

from calibrate.arrays import Array, Image, Mask
from calibrate.cloth_scan.masks import (
    border,
    components,
    filled_holes,
    grown_by,
    lab_of,
    opened_by,
    rim_of,
    shrunk_by,
)
from configs.errors import Refusal

_WORK_SIDE = 640  # long side of the picture in which cloth and table are told apart
_RIM_MM = 25.0  # strip along the edge of the view that must be bare table
_LEAST_CLOTH = 0.01  # share of the view; smaller than that is a scrap or a shadow


def told_apart(flat: Image, known: Mask, per_mm: float, name: str, lit: bool) -> Mask:
    """Which pixels are cloth: those that the bare table along the view's edge does not explain.

    A first guess by the distance from the table's few colours, then GrabCut (Rother, Kolmogorov
    and Blake 2004, OpenCV's), at a size at which a mat's grid lines are one texture.
    """
    import cv2

    h, w = known.shape
    factor = min(1.0, _WORK_SIDE / max(h, w))
    small = np.asarray(
        cv2.resize(flat, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), dtype=np.uint8
    )
    seen = (
        cv2.resize(known.astype(np.uint8), small.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    )
    lab = lab_of(small)
    scale = per_mm * factor
    rim = rim_of(seen, max(2.0, _RIM_MM * scale))
    if rim.sum() < 50:
        raise Refusal(
            "no-table",
            "too little of the table is seen round the cloth.",
            "Step back, so that a hand's breadth of bare table shows on every side.",
            where=name,
        )
    samples = lab[rim]
    away = _distance(lab, samples)
    guess = seen & (away > 3.5)
    guess = opened_by(guess, 4.0 * scale)
    if guess.sum() < _LEAST_CLOTH * seen.sum():
        raise _no_cloth(name)
    marks = np.full(seen.shape, cv2.GC_PR_BGD, dtype=np.uint8)
    marks[guess] = cv2.GC_PR_FGD
    marks[rim & (away < 3.5)] = cv2.GC_BGD
    marks[~seen] = cv2.GC_BGD
    eight = cv2.cvtColor(small, cv2.COLOR_RGB2LAB)
    models = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.setRNGSeed(11)
    cv2.grabCut(eight, marks, (0, 0, 0, 0), models[0], models[1], 5, cv2.GC_INIT_WITH_MASK)
    cloth = ((marks == cv2.GC_FGD) | (marks == cv2.GC_PR_FGD)) & seen
    cloth = opened_by(cloth, 2.0 * scale)
    if cloth.sum() < _LEAST_CLOTH * seen.sum():
        raise _no_cloth(name)
    largest = components(cloth)[0]
    edge = ~shrunk_by(np.pad(seen, 1), 1.5)[1:-1, 1:-1] & seen
    outer = edge & (grown_by(~filled_holes(seen), 3.0) | border(seen.shape))
    touching = (largest & outer).sum() / max(1, outer.sum())
    if touching > 0.01:
        raise Refusal(
            "cloth-cut-off",
            "the cloth runs out of the light." if lit else "the cloth runs out of the picture.",
            "Lay it wholly inside the white, clear of the chequered corners, or use cards instead."
            if lit
            else "Step back or fold it, so that bare table shows on every side.",
            where=name,
            data={"share_of_rim": round(float(touching), 3)},
        )
    # what a card hides belongs to whatever lies round it
    for spot in components(~seen & filled_holes(seen)):
        ring = grown_by(spot, 2.0) & seen
        if ring.any() and cloth[ring].mean() > 0.5:
            cloth |= spot
    big = cv2.resize(cloth.astype(np.float32), (w, h), interpolation=cv2.INTER_LINEAR)
    return np.asarray(big > 0.5)


def _no_cloth(name: str) -> Refusal:
    return Refusal(
        "no-cloth",
        "no cloth can be told from the table, or it runs out of what is seen.",
        "Let bare table show all round, lay it on something of quite another colour, and photograph it again.",
        where=name,
    )


def _distance(lab: Array, samples: Array) -> Array:
    """How far each colour lies from the nearest of the few that the samples hold, in their spreads."""
    import cv2

    pick = samples[:: max(1, len(samples) // 6000)].astype(np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.1)
    cv2.setRNGSeed(5)
    count = min(4, len(pick))
    _, labels, middles = cv2.kmeans(pick, count, None, criteria, 3, cv2.KMEANS_PP_CENTERS)  # type: ignore[call-overload]
    best = np.full(lab.shape[:2], np.inf)
    for k in range(count):
        mine = pick[labels.ravel() == k].astype(np.float64)
        if len(mine) < 0.03 * len(pick):
            continue
        spread = np.cov(mine.T) + np.diag([4.0, 1.0, 1.0])
        gone = lab - middles[k]
        best = np.minimum(
            best, np.sqrt(np.einsum("...i,ij,...j->...", gone, np.linalg.inv(spread), gone))
        )
    return best

"""From the corners that were seen to the projector over the table.

After `calibrate.detect`. Every card carries the true millimetre to its place in the photo, so the
camera's view of the table plane, its lens, where each card lies and the projector with its own
lens are found together (`calibrate.bundle`), judged (`calibrate.verdict`) and made a `Calibration`
with the covariance of what went in.

The camera's focal length is never needed: a flat table gives a homography, and a lens on top.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from calibrate.arrays import Array
from calibrate.bundle import Bundle, CardView, Fit, PhotoView, own_level, without_cards
from calibrate.calibration import Calibration, CardPlace, without_rigid
from calibrate.cards import BARS_MM, card, set_of
from calibrate.detect import Detections, same_view
from calibrate.model import COUNT, CameraModel, ProjectorModel
from calibrate.pattern import Pattern, bare
from calibrate.plane import apply, homography, matrix_of
from calibrate.stages import card_rms_mm, misses_mm, polish, staged
from calibrate.store import now
from calibrate.verdict import (
    Solution,
    check_trust,
    disagree,
    few_cards,
    floor_mm_of,
    judge,
    lift_mm,
    moved_between,
    odd_photo,
    print_mended,
    strayed_mm,
)
from configs.errors import Fault, InputError, Refusal

PRINT_DOUBT = 0.002  # one sigma of a printer's scale (common practice, no source)
RULER_DOUBT_MM = 0.12  # one sigma of reading a printed bar with a ruler
LEAST_PATTERN = 30  # corners; the projector has 17 unknowns, and what is left over must tell
_SIGMA_FLOOR_PX = 0.004
_WILDER = 1.4  # between the noise of two cards of 33 corners chance alone makes 1.25
_STRAYED_MM = 4.0  # a raised card seems to move between photos too, but hardly so far
_MAY_BE_MOVED = ("not-flat", "bad-fit", "too-uncertain", "solve-failed")


def solve_photos(detections: Sequence[Detections], **options: Any) -> Calibration:
    """The calibration that one or several photos give; `solve` tells all of it, and the options."""
    return solve(detections, **options).calibration


def solve(
    detections: Sequence[Detections],
    *,
    bars_mm: tuple[float, float] | None = None,
    display: str = "",
    method: str = "photo",
    date: str | None = None,
    pattern: Pattern | None = None,
) -> Solution:
    """Joint fit of all photos: cameras, cards, projector.

    Args:
        detections: from `calibrate.detect.detect`, all of one pattern size; the cards must not
            have been moved between the photos.
        bars_mm: what her ruler read on the printed bars along x and y; None when not read.
        pattern: the pattern that was shown, when it was given to `detect` as well.

    Raises:
        InputError: bars that no printer makes.
        Refusal: ``no-cards``, ``few-cards``, ``cards-together``, ``no-pattern``, ``few-pattern``,
            ``not-flat``, ``bars-contradicted``, ``bad-fit``, ``too-uncertain``, ``solve-failed``,
            ``photos-disagree``.
    """
    if not detections:
        raise InputError("no photo was given.")
    size = detections[0].pattern_size
    scale = bar_scale(bars_mm)
    board = (pattern or bare(size)).board()
    ids = sorted({i for d in detections for i in d.cards})
    if len(ids) <= 2:
        raise few_cards(ids, detections)
    once, told_once = _counted_once(detections)
    photos = [_view(detections[k], board.corners, scale) for k in once]
    seen = max(len(p.pattern_px) for p in photos)
    if seen < LEAST_PATTERN:
        raise Refusal(
            "few-pattern",
            f"of the projected pattern only {seen} corner{'' if seen == 1 else 's'} can be measured.",
            "Make it brighter on the table: lay a white sheet under the light, turn lamps off, "
            "let the phone expose longer.",
            data={"corners": seen},
        )
    richest = sorted(range(len(photos)), key=lambda k: (-len(photos[k].cards), k))
    photos = [photos[k] for k in richest]
    order = [once[k] for k in richest]
    if len(photos[0].cards) < 3:
        raise Refusal(
            "few-cards",
            "no single photo shows more than two cards.",
            "Take at least one photo that shows the whole lit table with all four cards.",
        )
    names = [detections[k].name for k in order]
    try:
        solution = _joined(photos, size, bars_mm)
    except Refusal as refusal:
        if len(photos) > 1 and refusal.code in _MAY_BE_MOVED:
            for k in range(1, len(photos)):
                why = moved_between(photos[0], photos[k], size)
                if why:
                    raise disagree(names[0], names[k], why) from refusal
        raise
    for i in solution.named:
        gone = strayed_mm(i, photos, solution.cameras)
        if gone > _STRAYED_MM:
            told = f"Card {i} was moved by {gone:.0f} mm between the photos and was left out."
            notes = [told if n.startswith(f"Card {i} ") else n for n in solution.notes]
            solution = replace(solution, notes=tuple(notes))
    odd = odd_photo(solution)
    if odd is not None:
        other = 0 if odd else 1
        why = moved_between(photos[other], photos[odd], size)
        raise disagree(names[other], names[odd], why or "What they show cannot both be so.")
    calibration = replace(solution.calibration, display=display, method=method, date=date or now())
    return replace(
        solution,
        calibration=calibration,
        order=tuple(order),
        notes=(*solution.notes, *told_once),
        scale=scale,
    )


def _counted_once(detections: Sequence[Detections]) -> tuple[list[int], list[str]]:
    """The photos that each show something of their own, and what to say of the others.

    A copy brings its noise and its faults again; counted as a photo of its own it would make the
    told error too small.
    """
    once: list[int] = []
    notes = []
    for k, two in enumerate(detections):
        first = next((j for j in once if same_view(detections[j], two)), None)
        if first is None:
            once.append(k)
            continue
        name = detections[first].name
        what = f"{two.name} shows the same as {name}, from the very same place"
        if two.name == name:
            what = f"{name} was given twice"
        notes.append(f"{what}: counted once. A photo from another side would make it truer.")
    return once, list(dict.fromkeys(notes))


def _joined(
    photos: list[PhotoView], size: tuple[int, int], bars_mm: tuple[float, float] | None
) -> Solution:
    """The joint fit of photos that are taken to show one table, the richest first."""
    state = staged(photos, size)
    verdict = judge(photos, state, bars_mm is not None)
    notes = list(verdict.notes)
    if verdict.stretch:  # the print is put right first, then the cards are looked at again
        photos = [print_mended(p, verdict.stretch) for p in photos]
        verdict = judge(photos, verdict.state, bars_mm is not None)
        photos = [print_mended(p, verdict.stretch) for p in photos]
        notes += verdict.notes
    state, named = verdict.state, verdict.named
    photos = [without_cards(p, named) for p in photos]
    fit, joint, photos, held_out = polish(photos, state)
    if np.any(verdict.spread):
        at = joint.projector_at
        fit.covariance[at : at + COUNT, at : at + COUNT] += verdict.spread
    calibration, cameras = _conclude(fit, joint, photos, named, bars_mm)
    return Solution(
        replace(calibration, held_out_mm=held_out),
        cameras,
        tuple(photos),
        dict(sorted(card_rms_mm(photos, fit.state).items())),
        named,
        tuple(notes),
        raised=verdict.raised,
    )


def bar_scale(bars_mm: tuple[float, float] | None) -> tuple[float, float]:
    """What a printed millimetre measures along x and y, from what her ruler read on the bars.

    Raises:
        InputError: readings more than 4 % from what was drawn.
    """
    if bars_mm is None:
        return (1.0, 1.0)
    faults = []
    for read, drawn, axis in zip(bars_mm, BARS_MM, ("wide", "tall"), strict=True):
        if not math.isfinite(read) or abs(read / drawn - 1) > 0.04:
            faults.append(
                Fault(
                    "--bars",
                    f"{read:g} mm for the bar that was drawn {drawn:g} mm {axis}.",
                    "Measure both bars end to end in mm, the one along the page's width first; "
                    "if it is right, print again at 100 %.",
                )
            )
    if faults:
        raise InputError(faults)
    return (bars_mm[0] / BARS_MM[0], bars_mm[1] / BARS_MM[1])


def _view(d: Detections, pattern_corners: Array, scale: tuple[float, float]) -> PhotoView:
    views = {}
    for i, c in d.cards.items():
        corners = card(i).board(scale).corners[c.index]
        views[i] = _own_strays_dropped(
            CardView(corners, c.px, np.maximum(c.sigma, _SIGMA_FLOOR_PX))
        )
    views = _evened(views)
    if d.pattern is None or len(d.pattern) == 0:
        raise Refusal(
            "no-pattern",
            "the projected pattern is not seen.",
            "Show the pattern full screen while you take the photo.",
            where=d.name,
        )
    return PhotoView(
        d.size,
        views,
        pattern_corners[d.pattern.index],
        d.pattern.px,
        np.maximum(d.pattern.sigma, _SIGMA_FLOOR_PX),
    )


def _evened(views: Mapping[int, CardView]) -> dict[int, CardView]:
    """The noise of cards whose corners lie wilder than they say, set up to that of the others.

    Moiré and compression differ from card to card; unseen, a noisy card looks like one that does
    not lie flat. The second quietest card is the measure.
    """
    level = {i: own_level(v) for i, v in views.items()}
    known = sorted(v for v in level.values() if v > 0)
    if len(known) < 2:
        return dict(views)
    wilder = {i: level[i] / known[1] for i in views}
    return {
        i: replace(v, sigma_px=v.sigma_px * (wilder[i] if wilder[i] > _WILDER else 1.0))
        for i, v in views.items()
    }


def _own_strays_dropped(view: CardView) -> CardView:
    """Without the few corners that do not lie with the others of their card: a hair, a thread."""
    matrix = homography(view.corners_mm, view.corners_px)
    miss = np.hypot(*(apply(matrix, view.corners_mm) - view.corners_px).T) / view.sigma_px
    keep = miss < 6 * max(float(np.median(miss)), 0.3)
    return view if keep.sum() < 8 else view.pick(keep)


def _conclude(
    fit: Fit,
    joint: Bundle,
    photos: Sequence[PhotoView],
    named: tuple[int, ...],
    bars_mm: tuple[float, float] | None,
) -> tuple[Calibration, tuple[CameraModel, ...]]:
    """Projector and cameras in the table frame, with doubt, checked."""
    state = fit.state
    projector = state.projector
    if projector is None:
        raise Refusal("solve-failed", "no projector was found.", "Take the photo again.")
    unsound = projector.faults()
    if unsound:
        raise Refusal(
            "bad-fit",
            f"the fit ended in something that is no projector over a table: {unsound[0]}",
            "Photograph again, with all four cards flat and near the corners.",
        )
    frame = _table_frame(projector)
    covariance = fit.covariance[joint.projector_at :, joint.projector_at :][:COUNT, :COUNT]
    poses = {i: p for i, p in state.poses.items() if i not in named}
    if bars_mm is None:
        doubt = PRINT_DOUBT
    else:
        doubt = math.hypot(RULER_DOUBT_MM / BARS_MM[0], RULER_DOUBT_MM / BARS_MM[1]) / math.sqrt(2)
    misses = np.concatenate([misses_mm(p, state, k) for k, p in enumerate(photos)])
    u = np.concatenate([p.pattern_px for p in photos])
    back = np.concatenate([state.cameras[k].to_table(p.seen_px) for k, p in enumerate(photos)])
    rms_px = float(np.sqrt(np.mean((projector.to_projector(back) - u) ** 2)))
    raw = Calibration(
        projector,
        covariance,
        "photo",
        "",
        rms_px=rms_px,
        bars_mm=bars_mm,
        scale_doubt=doubt,
        floor_mm=floor_mm_of(projector, covariance),
        cards=tuple(
            CardPlace(i, (float(p[0]), float(p[1])), float(p[2])) for i, p in sorted(poses.items())
        ),
        facts={
            "photos": len(photos),
            "card_corners": sum(len(v.corners_px) for p in photos for v in p.cards.values()),
            "pattern_corners": sum(len(p.pattern_px) for p in photos),
            "misses_mm": float(np.sqrt(np.mean(np.sum(misses**2, axis=1)))),
            "print": set_of(min(poses)),
            "lift_mm": 0.0 if state.heights else lift_mm(fit, photos),
        },
    ).moved(frame)
    calibration = replace(raw, covariance=without_rigid(raw.model, raw.covariance))
    check_trust(calibration, state, photos, projector)
    return calibration, tuple(c.moved(frame) for c in state.cameras)


def _table_frame(projector: ProjectorModel) -> Array:
    """(3, 3) new from old: origin under the middle of the picture, x along its rows, y up in it."""
    middle = projector.middle_px
    quarter = np.array([projector.size[0] / 4, 0.0])
    a, b, o = projector.to_table(np.array([middle - quarter, middle + quarter, middle]))
    turn = math.atan2(*(b - a)[::-1])
    return np.asarray(np.linalg.inv(matrix_of((o[0], o[1], turn))), dtype=np.float64)

"""What a fit is worth: which card does not lie flat, what is refused, what is told.

After `calibrate.stages`. Cards and print are judged without robust weights, by what leaving one
out or freeing one more unknown does to the residuals.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from calibrate.arrays import Array
from calibrate.bundle import (
    Bundle,
    Fit,
    PhotoView,
    State,
    eye_of,
    minimise,
    own_level,
    stretched,
    without_cards,
)
from calibrate.calibration import Calibration
from calibrate.cards import card, in_words
from calibrate.detect import Detections, is_soft
from calibrate.model import COUNT, TABLE_UNIT_MM, CameraModel, ProjectorModel
from calibrate.plane import matrix_of, place, rigid
from calibrate.stages import card_rms_mm, staged
from configs.errors import Refusal

REFUSE_ERROR_MM = 1.0
_LEAST_SPREAD = 0.15  # share of the beam that the cards' hull must cover
_NEXT_TERM = 0.2  # of a radial series, the next term over the last: as the priors fall
_ODD_LEVEL = 1.7  # from here on the cards contradict each other
_REFUSE_LEVEL = 8.0
_SURE_GAIN = 2.0  # six sigma for a card of 33 corners
_SURE_DROP = 30.0  # of chi square for the one unknown of a stretched print
_MOST_LOOKS = 300  # heights were found within 126; what contradicts itself takes a thousand
_SURE_LIFT = 40.0  # of chi square for the heights of four cards
_LIFT_TOLD_MM = 0.2  # a lower card counts as lying on the table
_LIFT_SEEN_MM = 0.3  # surer than this, the photos themselves tell where the table is
_BARS_MISREAD = 0.005  # a steel rule read to half a millimetre on both bars leaves 0.3 %
_RULER_STRETCH = 0.002  # between two bars read to a fifth of a millimetre or so
_TOLD_STRETCH = 5e-4  # smaller ones are put right without a word
_BESIDE_MM = 0.4  # cards of one photo beside those of the others, in the median: no noise does that
_MOVED_MM = 1.0  # a place that differs by more between two photos that are fitted alone
_NAMED_SHIFT_MM = 0.12  # a card whose absence changes less than this is not worth a word


@dataclass(frozen=True, eq=False)
class Solution:
    """A calibration and what lies behind it, for reports and for `calibrate.drift`.

    ``cameras`` one a photo, in the table frame, in the ``order`` of the photos given (one that shows
    the same as another is not among them); ``card_mm`` card id -> rms of its corners' misses
    on the table, mm; ``named`` cards that do not lie flat, left out of the fit; ``raised`` card id ->
    mm above the table, which the fit reckoned with; ``notes`` for the person, the weightiest first.
    """

    calibration: Calibration
    cameras: tuple[CameraModel, ...]
    photos: tuple[PhotoView, ...]
    card_mm: Mapping[int, float]
    named: tuple[int, ...]
    notes: tuple[str, ...]
    order: tuple[int, ...] = (0,)
    scale: tuple[float, float] = (1.0, 1.0)
    raised: Mapping[int, float] = field(default_factory=dict)


def odd_photo(solution: Solution) -> int | None:
    """The photo whose cards lie beside where the others have them, if one does.

    Robust weights let a photo that contradicts the first be overruled; it must not be in silence.
    """
    if len(solution.photos) < 2:
        return None
    state = {c.card: np.array([*c.at_mm, c.turn]) for c in solution.calibration.cards}
    beside = []
    for camera, photo in zip(solution.cameras, solution.photos, strict=True):
        gone = []
        for i, v in photo.cards.items():
            if i in state:
                miss = camera.to_table(v.corners_px) - place(v.corners_mm, state[i])
                gone.append(float(np.hypot(*miss.mean(axis=0))) / (1 + solution.raised.get(i, 0.0)))
        beside.append(float(np.median(gone)) if gone else 0.0)
    worst = int(np.argmax(beside))
    return worst if beside[worst] > _BESIDE_MM else None


def strayed_mm(i: int, photos: Sequence[PhotoView], cameras: Sequence[CameraModel]) -> float:
    """How far apart the photos have one card's middle on the table, mm."""
    spots = [
        camera.to_table(photo.cards[i].corners_px).mean(axis=0)
        for photo, camera in zip(photos, cameras, strict=True)
        if i in photo.cards
    ]
    return max((math.dist(a, b) for a in spots for b in spots), default=0.0)


def moved_between(one: PhotoView, two: PhotoView, size: tuple[int, int]) -> str:
    """What was moved between two photos that each make sense alone; "" when that is not told."""
    tables = []
    for photo in (one, two):
        if len(photo.cards) < 3:
            return ""
        try:
            state = staged([photo], size)
        except Refusal:
            return ""
        at = {
            i: rigid(v.corners_mm, state.cameras[0].to_table(v.corners_px))
            for i, v in photo.cards.items()
        }
        tables.append((state, at))
    (a, here), (b, there) = tables
    ids = sorted(set(here) & set(there))
    if len(ids) < 2 or a.projector is None or b.projector is None:
        return "They show other cards."
    apart = {
        (i, j): abs(math.dist(here[i][:2], here[j][:2]) - math.dist(there[i][:2], there[j][:2]))
        for i, j in combinations(ids, 2)
    }
    loose = {i: [gap for pair, gap in apart.items() if i in pair] for i in ids}
    gone = [i for i in ids if min(loose[i]) > _MOVED_MM]
    if gone:
        far = max(min(loose[i]) for i in gone)
        which = "The cards lie" if len(gone) > 2 else _named(gone)
        return f"{which} about {far:.0f} mm elsewhere in the second."
    if max(apart.values()) > _MOVED_MM:
        return "Not all cards lie where they lay."
    spots = np.array([here[i][:2] for i in ids]), np.array([there[i][:2] for i in ids])
    grids = a.projector.grid_mm(3, 3), b.projector.grid_mm(3, 3)
    moved = place(grids[1], rigid(spots[1], spots[0])) - grids[0]
    far = float(np.median(np.hypot(*moved.T)))
    if far < _MOVED_MM:
        return ""
    return (
        f"The light lies about {far:.0f} mm elsewhere among the cards: the projector was touched, "
        "or all cards were moved together."
    )


def disagree(one: str, two: str, why: str) -> Refusal:
    return Refusal(
        "photos-disagree",
        f"{one} and {two} do not show one and the same table. {why}",
        "Take all photos without touching cards or projector in between, or give one photo alone.",
        data={"photos": [one, two]},
    )


def few_cards(ids: Sequence[int], detections: Sequence[Detections]) -> Refusal:
    if not ids:
        return Refusal("no-cards", "no card is seen.", "Lay the four printed cards into the light.")
    count = "only one card" if len(ids) == 1 else "only two cards"
    soft = [n for d in detections if is_soft(d) for n in d.notes]
    lay = "Lay all four, one near each corner of the light, and nothing over them."
    return Refusal(
        "few-cards",
        f"{count} can be read ({', '.join(f'card {i}' for i in ids)}).",
        f"{f'{soft[0]} ' if soft else ''}{lay} One or two cards leave errors of several "
        "millimetres at the far side.",
        data={"cards": list(ids)},
    )


def print_mended(photo: PhotoView, stretch: float) -> PhotoView:
    """The photo with its cards' corners as the stretched print has them."""
    if stretch == 0:
        return photo
    cards = {
        i: replace(v, corners_mm=stretched(v.corners_mm, stretch)) for i, v in photo.cards.items()
    }
    return replace(photo, cards=cards)


@dataclass(frozen=True, eq=False)
class Verdict:
    """Do the cards agree with one flat table? If not: which card, or the print, is to blame."""

    state: State
    named: tuple[int, ...] = ()
    stretch: float = 0.0
    notes: tuple[str, ...] = ()
    spread: Array = field(default_factory=lambda: np.zeros((COUNT, COUNT)))
    raised: Mapping[int, float] = field(default_factory=dict)


def _cards_level(fit: Fit, photos: Sequence[PhotoView]) -> float:
    """Rms of all card residuals over sigma."""
    total, count, at = 0.0, 0, 0
    for photo in photos:
        n = 2 * sum(len(v.corners_px) for v in photo.cards.values())
        total += float(np.sum(fit.residuals[at : at + n] ** 2))
        count += n
        at += n + 2 * len(photo.pattern_px)
    return math.sqrt(total / max(count, 1))


def _shift_mm(a: ProjectorModel, b: ProjectorModel) -> float:
    """Largest distance between two projectors' tables over the beam, after the best rigid move."""
    ta, tb = a.grid_mm(9, 7), b.grid_mm(9, 7)
    return float(np.hypot(*(place(ta, rigid(ta, tb)) - tb).T).max())


def judge(photos: Sequence[PhotoView], state: State, bars_read: bool) -> Verdict:
    """Name the card that is bent or raised, or a print that is stretched one way.

    Without robust weights a bad card shows in the cost: leaving the right one out (or freeing the
    print's stretch) brings the residuals down to the corners' noise, leaving another out does not.
    """

    def tried(these: Sequence[PhotoView], start: State) -> tuple[Fit, float]:
        joint = Bundle(these, start, TABLE_UNIT_MM)
        fit = minimise(joint, start, "all", huber=None, tolerance=1e-6)
        return fit, _cards_level(fit, these)

    whole, level = tried(photos, state)
    whole_size = (0, 0) if state.projector is None else state.projector.size
    total = sum(2 * len(v.corners_px) for p in photos for v in p.cards.values())
    ids = sorted(state.poses)
    without: dict[int, tuple[Fit, float]] = {}
    gains: list[tuple[float, int]] = []
    for i in ids if len(ids) >= 4 else []:
        poses = {k: v for k, v in whole.state.poses.items() if k != i}
        rest = [without_cards(p, [i]) for p in photos]
        if not all(p.cards for p in rest):
            continue
        without[i] = tried(rest, replace(whole.state, poses=poses))
        if level > 1.2 and len(rest[0].cards) >= 3:
            # a bad card can have drawn the lens into a false minimum: once more from the start
            fresh = tried(rest, staged(rest, whole_size))
            without[i] = min(without[i], fresh, key=lambda fit: fit[1])
        # what this card adds to the cost, per coordinate of its own, over the noise of the others
        # or, where its corners are noisier, its own: 1 if it is like the others
        own = sum(2 * len(p.cards[i].corners_px) for p in photos if i in p.cards)
        kept = max(without[i][1] ** 2, 1e-12)
        noise = max(kept, *(own_level(p.cards[i]) ** 2 for p in photos if i in p.cards))
        gains.append(((total * level**2 - (total - own) * kept) / (own * noise), i))
    gains.sort(reverse=True)
    best = without[gains[0][1]][1] if gains else math.inf
    freed, free = tried(photos, replace(whole.state, stretch=0.0))
    stretch = freed.state.stretch or 0.0
    drop = total * (level**2 - free**2) / max(free**2, 1e-12)
    fits = free < 1.25 * best or free < 0.75 * level
    apart = 0.0
    if len(gains) >= 2:  # chi square between the likeliest card and the next
        second = min(without[i][1] for _, i in gains[1:])
        apart = total * (1 - 1 / len(ids)) * (second**2 - best**2) / max(best**2, 1e-12)
    stretched = drop > _SURE_DROP and fits and abs(stretch) > 2e-4
    alone = bool(gains) and gains[0][0] > _SURE_GAIN and apart > 25
    left = without[gains[0][1]][0].state if alone else None
    shift = 0.0
    if left and left.projector is not None and whole.state.projector is not None:
        shift = _shift_mm(whole.state.projector, left.projector)
    other = free if stretched else best if alone and shift > _NAMED_SHIFT_MM else math.inf
    lifted = _lifted(photos, whole.state, level, other)
    if lifted is not None:
        return lifted
    if stretched:
        if bars_read and abs(stretch) > _BARS_MISREAD:
            raise Refusal(
                "bars-contradicted",
                f"the two bars cannot both be right: {_stretch_note(stretch, True)}",
                "One of the readings is off, and with it every length on the table.",
                data={"stretch": stretch},
            )
        told = _RULER_STRETCH if bars_read else _TOLD_STRETCH
        notes = (_stretch_note(stretch, bars_read),) if abs(stretch) > told else ()
        return Verdict(replace(freed.state, stretch=None), (), stretch, notes)
    if alone:
        if left is None or shift <= _NAMED_SHIFT_MM:
            return Verdict(state)
        i = gains[0][1]
        note = (
            f"Card {i} does not lie flat like the others (raised, bent, or over something): it "
            f"would have cost up to {shift:.2f} mm and was left out. Press it flat and repeat."
        )
        return Verdict(left, (i,), 0.0, (note,))
    if level > _ODD_LEVEL:
        return _at_odds(photos, whole, level, {i: f.state for i, (f, _) in without.items()})
    return Verdict(state)


def _lifted(
    photos: Sequence[PhotoView], state: State, level: float, otherwise: float
) -> Verdict | None:
    """The verdict that some cards lie higher than others, when nothing else explains as much.

    Seen from one place, a raised card is shifted and enlarged but not tilted as its neighbours
    would have it; from several places, it is shifted each time another way. One photo tells the
    cards' heights from one another, not from the table: there the lowest are taken to lie on it.

    Args:
        level: rms of the cards' residuals with all flat; otherwise: with the best other reason.
    """

    def asked(state: State, tolerance: float = 1e-6) -> tuple[Fit, Bundle, float]:
        joint = Bundle(photos, state, TABLE_UNIT_MM)
        fit = minimise(joint, state, "all", huber=None, tolerance=tolerance, most=_MOST_LOOKS)
        return fit, joint, _cards_level(fit, photos)

    total = sum(2 * len(v.corners_px) for p in photos for v in p.cards.values())
    eyes = [eye_of(c) for c in state.cameras]
    level_ones = dict.fromkeys(state.poses, 0.0)
    fit, joint, left = asked(replace(state, heights=level_ones, eyes=eyes), 1e-4)
    drop = total * (level**2 - left**2) / max(left**2, 1e-12)
    if drop < _SURE_LIFT:
        return None
    for _ in range(3):  # the cameras' places were read off a table that was thought tilted
        heights = dict(fit.state.heights or {})
        doubt = np.sqrt(np.diag(fit.covariance)[joint.heights_at : joint.eyes_at]).max()
        held = fit.state.held
        if len(photos) == 1 or doubt > _LIFT_SEEN_MM:
            low = min(heights.values())
            heights = {i: h - low for i, h in heights.items()}
            held = {i: 0.1 if h < 0.3 else 3.0 for i, h in heights.items()}
        eyes = [eye_of(c) for c in fit.state.cameras]
        fit, joint, left = asked(replace(fit.state, heights=heights, eyes=eyes, held=held))
        if not fit.settled:
            return None
    if left > 0.85 * otherwise or left > _ODD_LEVEL:
        return None
    heights = dict(fit.state.heights or {})
    raised = {i: h for i, h in sorted(heights.items()) if h > _LIFT_TOLD_MM}
    if not raised or state.projector is None or fit.state.projector is None:
        return None
    shift = _shift_mm(state.projector, fit.state.projector)
    mean = float(np.mean(list(raised.values())))
    which = "All cards lie" if len(raised) == len(heights) else _named(list(raised))
    note = (
        f"{which} about {mean:.1f} mm above the table (bent, or over something). That was "
        f"reckoned with, else it would have cost up to {shift:.1f} mm; press all cards flat and "
        "repeat to be surer."
    )
    return Verdict(fit.state, (), 0.0, (note,), raised=raised)


def floor_mm_of(model: ProjectorModel, covariance: Array) -> float:
    """What the lens term that the model has not may leave over the beam, mm, rms.

    The next term of the radial series, r⁸, as large as such series fall, less what the model's
    own parameters take up of it (least squares over the beam).
    """
    grid = model.grid_mm()
    _, dX, _ = model.jacobians(grid)
    p = (model.to_projector(grid) - model.centre_px) / model.unit_px
    size = _NEXT_TERM * math.hypot(model.k3, math.sqrt(max(covariance[14, 14], 0.0)))
    field_px = p * np.sum(p * p, axis=1)[:, None] ** 4 * (size * model.unit_px)
    shift = np.linalg.solve(dX, field_px[:, :, None]).ravel()
    own = model.table_jacobian(grid).reshape(-1, COUNT)
    left = shift - own @ np.linalg.lstsq(own, shift, rcond=None)[0]
    return float(np.sqrt(2 * np.mean(left**2)))


def _named(ids: Sequence[int]) -> str:
    return f"{in_words(ids).capitalize()} {'lies' if len(ids) == 1 else 'lie'}"


def lift_mm(fit: Fit, photos: Sequence[PhotoView]) -> float:
    """How far the light may be off, mm, were cards a millimetre above the table and it not seen.

    All cards, or those on one side of the light: the change of the fit (linear theory), worst
    place of the beam, times the share of the millimetre that would not have shown.
    """
    state = fit.state
    if state.projector is None:
        return 0.0
    flat = dict.fromkeys(state.poses, 0.0)
    asked = replace(state, heights=flat, eyes=[eye_of(c) for c in state.cameras])
    joint = Bundle(photos, asked, TABLE_UNIT_MM)
    r, J = joint.residuals(asked)
    _, stiff = joint.priors(asked)
    free = joint.free("all")
    free[joint.heights_at :] = False
    w = np.minimum(1.0, 3.0 / np.maximum(np.abs(r), 1e-300))[:, None]
    A = J[:, free]
    inverse = np.linalg.pinv((A * w).T @ A + np.diag(stiff[free] ** 2), hermitian=True)
    spots = np.array([state.poses[i][:2] for i in joint.ids])
    px = state.projector.to_projector(spots) - state.projector.middle_px
    sides = [
        np.ones(len(px)),
        *(np.where(s * px[:, k] > 0, 1.0, 0) for k in (0, 1) for s in (1, -1)),
    ]
    grid = state.projector.grid_mm()
    move = state.projector.table_jacobian(grid)
    worst = 0.0
    for side in sides:
        if not side.any():
            continue
        pull = J[:, joint.heights_at : joint.eyes_at] @ side
        change = np.zeros(joint.count)
        change[free] = -inverse @ (A.T @ (w[:, 0] * pull))
        shown = pull + J @ change
        seen = float(np.sum(w[:, 0] * shown**2))
        there = grid + move @ change[joint.projector_at : joint.projector_at + COUNT]
        off = np.hypot(*(place(there, rigid(there, grid)) - grid).T).max()
        worst = max(worst, float(off) * min(1.0, math.sqrt(_SURE_LIFT / max(seen, 1e-9))))
    return worst


def _at_odds(
    photos: Sequence[PhotoView], whole: Fit, level: float, without: Mapping[int, State]
) -> Verdict:
    """Cards that contradict each other and none alone is to blame: refuse, or say how much.

    The doubt is the spread of the answers when each card in turn is left out (Tukey's jackknife).

    Raises:
        Refusal: ``not-flat``.
    """
    rms = card_rms_mm(photos, whole.state)
    worst = max(rms, key=lambda i: rms[i])
    model = whole.state.projector
    spread = np.zeros((COUNT, COUNT))
    shift = 0.0
    if model is not None:
        for left in without.values():
            if left.projector is None:
                continue
            other = _in_frame_of(left.projector, model)
            d = other.vector() - model.vector()
            spread += np.outer(d, d) * (len(without) - 1) / len(without)
            shift = max(shift, _shift_mm(other, model))
    if (level > _REFUSE_LEVEL and rms[worst] > 0.12) or shift > 2 * REFUSE_ERROR_MM:
        raise Refusal(
            "not-flat",
            "the cards do not agree with one flat table: card "
            f"{worst} is out by {rms[worst]:.2f} mm within itself.",
            "Press all cards flat, with weights on their white margins if they curl, on one "
            "level surface; and all from one print.",
            data={"level": level, "shift_mm": shift, **{f"card_{i}_mm": v for i, v in rms.items()}},
        )
    note = (
        f"The cards contradict each other by up to {max(shift, 0.01):.2f} mm; card {worst} fits "
        "worst. Press all of them flat and repeat."
    )
    return Verdict(whole.state, (), 0.0, (note,), spread)


def _in_frame_of(model: ProjectorModel, other: ProjectorModel) -> ProjectorModel:
    """The model, its table moved to lie best on the other's."""
    return model.moved(matrix_of(rigid(model.grid_mm(9, 7), other.grid_mm(9, 7))))


def _stretch_note(stretch: float, bars_read: bool) -> str:
    way = "wider" if stretch > 0 else "taller"
    if bars_read:
        return (
            f"The cards say that the print is {abs(stretch) * 100:.2f} % {way} than the bars "
            "given: measure both bars again, the one along the page's width first."
        )
    return (
        f"The print is stretched: {abs(stretch) * 100:.2f} % {way} than it should be, which was "
        "put right; how large it is altogether only the bars can tell. Measure both: --bars."
    )


def check_trust(
    calibration: Calibration,
    state: State,
    photos: Sequence[PhotoView],
    projector: ProjectorModel,
) -> None:
    """Refuse what cannot be trusted."""
    import cv2

    corners = np.concatenate(
        [
            place(card(i).outline_mm(), state.poses[i])
            for i in sorted({i for p in photos for i in p.cards})
        ]
    )
    px = projector.to_projector(corners)
    px = np.clip(np.nan_to_num(px), -0.5, np.array(projector.size) - 0.5)
    hull = cv2.convexHull(px.astype(np.float32).reshape(-1, 1, 2))
    share = float(cv2.contourArea(hull)) / (projector.size[0] * projector.size[1])
    if share < _LEAST_SPREAD:
        raise Refusal(
            "cards-together",
            f"the cards lie all in one place: they span {100 * share:.0f} % of the light.",
            "Lay one near each corner of the light; what lies between them is measured, what "
            "lies outside is guessed.",
            data={"share": share},
        )
    worst = float(calibration.expected_error_mm(calibration.model.grid_mm()).max())
    if worst > REFUSE_ERROR_MM:
        raise Refusal(
            "too-uncertain",
            f"somewhere in the light the error may reach {worst:.1f} mm.",
            "Lay all four cards nearer the corners, go nearer with the camera, hold it still.",
            data={"max_mm": worst},
        )

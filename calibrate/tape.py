"""The tape measure's way: the projector from distances between lettered crosses, and no camera.

The projector shows crosses at known pixels; she measures from cross to cross. One projector model
is fitted to all readings at once. Every reading beyond what is needed checks the others, so a
misread one can be named. What a tape cannot see (the lens, with few crosses) is held by priors and
told in the expected error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from calibrate.arrays import Array, Mask
from calibrate.calibration import Calibration, without_rigid
from calibrate.model import ProjectorModel
from calibrate.readings import Pair, Readings, pairs_of
from calibrate.store import now
from configs.errors import Refusal
from configs.units import said_in

# Greatest error of a tape, mm, a + b · metres begun (EU 2014/32 annex X); a dressmaker's tape
# carries no class: common practice, no source, retires it at 3 mm in 1.5 m.
TAPE_CLASSES: dict[str, tuple[float, float]] = {
    "I": (0.1, 0.1),
    "II": (0.3, 0.2),
    "III": (0.6, 0.4),
    "none": (0.6, 1.5),
}
_READING_MM = 0.6  # one reading: eye, hand and the nearest millimetre; before the readings speak
_READING_WEIGHT = 6.0  # as many readings' worth of trust in that
_PRIOR_K1 = 0.005  # radial distortion at the picture's corner; 0.5 % is common, no source
_PRIOR_K2 = 0.001
_PRIOR_CENTRE = 0.08  # lens centre from the picture's middle, half diagonals
_SUSPECT = 4.0  # standardised surplus past which a reading is not chance
_LIMIT_RMS_MM = 3.0  # readings that agree no better than this calibrate nothing
_BEAM_MM = (200.0, 6000.0)  # no projector over a table shows less or more
_LIMIT_DOUBT_MM = 4.0
_SPARE = 6  # readings beyond the need, with which one wrong one can be told from another
_MOST_STRETCH = 2.0  # longest over shortest side of a dot: 1 / cos of the ray's angle, 60°
_MOST_TAPER = 4.0  # largest over smallest dot of the picture
_FLOOR_MM = 0.05
_SEEN = 12  # of the projector's parameters; no tape sees the tangential terms
_SHAPE_FREEDOMS = 5  # of a homography, once place and turn of the table frame are chosen


@dataclass(frozen=True)
class TapeResult:
    """A calibration by tape, and what each reading says of the others.

    ``fitted_mm``: the distance that the fit gives for each reading; ``surplus_mm``: how much
    longer it reads than all *other* readings explain (nan where nothing else checks it);
    ``left_out``: indices of readings that were not used; ``reading_mm``: the deviation of one
    reading, as the readings themselves tell it.
    """

    calibration: Calibration
    readings: tuple[tuple[Pair, float], ...]
    fitted_mm: Array
    surplus_mm: Array
    left_out: tuple[int, ...]
    reading_mm: float
    warnings: tuple[str, ...] = ()

    @property
    def worst(self) -> int | None:
        """Index of the reading that the others explain least; None when nothing checks any."""
        if not np.isfinite(self.surplus_mm).any():
            return None
        return int(np.nanargmax(np.abs(self.surplus_mm)))

    def words(self, index: int) -> str:
        """One reading against the rest, as a sentence."""
        (a, b), surplus = self.readings[index][0], float(self.surplus_mm[index])
        if not math.isfinite(surplus):
            return f"{a}–{b} is checked by no other reading."
        return said_in(_words(a, b, surplus), self.calibration.unit)


def solve_tape(data: Readings, tape: str = "none", display: str = "") -> TapeResult:
    """Fit the projector to distances between its crosses.

    Least squares over homography, k1, k2 and lens centre, with priors on the lens; a reading that
    the others contradict is left out when there are enough others, and always named.

    Args:
        data: crosses and readings.
        tape: class of the tape, a key of `TAPE_CLASSES`; sets how sure the scale is.
        display: name of the display, for the record.

    Raises:
        Refusal: too few readings (``undetermined``), or readings that contradict each other and
            do not tell which of them is wrong (``readings-disagree``).
    """
    _check_determined(data)
    fit = _Fit(data)
    read, used = fit.read, fit.used
    keep = np.ones(len(read), bool)
    start = fit.start()
    vector = fit.solve(start, keep)
    left_out: list[int] = []
    while True:
        residual, surplus, scaled = fit.judge(vector, keep)
        if np.abs(scaled[keep]).max() <= _SUSPECT:
            break
        # a gross misreading pulls its neighbours along, so each is tried without
        worst, vector = fit.without_one(start, keep)
        residual, surplus, scaled = fit.judge(vector, keep & (np.arange(len(read)) != worst))
        spare = int(keep.sum()) - _SHAPE_FREEDOMS - 1
        if spare < _SPARE or len(left_out) >= max(1, len(read) // 6):
            a, b = data.readings[worst][0]
            told = surplus if math.isfinite(surplus[worst]) else residual
            raise Refusal(
                "readings-disagree",
                f"the readings contradict each other; likeliest {_words(a, b, float(told[worst]))}",
                "Measure that pair again, and any other you are not sure of; the tape straight, "
                "flat and from middle to middle.",
                data={"pair": f"{a}-{b}", "surplus_mm": float(told[worst])},
            )
        left_out.append(worst)
        keep[worst] = False
    rms = float(np.sqrt(np.mean(residual[keep] ** 2)))
    freedom = max(0.0, float(keep.sum()) - float(fit.doubts(vector, keep)[keep].sum()))
    sigma2 = (_READING_WEIGHT * _READING_MM**2 + float(np.sum(residual[keep] ** 2))) / (
        _READING_WEIGHT + freedom
    )
    sigma = math.sqrt(sigma2)
    if rms > _LIMIT_RMS_MM:
        told = np.where(np.isfinite(surplus), surplus, residual)
        worst = int(np.argmax(np.abs(told)))
        a, b = data.readings[worst][0]
        raise Refusal(
            "readings-disagree",
            f"the readings agree only to {rms:.1f} mm (rms); {_words(a, b, float(told[worst]))}",
            "Is the table flat, the tape straight, the picture unscaled? Measure again.",
            data={"rms_mm": rms},
        )
    model = _in_own_frame(ProjectorModel.from_vector(data.size, vector))
    faults = model.faults() or _implausible(model)
    if faults:
        raise Refusal(
            "no-projector",
            f"no projector throws these distances: {faults[0]}",
            "Check that each reading stands at the right pair of letters.",
        )
    covariance = without_rigid(model, _Fit(data, sigma).covariance(model.vector()[:_SEEN], keep))
    constant, per_metre = TAPE_CLASSES[tape]
    calibration = Calibration(
        model,
        covariance,
        "tape",
        now(),
        display=display,
        rms_px=rms / model.mm_per_px(),
        floor_mm=_FLOOR_MM,
        # a greatest error is taken as the half width of an even spread
        scale_doubt=per_metre * 1e-3 / math.sqrt(3),
        facts={
            "crosses": len(used),
            "readings": len(read),
            "left_out": len(left_out),
            "rms_mm": rms,
            "reading_mm": sigma,
            "freedom": _READING_WEIGHT + freedom,
            "tape_class": tape,
        },
    ).told_in(data.unit)
    summary = calibration.summary()
    wide, doubt = summary["beam_width_mm"], summary["rms_mm"]
    if not _BEAM_MM[0] <= wide <= _BEAM_MM[1]:
        raise Refusal(
            "beam-size",
            f"by these readings the whole picture would be {wide:.0f} mm wide on the table.",
            "Check their unit: 'distances_mm' holds millimetres; for others write '63.1 cm', or "
            "'unit: cm' and 'distances:'.",
            data={"beam_width_mm": wide},
        )
    if doubt > _LIMIT_DOUBT_MM:
        raise Refusal(
            "undetermined",
            f"these pairs fix the picture on the table only to {doubt:.0f} mm.",
            f"Measure diagonals too.{_not_measured(data)}",
            data={"expected_mm": doubt},
        )
    result = TapeResult(
        calibration,
        data.readings,
        read - residual,
        surplus,
        tuple(left_out),
        sigma,
    )
    warnings = [f"{result.words(i)} It was left out; measure it again." for i in left_out]
    if len(used) < 6:
        warnings.append(
            f"{len(used)} crosses do not see the lens: between them lines may be bent by a "
            "millimetre or so. Six or nine crosses show it."
        )
    if freedom < 1.5:
        warnings.append(
            "Hardly a reading checks another: a misread one would not show. Measure more pairs."
        )
    if sigma > 1.2:
        warnings.append(
            f"The readings agree to about {sigma:.1f} mm each; a steady hand and a flat tape reach 0.5 mm."
        )
    if constant + per_metre > 1.5:
        warnings.append(
            "A tape without a class may itself be off by a millimetre or two in a metre, and no "
            "reading shows it: compare it with a steel rule."
        )
    return replace(result, warnings=tuple(said_in(w, data.unit) for w in warnings))


def against_the_rest(data: Readings) -> str:
    """What the last reading says against all earlier ones: a sentence when they contradict, or ''.

    For entry one by one at the table, where a misread pair is best read again at once.
    """
    earlier = Readings(data.size, data.crosses, data.readings[:-1])
    if len(earlier.readings) <= _SHAPE_FREEDOMS + 1:
        return ""
    try:
        _check_determined(earlier)
    except Refusal:
        return ""
    fit = _Fit(data)
    keep = np.arange(len(fit.read)) < len(fit.read) - 1
    vector = fit.solve(fit.start(), keep)
    _, surplus, scaled = fit.judge(vector, keep)
    if abs(scaled[-1]) <= _SUSPECT:
        return ""
    (a, b), _ = data.readings[-1]
    return said_in(_words(a, b, float(surplus[-1])), data.unit)


def _words(a: str, b: str, surplus: float) -> str:
    way = "longer" if surplus > 0 else "shorter"
    digits = 0 if abs(surplus) >= 3 else 1
    return f"{a}–{b} reads {abs(surplus):.{digits}f} mm {way} than the rest can explain."


def _not_measured(data: Readings) -> str:
    measured = {frozenset(pair) for pair, _ in data.readings}
    missing = [f"{a}–{b}" for a, b in pairs_of(data.crosses) if frozenset((a, b)) not in measured]
    return f" Not yet measured: {', '.join(missing[:12])}." if missing else ""


def _check_determined(data: Readings) -> None:
    used = {k for pair, _ in data.readings for k in pair}
    measured = {frozenset(pair) for pair, _ in data.readings}
    told = _not_measured(data)
    if len(used) < 4 or len(measured) < _SHAPE_FREEDOMS:
        raise Refusal(
            "undetermined",
            f"{len(measured)} pairs of {len(used)} crosses do not fix the picture on the table.",
            f"At least four crosses with five distances between them are needed.{told}",
            data={"crosses": len(used), "pairs": len(measured)},
        )
    fit = _Fit(data)
    # the shape's five freedoms, seen at a plain start: the pattern of pairs decides, not the numbers
    singular = np.linalg.svd(fit.rows(fit.start())[1][:, :8], compute_uv=False)
    if len(singular) < _SHAPE_FREEDOMS or singular[_SHAPE_FREEDOMS - 1] < 2e-3 * singular[0]:
        raise Refusal(
            "undetermined",
            "these pairs leave the crosses free to move against each other.",
            f"Measure diagonals too.{told}",
            data={"crosses": len(used), "pairs": len(measured)},
        )


def _implausible(model: ProjectorModel) -> list[str]:
    """What no projector over a table does: rays flatter than 30° to it, one end four times the other."""
    w, h = model.size
    ends = np.array([(0, 0), (w - 1, 0), (w - 1, h - 1), (0, h - 1), (w / 2, h / 2)], float)
    _, slope, _ = model.jacobians(model.to_table(ends))
    stretch = np.linalg.svd(slope, compute_uv=False)
    if float((stretch[:, 0] / stretch[:, 1]).max()) > _MOST_STRETCH:
        return ["its dots would be stretched as by no tilt that a table allows."]
    dots = np.sqrt(np.abs(np.linalg.det(slope)))
    if float(dots.max() / dots.min()) > _MOST_TAPER:
        return ["one end of its picture would be far larger than the other."]
    return []


def _in_own_frame(model: ProjectorModel) -> ProjectorModel:
    """Origin under the picture's middle, x along its middle row to the right."""
    w, h = model.size
    middle, right = model.to_table([[(w - 1) / 2, (h - 1) / 2], [w - 1.0, (h - 1) / 2]])
    along = (right - middle) / np.linalg.norm(right - middle)
    turn = np.array([[along[0], along[1], 0], [-along[1], along[0], 0], [0, 0, 1.0]])
    turn[:2, 2] = -turn[:2, :2] @ middle
    return model.moved(turn)


class _Fit:
    """Readings and priors as rows of one least squares over the first 12 of `PARAMETERS`."""

    def __init__(self, data: Readings, sigma_mm: float = _READING_MM) -> None:
        self.used = sorted({k for pair, _ in data.readings for k in pair})
        self.size, self.sigma = data.size, sigma_mm
        self.px = np.array([data.crosses[k] for k in self.used])
        self.ends = np.array([[self.used.index(k) for k in pair] for pair, _ in data.readings])
        self.read = np.array([mm for _, mm in data.readings])
        self._last: dict[bytes, tuple[Array, Array]] = {}

    def _crosses(self, vector: Array) -> tuple[Array, Array]:
        """Where the crosses lie, (N, 2) mm, and how they move with the parameters, (N, 2, 12)."""
        key = vector.tobytes()  # readings, gauge and the minimiser ask for the same place
        if key not in self._last:
            model = ProjectorModel.from_vector(self.size, vector)
            table = model.to_table(self.px)
            self._last = {key: (table, model.table_jacobian(table)[:, :, :_SEEN])}
        return self._last[key]

    def rows(self, vector: Array) -> tuple[Array, Array]:
        """Residuals (read − fitted) / sigma, and the derivatives of the fitted, (N,) and (N, 12)."""
        table, move = self._crosses(vector)
        step = table[self.ends[:, 0]] - table[self.ends[:, 1]]
        far = np.linalg.norm(step, axis=1)
        slope = np.einsum(
            "ni,nij->nj", step / far[:, None], move[self.ends[:, 0]] - move[self.ends[:, 1]]
        )
        return (self.read - far) / self.sigma, slope / self.sigma

    def _priors(self, vector: Array) -> tuple[Array, Array]:
        width = np.array([_PRIOR_K1, _PRIOR_K2, _PRIOR_CENTRE, _PRIOR_CENTRE])
        rows = np.zeros((4, 12))
        rows[np.arange(4), np.arange(8, 12)] = 1 / width
        return -vector[8:_SEEN] / width, rows

    def _gauge(self, vector: Array) -> tuple[Array, Array]:
        """Three rows that hold the table frame: the middle of the crosses, and the first row's turn."""
        table, move = self._crosses(vector)
        middle = table.mean(axis=0)
        arm = (self.px - self.px.mean(axis=0)) * (1, -1) / np.linalg.norm(np.ptp(self.px, axis=0))
        turn = float(np.sum(arm[:, 0] * table[:, 1] - arm[:, 1] * table[:, 0]))
        slope = np.einsum("n,nj->j", arm[:, 0], move[:, 1]) - np.einsum(
            "n,nj->j", arm[:, 1], move[:, 0]
        )
        return -np.array([*middle, turn]), np.vstack([move.mean(axis=0), slope])

    def start(self) -> Array:
        """A picture without keystone or lens, of the size that the readings say; y away from her."""
        apart = np.linalg.norm(self.px[self.ends[:, 0]] - self.px[self.ends[:, 1]], axis=1)
        per_mm = float(np.median(apart / self.read))
        mx, my = (self.size[0] - 1) / 2, (self.size[1] - 1) / 2
        matrix = np.array([[per_mm, 0, mx], [0, -per_mm, my], [0, 0, 1.0]])
        return ProjectorModel(self.size, matrix, np.array([mx, my])).vector()[:_SEEN]

    def without_one(self, start: Array, keep: Mask) -> tuple[int, Array]:
        """The reading without which the others agree best, and the parameters then."""
        tried = []
        for index in np.flatnonzero(keep).tolist():
            rest = keep.copy()
            rest[index] = False
            vector = self.solve(start, rest, 25)
            cost = float(
                np.sum(self.rows(vector)[0][rest] ** 2) + np.sum(self._priors(vector)[0] ** 2)
            )
            tried.append((cost, int(index), vector))
        _, index, vector = min(tried, key=lambda one: one[0])
        rest = keep.copy()
        rest[index] = False
        return index, self.solve(vector, rest)

    def solve(self, start: Array, keep: Mask, evaluations: int = 200) -> Array:
        """Parameters of least squares, by damped Gauss-Newton (Levenberg-Marquardt)."""
        from scipy.optimize import least_squares

        def parts(vector: Array) -> tuple[Array, Array]:
            with np.errstate(all="ignore"):
                read, slope = self.rows(vector)
                prior, prior_rows = self._priors(vector)
                gauge, gauge_rows = self._gauge(vector)
            missed = np.concatenate([read[keep], prior, gauge])
            slopes = np.vstack([slope[keep], prior_rows, gauge_rows])
            return np.nan_to_num(missed, nan=1e6), np.nan_to_num(slopes)

        def residual(vector: Array) -> Array:
            return parts(vector)[0]

        def jacobian(vector: Array) -> Array:
            return -parts(vector)[1]

        found = least_squares(
            residual,
            start,
            jac=jacobian,
            method="lm"
            if int(keep.sum()) >= _SHAPE_FREEDOMS
            else "trf",  # MINPACK's needs the rows
            xtol=1e-11,
            ftol=1e-11,
            max_nfev=evaluations,
        )
        return np.asarray(found.x)

    def covariance(self, vector: Array, keep: Mask) -> Array:
        """(12, 12) of the parameters, the frame held by the gauge rows."""
        _, slope = self.rows(vector)
        rows = np.vstack([slope[keep], self._priors(vector)[1], self._gauge(vector)[1]])
        return np.asarray(np.linalg.pinv(rows.T @ rows))

    def doubts(self, vector: Array, keep: Mask) -> Array:
        """(N,) the variance of what the fit predicts for each reading, in a reading's own: summed over
        those in the fit, how many readings' worth it takes for itself."""
        _, slope = self.rows(vector)
        return np.asarray(np.einsum("ij,jk,ik->i", slope, self.covariance(vector, keep), slope))

    def judge(self, vector: Array, keep: Mask) -> tuple[Array, Array, Array]:
        """Each reading against all others: residual and surplus in mm, surplus in deviations.

        With ``g`` the doubt of what the fit predicts for a reading (in readings): for a reading
        in the fit the residual is ``r = (1 - g)`` of the surplus (linear theory), for one left
        out it is the surplus itself.
        """
        residual, _ = self.rows(vector)
        doubt = self.doubts(vector, keep)
        free = np.where(keep, 1 - doubt, 1.0)
        spread = np.where(keep, np.maximum(1 - doubt, 0.0), 1 + doubt)
        checked = free > 0.02
        surplus = np.where(checked, residual / np.where(checked, free, 1.0), np.nan) * self.sigma
        scaled = np.where(checked, residual / np.sqrt(np.where(checked, spread, 1.0)), 0.0)
        return residual * self.sigma, surplus, scaled

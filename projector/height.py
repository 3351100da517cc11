"""Height: what mat and cloth add between the calibrated plane and the light, and what that costs.

Between the calibration and everything that draws. The light of a projector spreads: on a surface
``h`` nearer to the lens the picture is smaller by ``h / lens height``, drawn together about the
lens's foot (the point of the table straight below it). That factor alone is what falsifies a
piece's size; it needs the lens's height and nothing else. The foot says only how far the whole
picture stands aside, which does no harm where the lay is brought to the cloth by light.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from calibrate.calibration import Calibration
from configs.errors import InputError
from configs.reader import Reader
from configs.units import length_text
from drafting.placement import Array

if TYPE_CHECKING:
    from drafting import Docket


_KEYS = ("mat", "cloth", "layers", "lens_height", "lens_foot", "lens_distances")
# throw: lens distance over beam width. Ordinary home projectors lie at 1 and above, short-throw
# ones near 0.4 to 0.8 (common practice, no source); a slip of the unit lies far outside.
ORDINARY_THROW, SHORT_THROW = 1.0, 0.4
_LEAST_THROW, _MOST_THROW = 0.15, 6.0
_MOST_THICK_MM = 100.0
_TAPE_MM = 10.0  # how well the lens's height is read by tape
_FIT_MM = 15.0


@dataclass(frozen=True)
class Height:
    """What lies on the calibrated plane, and where the lens is. All None or 0: nothing known.

    ``mat_mm``: of a mat put on since the calibration (below 0: taken off); ``cloth_mm``: one layer
    of cloth, None when not measured; ``layers``: of cloth; ``lens_mm``: the lens above the
    calibrated plane; ``foot_mm``: (x, y) table mm straight below it.
    """

    mat_mm: float = 0.0
    cloth_mm: float | None = None
    layers: int = 1
    lens_mm: float | None = None
    foot_mm: tuple[float, float] | None = None

    @property
    def surface_mm(self) -> float:
        """Height of the cloth's upper side above the calibrated plane, as far as is known."""
        return self.mat_mm + self.layers * (self.cloth_mm or 0.0)

    def to_dict(self) -> dict[str, Any]:
        """Plain data for the docket's ``table: {height: …}``."""
        out: dict[str, Any] = {}
        if self.mat_mm:
            out["mat"] = _mm(self.mat_mm)
        if self.cloth_mm is not None:
            out["cloth"] = _mm(self.cloth_mm)
        if self.layers != 1:
            out["layers"] = self.layers
        if self.lens_mm is not None:
            out["lens_height"] = _mm(self.lens_mm)
        if self.foot_mm is not None:
            out["lens_foot"] = [_mm(v) for v in self.foot_mm]
        return out


def from_dict(data: Any, where: str = "table.height", *, folded: bool = False) -> Height:
    """Read what was noted; numbers without a unit are mm.

    ``lens_distances``: three or more ``[x, y, distance]`` from places on the table to the lens's
    foot, by tape, in place of ``lens_foot``. ``layers`` is 2 on folded cloth when not said.

    Raises:
        InputError: every fault of it.
    """
    reader = Reader(data, key=where, remedy="Example: {mat: 3 mm, cloth: 1 mm}")
    reader.done()
    reader.only(_KEYS)

    def length(key: str, low: float, high: float) -> float | None:
        given = key in reader.data
        return reader.length(key, low, high, least=max(low, 0.0)) if given else None

    mat = length("mat", -_MOST_THICK_MM, _MOST_THICK_MM) or 0.0
    cloth = length("cloth", 0.0, _MOST_THICK_MM)
    layers = reader.count("layers", 2 if folded else 1, high=40)
    lens = length("lens_height", 200.0, 10_000.0)
    foot = reader.point("lens_foot", 20_000.0) if "lens_foot" in reader.data else None
    if "lens_distances" in reader.data and foot is None and not reader.faults:
        foot = reader.tried(lambda: _foot(reader), None, "lens_distances")
    made = Height(mat, cloth, layers, lens, foot)
    if lens is not None and made.surface_mm > 0.5 * lens:
        reader.note("lens_height", f"{lens:g} mm is not far above the cloth.")
    reader.done()
    return made


def _foot(reader: Reader) -> tuple[float, float] | None:
    """The lens's foot from the distances to it; what they hold is noted."""
    rows = []
    for i, row in enumerate(reader.items("lens_distances")):
        if not isinstance(row, list | tuple) or len(row) != 3:
            reader.note("lens_distances", "should be rows of [x, y, distance], mm.", got=row)
            return None
        key = f"lens_distances[{i}]"
        least = (0.0, 0.0, 50.0)  # of the two places any, of the distance by tape
        ends = [
            reader.length(key, -20_000.0, 20_000.0, least=mm, value=v)
            for v, mm in zip(row, least, strict=True)
        ]
        rows.append(ends)
    if reader.faults:
        return None
    foot, left = foot_from_tape([r[:2] for r in rows], [r[2] for r in rows])
    if left > _FIT_MM:
        reader.note(
            "lens_distances",
            f"do not meet in one point ({left:.0f} mm apart).",
            "Measure them again, on the table, to the point under the plumb line.",
        )
    return foot


def height_of(
    docket: Docket, calibration: Calibration, table: Mapping[str, Any] | None = None
) -> Height:
    """What is known: the docket's own note first, then the lens's place in the calibration.

    The calibration's ``facts`` may hold ``lens_height_mm``, ``lens_foot_x_mm``, ``lens_foot_y_mm``
    (one rig serves many dockets). ``table``: the docket's as it stands now, when it is not saved.

    Raises:
        InputError: as `from_dict`.
    """
    folded = docket.cloth is not None and docket.cloth.folded
    noted = (docket.table if table is None else table).get("height") or {}
    made = from_dict(noted, f"{docket.path or 'docket'}: table.height", folded=folded)
    facts = calibration.facts
    lens = facts.get("lens_height_mm")
    if made.lens_mm is None and isinstance(lens, int | float) and lens > 0:
        made = replace(made, lens_mm=float(lens))
    x, y = facts.get("lens_foot_x_mm"), facts.get("lens_foot_y_mm")
    if made.foot_mm is None and isinstance(x, int | float) and isinstance(y, int | float):
        made = replace(made, foot_mm=(float(x), float(y)))
    return made


def corrected(calibration: Calibration, height: Height) -> Calibration:
    """The calibration of the cloth's upper side; the same one when the lens's height is unknown.

    Without the foot the middle of the beam stands in for it: sizes are right all the same, the
    picture as a whole may stand aside (see `off_by`).

    Raises:
        InputError: the lens is not well above the cloth.
    """
    if height.lens_mm is None or height.surface_mm == 0.0:
        return calibration
    foot = height.foot_mm if height.foot_mm is not None else _middle(calibration)
    return calibration.at_height(height.surface_mm, (foot[0], foot[1], height.lens_mm))


@dataclass(frozen=True)
class Doubt:
    """What height may still cost.

    ``per_metre_mm``: how much a line of one metre may be drawn too long or too short, worst case
    of what is not known; ``said``: all of it as sentences for her.
    """

    per_metre_mm: float
    said: tuple[str, ...]


def off_by(calibration: Calibration, height: Height) -> Doubt:
    """By how much lines may be off for want of a measurement, from what is known.

    A surface h above the calibrated plane scales the picture by 1 − h/H (similar triangles), H
    the lens's height; where H is not known the beam's width and the throw of common lenses bound
    it from below.
    """
    width = _beam_mm(calibration)[0]
    h = height.surface_mm
    notes: list[str] = []
    if height.lens_mm is not None:
        H = height.lens_mm
        throw = H / width
        if not _LEAST_THROW <= throw <= _MOST_THROW:
            notes.append(
                f"The lens is noted {length_text(round(H))} above a beam {length_text(round(width))} wide: "
                "that is unlikely; measure straight down from the lens to the table."
            )
        slip = 1000.0 * abs(h) * _TAPE_MM / H**2
        if height.cloth_mm is None:
            slip += 1000.0 / H
            notes.append(
                f"The cloth's thickness is not noted: each mm of it makes a metre {1000.0 / H:.1f} mm "
                "too short."
            )
        elif h:
            notes.append(f"Corrected for {h:g} mm above the calibrated table.")
        if height.foot_mm is None and h:
            aside = abs(h) / H * (0.5 * math.hypot(*_beam_mm(calibration)) + 0.6 * width)
            notes.append(
                f"The point under the lens is not noted: the picture as a whole may stand {aside:.1f} mm "
                "aside; sizes are right, and aligning by light takes it up."
            )
        return Doubt(slip, tuple(notes))
    ordinary, short = 1.0 / (ORDINARY_THROW * width), 1.0 / (SHORT_THROW * width)
    if height.cloth_mm is None and not height.mat_mm:
        notes.append(
            f"Neither the cloth's thickness nor the lens's height is noted: each mm of cloth makes a "
            f"metre up to {1000 * ordinary:.1f} mm too short ({1000 * short:.1f} mm under a "
            "short-throw lens)."
        )
        return Doubt(1000.0 * short, tuple(notes))
    if h == 0.0:
        return Doubt(0.0, ())
    where, which = ("above", "short") if h > 0 else ("below", "long")
    notes.append(
        f"The lens's height is not noted: {abs(h):g} mm {where} the calibrated table make a metre up "
        f"to {1000 * abs(h) * ordinary:.1f} mm too {which} ({1000 * abs(h) * short:.1f} mm under a "
        "short-throw lens). Measure straight down from the lens."
    )
    return Doubt(1000.0 * abs(h) * short, tuple(notes))


def notes(docket: Docket, calibration: Calibration) -> tuple[str, ...]:
    """What to tell her about height for this docket, by how much lines may be off included.

    Raises:
        InputError: what the docket notes has faults.
    """
    return off_by(calibration, height_of(docket, calibration)).said


def truth(docket: Docket, calibration: Calibration) -> str:
    """How true the light is, in one figure that holds every doubt that is known: ``true to 0.3 mm``.

    The root of the sum of squares of: the calibration's own error and the print's doubt (unread
    bars) at the beam's worst place, and what a line of a metre may be too long or too short for want
    of the cloth's thickness or the lens's height.
    """
    from calibrate.report import length_mm

    if calibration.method == "none":
        return "not to scale"
    grid = calibration.model.grid_mm()
    error = calibration.expected_error_mm(grid)
    bars = calibration.print_doubt_mm(grid)
    noted = height_of(docket, calibration)
    what = "the cloth's thickness" if noted.cloth_mm is None else "the lens's height"
    parts = {
        "": float(error.max()),
        "the bars are not read": float(bars.max()),
        f"{what} is not noted": off_by(calibration, noted).per_metre_mm,
    }
    whole = math.sqrt(sum(v * v for v in parts.values()))
    why = max(parts, key=lambda k: parts[k])
    if calibration.bars_mm is not None:
        why = why.replace("the bars are not read", "")
    step = 1.0 if whole > 9.9 else 0.1  # rounded up: never less than a part of it is told elsewhere
    told = step * math.ceil(whole / step - 1e-6) if whole >= 0.1 else whole
    words = f"true to {length_mm(told)}"
    return f"{words} at worst" + (f": {why}" if why and parts[why] > 0.7 * whole else "")


def foot_from_tape(
    places_mm: Sequence[Sequence[float]] | ArrayLike, distances_mm: ArrayLike
) -> tuple[tuple[float, float], float]:
    """The point under the lens from taped distances, and by how much they disagree at most.

    Least squares over the distances.

    Args:
        places_mm: (N, 2) table mm, N ≥ 3, not in one line.
        distances_mm: (N,) along the table to the point under a plumb line from the lens.

    Raises:
        InputError: fewer than three, in one line, or not finite.
    """
    from scipy.optimize import least_squares

    p = np.asarray(places_mm, dtype=np.float64)
    d = np.asarray(distances_mm, dtype=np.float64)
    fault = None
    if p.ndim != 2 or p.shape[1:] != (2,) or d.shape != (len(p),) or len(p) < 3:
        fault = "needs three places [x, y] or more, each with its distance."
    elif not (np.all(np.isfinite(p)) and np.all(np.isfinite(d)) and np.all(d >= 0)):
        fault = "holds a number that is no distance."
    elif np.linalg.svd(p - p.mean(axis=0), compute_uv=False)[1] < 20.0:
        fault = "the places lie in one line; take a third to the side."
    if fault:
        raise InputError.of("lens_distances", fault)
    # a start from the differences of the squares, which is linear
    rows = 2.0 * (p[1:] - p[0])
    right = np.sum(p[1:] ** 2, axis=1) - np.sum(p[0] ** 2) - d[1:] ** 2 + d[0] ** 2
    x = np.linalg.lstsq(rows, right, rcond=None)[0]

    def off(at: Array) -> Array:
        return np.asarray(np.hypot(*(at - p).T) - d)

    x = least_squares(off, x, xtol=1e-14, ftol=1e-14).x
    return (float(x[0]), float(x[1])), float(np.abs(off(x)).max())


def _middle(calibration: Calibration) -> tuple[float, float]:
    w, h = calibration.size
    x, y = calibration.to_table(np.array([[(w - 1) / 2.0, (h - 1) / 2.0]]))[0]
    return float(x), float(y)


def _beam_mm(calibration: Calibration) -> tuple[float, float]:
    w, h = calibration.size
    mids = np.array([[-0.5, h / 2.0], [w - 0.5, h / 2.0], [w / 2.0, -0.5], [w / 2.0, h - 0.5]])
    t = calibration.to_table(mids)
    return float(np.hypot(*(t[1] - t[0]))), float(np.hypot(*(t[3] - t[2])))


def _mm(value: float) -> str:
    return f"{value:.10g} mm"

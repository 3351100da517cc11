"""What every way of calibrating ends in: the projector over the table, both directions, with doubt.

Cards or a tape measure give a `ProjectorModel` and the covariance of its parameters; a
`Calibration` joins them with where they come from, is saved as YAML and carried to every frame
that is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from calibrate.arrays import Array
from calibrate.model import COUNT, EARLIER, TABLE_UNIT_MM, TERMS, ProjectorModel, points_2d
from calibrate.plane import apply
from configs.errors import Fault, InputError, short
from configs.files import FORMAT_VERSION, dump_yaml, read_yaml, write_atomic
from configs.reader import Reader

_KEPT, _DRAWS = 0.9, 2000  # what is told at the worst place holds nine times in ten
_MOST_LENS = 1e3  # far past any lens; how much is too much, `ProjectorModel.faults` says


def whole_covariance(covariance: Array) -> Array:
    """A covariance of earlier files, (12, 12) or (14, 14), with zeros for what they had not."""
    if covariance.shape in [(n, n) for n in EARLIER]:
        return np.pad(covariance, (0, COUNT - len(covariance)))
    return covariance


def without_rigid(model: ProjectorModel, covariance: Array) -> Array:
    """Covariance (17, 17) with the doubt of the frame itself taken out.

    Where the origin lies and how it is turned is a choice, not an error; what is left is the
    doubt of the beam's shape and size after the best rigid alignment over the whole beam.
    """
    covariance = whole_covariance(covariance)
    grid = model.grid_mm()
    shape = model.table_jacobian(grid).reshape(-1, COUNT)
    n = len(grid)
    rigid = np.zeros((2 * n, 3))
    rigid[0::2, 0] = 1.0
    rigid[1::2, 1] = 1.0
    rigid[0::2, 2] = -grid[:, 1] / TABLE_UNIT_MM
    rigid[1::2, 2] = grid[:, 0] / TABLE_UNIT_MM
    # a rigid move of the table is itself a change of the parameters: shape @ move = rigid
    move = np.linalg.lstsq(shape, rigid, rcond=None)[0]
    away = np.eye(COUNT) - move @ np.linalg.lstsq(rigid, shape, rcond=None)[0]
    out = away @ covariance @ away.T
    return np.asarray(0.5 * (out + out.T))


@dataclass(frozen=True)
class CardPlace:
    """Where a card lay while the photo was taken: the card's own frame in the table frame."""

    card: int
    at_mm: tuple[float, float]
    turn: float


@dataclass(frozen=True, eq=False)
class Calibration:
    """How the projector sees the table, how sure that is, and where it comes from.

    ``covariance``: (17, 17) of ``model.vector()``, freedom of the frame taken out; (12, 12) is
    taken for one without the tangential terms, (14, 14) for one without k3, s2 and s4.
    ``floor_mm``: what the model cannot know (flatness, lens terms it has not), rms, mm.
    ``bars_mm``: what her ruler read on the printed bars; None when not read (``scale_doubt`` is
    then the relative doubt of a printed length, one sigma).
    ``rms_px``: what the fit left over, projector px, rms; ``held_out_mm``: rms on the table of
    points kept out of the fit. ``cards``: where each card lay. ``facts``: further numbers.
    """

    model: ProjectorModel
    covariance: Array
    method: str
    date: str
    display: str = ""
    rms_px: float = 0.0
    held_out_mm: float | None = None
    floor_mm: float = 0.0
    bars_mm: tuple[float, float] | None = None
    scale_doubt: float = 0.0
    cards: tuple[CardPlace, ...] = ()
    facts: Mapping[str, float | str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        covariance = whole_covariance(np.array(self.covariance, dtype=np.float64))
        if covariance.shape != (COUNT, COUNT) or not np.all(np.isfinite(covariance)):
            raise InputError(f"the covariance is not a finite {COUNT} x {COUNT} matrix.")
        covariance.setflags(write=False)
        object.__setattr__(self, "covariance", covariance)

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of the projector's picture, px."""
        return self.model.size

    def to_projector(self, points_mm: ArrayLike) -> Array:
        """(N, 2) table mm to (N, 2) projector px; NaN past the projector's horizon."""
        return self.model.to_projector(points_mm)

    def to_table(self, points_px: ArrayLike) -> Array:
        """(N, 2) projector px to (N, 2) table mm; the exact inverse of `to_projector`."""
        return self.model.to_table(points_px)

    def expected_error_mm(self, points_mm: ArrayLike) -> Array:
        """(N,) rms distance, mm, by which the light may miss each table place.

        After the best rigid alignment; the corner noise carried through the fit, and the floor.
        The print's own doubt is not in it: see `print_doubt_mm`.
        """
        points = points_2d(points_mm, "points_mm")
        if len(points) == 0:
            return np.zeros(0)
        J = self.model.table_jacobian(points)
        variance = np.einsum("nij,jk,nik->n", J, self.covariance, J)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0) + self.floor_mm**2))

    def print_doubt_mm(self, points_mm: ArrayLike) -> Array:
        """(N,) what an unread printer scale may add at each place, mm, from the beam's middle."""
        points = points_2d(points_mm, "points_mm")
        middle = self.to_table([self.model.middle_px])
        return np.asarray(self.scale_doubt * np.hypot(*(points - middle).T))

    def worst_error_mm(self, with_print: bool = False) -> float:
        """What the light keeps within at every place of the beam in nine cases of ten, mm.

        The largest of many places is mostly well past what each of them is expected to miss by,
        so its distribution is sampled: parameters are drawn from the covariance (from Student's t
        where ``facts["freedom"]`` tells how many readings' worth the noise level rests on).

        Args:
            with_print: with what the print's scale may add (`print_doubt_mm`).
        """
        grid = self.model.grid_mm()
        values, vectors = np.linalg.eigh(self.covariance)
        shifts = self.model.table_jacobian(grid) @ (vectors * np.sqrt(np.maximum(values, 0.0)))
        if with_print:
            away = self.scale_doubt * (grid - self.to_table([self.model.middle_px]))
            shifts = np.concatenate([shifts, away[:, :, None]], axis=2)
        draw = np.random.default_rng(0)
        error = np.tensordot(shifts, draw.standard_normal((shifts.shape[2], _DRAWS)), axes=1)
        largest = np.sqrt(np.sum(error**2, axis=1).max(axis=0))
        freedom = self.facts.get("freedom")
        if isinstance(freedom, int | float) and freedom > 0:
            largest *= np.sqrt(freedom / draw.chisquare(freedom, _DRAWS))
        return float(np.hypot(np.quantile(largest, _KEPT), self.floor_mm))

    def beam_outline_mm(self, per_side: int = 24) -> Array:
        """(4 * per_side, 2) outer edge of the picture on the table, mm, counter-clockwise."""
        return self.model.beam_outline_mm(per_side)

    @property
    def unit(self) -> str:
        """'in' where she who made it reads inches, else 'mm'."""
        return "in" if self.facts.get("unit") == "in" else "mm"

    def told_in(self, unit: str) -> Calibration:
        """The same, told in inches from now on for ``unit`` in."""
        return replace(self, facts={**self.facts, "unit": "in"}) if unit == "in" else self

    def summary(self) -> dict[str, float]:
        """The few numbers a person asks for, mm: rms doubt, `worst_error_mm`, dot and beam size."""
        grid = self.model.grid_mm()
        error = self.expected_error_mm(grid)
        w, h = self.size
        mid = self.to_table([[-0.5, h / 2], [w - 0.5, h / 2], [w / 2, -0.5], [w / 2, h - 0.5]])
        return {
            "rms_mm": float(np.sqrt(np.mean(error**2))),
            "max_mm": self.worst_error_mm(),
            "dot_mm": self.model.mm_per_px(),
            "beam_width_mm": float(np.hypot(*(mid[1] - mid[0]))),
            "beam_height_mm": float(np.hypot(*(mid[3] - mid[2]))),
            "print_doubt_mm": float(self.print_doubt_mm(grid).max()),
        }

    def at_height(self, height_mm: float, lens_mm: ArrayLike) -> Calibration:
        """The calibration of a surface ``height_mm`` above the calibrated one.

        A ray that would meet the table at X0 meets the raised surface nearer to the lens's foot:
        ``X = F + (X0 - F) (1 - height / lens height)`` (similar triangles).

        Args:
            height_mm: thickness of what lies on the calibrated plane; negative when taken away.
            lens_mm: (3,) the lens in the table frame, z up from the calibrated plane.

        Raises:
            InputError: the lens is not well above the surface.
        """
        lens = np.asarray(lens_mm, dtype=np.float64)
        if lens.shape != (3,) or not np.all(np.isfinite(lens)) or not math.isfinite(height_mm):
            raise InputError("the lens's place must be three numbers: x, y and height in mm.")
        if lens[2] <= 0 or height_mm > 0.5 * lens[2]:
            raise InputError(
                Fault(
                    "lens_mm",
                    f"the lens stands {lens[2]:g} mm above the table and the surface {height_mm:g} mm.",
                    "Measure straight down from the lens to the table.",
                )
            )
        g = 1.0 - height_mm / lens[2]
        raised_from_table = np.array(
            [[g, 0, lens[0] * (1 - g)], [0, g, lens[1] * (1 - g)], [0, 0, 1.0]]
        )
        return self.moved(raised_from_table)

    def moved(self, new_from_old: ArrayLike) -> Calibration:
        """The same light in another table frame (``new_from_old`` (3, 3), mm; similarity)."""
        matrix = np.asarray(new_from_old, dtype=np.float64)
        model = self.model.moved(matrix)
        # the homography's nine entries move linearly; then all are divided by the last
        unit = np.diag([TABLE_UNIT_MM, TABLE_UNIT_MM, 1.0])
        nine = np.kron(np.eye(3), (np.linalg.inv(matrix @ unit) @ unit).T)
        last = nine[8] @ [*self.model.vector()[:8], 1.0]
        change = np.eye(COUNT)
        change[:8, :8] = (nine[:8] - np.outer(model.vector()[:8], nine[8]))[:, :8] / last
        angle = math.atan2(matrix[1, 0], matrix[0, 0])
        cards = tuple(
            CardPlace(c.card, tuple(apply(matrix, np.array([c.at_mm]))[0].tolist()), c.turn + angle)
            for c in self.cards
        )
        return replace(
            self, model=model, covariance=change @ self.covariance @ change.T, cards=cards
        )

    # -- file ----------------------------------------------------------------------------

    def save(self, path: str | Path) -> None:
        """Write the calibration whole or not at all.

        Raises:
            InputError: the place cannot be written to.
        """
        write_atomic(path, dump_yaml(self.to_dict()))

    def to_dict(self) -> dict[str, Any]:
        """Plain data of the file; numbers keep every digit."""
        return {
            "chalkbeam": FORMAT_VERSION,
            "holds": "calibration",
            "size": list(self.size),
            "projector_from_table": self.model.projector_from_table.tolist(),
            "lens": {
                "centre_px": self.model.centre_px.tolist(),
                **{name: getattr(self.model, name) for name in TERMS},
            },
            "method": self.method,
            "date": self.date,
            "display": self.display,
            "bars_mm": None if self.bars_mm is None else list(self.bars_mm),
            "scale_doubt": float(self.scale_doubt),
            "rms_px": float(self.rms_px),
            "held_out_mm": None if self.held_out_mm is None else float(self.held_out_mm),
            "floor_mm": float(self.floor_mm),
            "cards": [
                {"card": c.card, "at_mm": [float(v) for v in c.at_mm], "turn": float(c.turn)}
                for c in self.cards
            ],
            "facts": dict(self.facts),
            "covariance": self.covariance.tolist(),
        }

    @classmethod
    def load(cls, path: str | Path, size: tuple[int, int] | None = None) -> Calibration:
        """Read a saved calibration.

        Args:
            size: the picture size that it is wanted for, px; None takes any.

        Raises:
            InputError: missing, not ours, of another version or size, or with faults (all told).
        """
        calibration = cls.from_dict(read_yaml(path), str(path))
        if size is not None and tuple(size) != calibration.size:
            raise InputError(
                Fault(
                    f"{path}: size",
                    f"was made for a picture of {calibration.size[0]} x {calibration.size[1]} px; "
                    f"the projector now shows {size[0]} x {size[1]}.",
                    "Set the projector's own resolution, or calibrate again at this one.",
                )
            )
        return calibration

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], where: str = "") -> Calibration:
        """A calibration from plain data.

        Raises:
            InputError: with every fault that was found.
        """
        reader = Reader(data, file=where, remedy="Calibrate again, or mend the line.")
        if reader.get("holds") != "calibration":
            reader.note("holds", f"is {short(reader.get('holds'))}; this is not a calibration.")
        own = (f.name for f in fields(cls) if f.name != "model")
        reader.only(("chalkbeam", "holds", "size", "projector_from_table", "lens", *own))
        size = _array(reader, "size", (2,))
        matrix = _array(reader, "projector_from_table", (3, 3))
        lens = reader.sub("lens", (*TERMS, "centre_px"))
        if not reader.has("lens"):
            reader.note("lens", "is missing.")
        centre = _array(lens, "centre_px", (2,)) if lens.data else np.zeros(2)
        for name in ("k1", "k2"):
            if lens.data and not lens.has(name):
                lens.note(name, "is missing.")
        # files written before the later terms have neither them nor their doubt
        terms = [lens.number(name, 0.0, -_MOST_LENS, _MOST_LENS) for name in TERMS]
        rows = reader.get("covariance")
        count = len(rows) if isinstance(rows, list) and len(rows) in EARLIER else COUNT
        covariance = _array(reader, "covariance", (count, count))
        bars = None
        if reader.has("bars_mm"):
            read = _array(reader, "bars_mm", (2,))
            bars = (float(read[0]), float(read[1]))
        held_out = (
            reader.number("held_out_mm", 0.0, 0.0, 1e6) if reader.has("held_out_mm") else None
        )
        cards = tuple(_card_place(row) for row in reader.rows("cards", ("card", "at_mm", "turn")))
        facts = reader.sub("facts").data
        if not all(isinstance(v, int | float | str) for v in facts.values()):
            reader.note("facts", "must be a mapping of numbers and words.")
        if np.any(size < 16) or np.any(size > 32768) or np.any(size != np.round(size)):
            reader.note("size", f"{size.tolist()} is no picture size in px.")
        others: dict[str, Any] = {
            name: reader.number(name, 0.0, 0.0, 1e6)
            for name in ("scale_doubt", "rms_px", "floor_mm")
        }
        others |= {name: reader.text(name) for name in ("method", "date", "display")}
        reader.done()
        model = ProjectorModel((int(size[0]), int(size[1])), matrix, centre, *terms)
        unsound = [
            Fault(where, fault, "The file is damaged: calibrate again.") for fault in model.faults()
        ]
        if np.linalg.eigvalsh(covariance).min() < -1e-6 * max(1e-30, np.abs(covariance).max()):
            unsound.append(
                Fault(
                    f"{where}: covariance", "is not a covariance.", "Calibrate again, or leave it."
                )
            )
        if unsound:
            raise InputError(unsound)
        return cls(
            model,
            covariance,
            bars_mm=bars,
            held_out_mm=held_out,
            cards=cards,
            facts=dict(facts),
            **others,
        )


def _array(reader: Reader, key: str, shape: tuple[int, ...]) -> Array:
    found = reader.numbers(key, shape)
    return np.full(shape, 64.0) if found is None else np.array(found, dtype=np.float64)


def _card_place(row: Reader) -> CardPlace:
    at = _array(row, "at_mm", (2,))
    card = row.count("card", low=0, high=10_000) if row.has("card") else 0
    if not row.has("card"):
        row.note("card", "is missing.")
    return CardPlace(card, (float(at[0]), float(at[1])), row.number("turn", 0.0, -1e6, 1e6))

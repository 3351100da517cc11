"""A docket and a projector for the table's tests: no device, no file but where a test asks."""

from __future__ import annotations

import copy
import os
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate.calibration import Calibration
from calibrate.model import ProjectorModel
from configs.errors import InputError
from drafting.docket import Docket
from projector.picture import painter
from projector.session.hold import give_back, take
from projector.session.journal import Journal
from projector.tools import shape_room

Array = NDArray[np.float64]


def is_open(path: Path) -> bool:
    """Whether a docket is open at a table now: another one does not get it."""
    try:
        handle = take(path)
    except InputError as error:
        assert "another table" in str(error)
        return True
    give_back(path, handle)
    return False


def leave_unpainted(patch: Any) -> None:
    """No pixels are worked out: for what is asked of words and places alone. ``patch``: pytest's."""
    patch.setattr(painter.Painter, "paint", lambda of, item: painter.EMPTY)


_GRIPS: dict[str, Any] = {}


def remember_grips(patch: Any) -> None:
    """The grips of a garment are looked for once in a run: that takes dozens of drafts.

    ``patch``: pytest's monkeypatch.
    """
    real = shape_room.grips

    def grips(read: Docket) -> Any:
        key = repr((read.measurements, read.garment, read.unit))
        if key not in _GRIPS:
            _GRIPS[key] = real(read)
        return _GRIPS[key]

    patch.setattr(shape_room, "grips", grips)


def pull_the_plug(journal: Journal) -> None:
    """What is left of a table after kill -9: its files as they are, and no lock."""
    os.close(journal._lock)
    os.close(journal._file)
    journal._lock = journal._file = -1


def projector(
    size: tuple[int, int] = (1920, 1080),
    width_mm: float = 1300.0,
    *,
    keystone: float = 0.01,
    k1: float = 0.006,
    turn_deg: float = 0.0,
) -> Calibration:
    """A projector over a table: its beam about ``width_mm`` wide, lens and keystone as told."""
    w, h = size
    s = w / width_mm
    matrix = np.array(
        [[s, 0.02 * s, 12.0], [-0.01 * s, -s, h - 8.0], [keystone / 2000.0, keystone / 900.0, 1.0]]
    )
    c, n = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    matrix = matrix @ np.array([[c, -n, 0.0], [n, c, 0.0], [0.0, 0.0, 1.0]])
    model = ProjectorModel(size, matrix, np.array([w * 0.5 + 15.0, h * 0.55]), k1, 0.0)
    return Calibration(model, np.eye(12) * 1e-12, "test", "2026-11-20 10:00:00")


def _curve(p: Any, q: Any, bend: Any, n: int = 16) -> list[list[float]]:
    t = np.linspace(0.0, 1.0, n)[:, None]
    p, q, bend = (np.array(v, dtype=np.float64) for v in (p, q, bend))
    return ((1 - t) ** 2 * p + 2 * t * (1 - t) * bend + t * t * q)[1:].tolist()  # type: ignore[no-any-return]


TOP = [
    [0, 0],
    [265, 0],
    *_curve((265, 0), (255, 420), (240, 200)),
    *_curve((255, 420), (125, 610), (170, 440)),
    [80, 632],
    *_curve((80, 632), (0, 560), (70, 562)),
]
SLEEVE = [
    [0, 0],
    [330, 0],
    *_curve((330, 0), (345, 240), (350, 100)),
    *_curve((345, 240), (172, 370), (270, 360)),
    *_curve((172, 370), (0, 240), (70, 360)),
]

DATA: dict[str, Any] = {
    "chalkbeam": 1,
    "title": "rehearsal top",
    "wearer": "alto-3",
    "cloth": {
        "width": "1400 mm",
        "length": "2 m",
        "fold": "lengthwise",
        "nap": "two-way",
        "selvedge": "10 mm",
    },
    "allowances": {"all": "10 mm"},
    "pieces": [
        {"name": "front", "outline": TOP, "fold": [[0, 0], [0, 560]]},
        {"name": "sleeve", "outline": SLEEVE, "cut": 2, "pair": True},
        {"name": "neck-facing", "outline": [[0, 0], [200, 0], [200, 60], [0, 60]]},
    ],
    "lay": [
        {"piece": "front", "copy": 1, "at": [20, 0], "turn": 0, "mirrored": True},
        {"piece": "sleeve", "copy": 1, "at": [40, 660], "turn": 0},
        {"piece": "neck-facing", "copy": 1, "at": [700, 320], "turn": 0},
    ],
}


def docket(**changes: Any) -> Docket:
    """The docket of the tests, with some of its keys changed."""
    data = copy.deepcopy(DATA)
    data.update(changes)
    return Docket.from_dict(data)


def single_cloth(**changes: Any) -> Docket:
    """The same pieces on single cloth, laid apart."""
    lay = [
        {"piece": "front", "copy": 1, "at": [20, 320], "turn": 0},
        {"piece": "sleeve", "copy": 1, "at": [700, 620], "turn": 0},
        {"piece": "sleeve", "copy": 2, "at": [700, 650], "turn": 0, "mirrored": True},
        {"piece": "neck-facing", "copy": 1, "at": [20, 1000], "turn": 0},
    ]
    cloth = {"width": "1400 mm", "length": "2 m", "nap": "two-way", "selvedge": "10 mm"}
    return docket(cloth=cloth, lay=lay, **changes)


def crowd(how: str = "beam", **changes: Any) -> Docket:
    """36 pieces all over the beam.

    ``how``: ``beam``: nine of each of four shapes, all lit; ``long``: the same, a bay longer than
    the beam; ``turned``: sashes side by side with the lay a quarter turned, each right across it.
    """
    shapes = {
        "yoke": [[0, 0], [130, 0], [140, 85], *_curve((140, 85), (0, 80), (75, 130))],
        "cuff": [[0, 0], [140, 0], [140, 110], [0, 110]],
        "pocket": [[0, 0], [135, 0], [140, 80], [75, 112], [0, 80]],
        "gusset": [[0, 0], [140, 10], [120, 110], [20, 110]],
    }
    if how == "turned":
        shapes = {"sash": [[0, 0], [17, 0], [17, 690], [0, 690]]}
    lay = []
    for i in range(36):
        row, column = divmod(i, 9)
        name = list(shapes)[i % len(shapes)]
        pitch = 230 if how == "long" else 142
        at = [15 + pitch * column, 160 + 175 * row] if how != "turned" else [18, 40 + 34 * i]
        lay.append({"piece": name, "copy": i // len(shapes) + 1, "at": at, "turn": 0})
    view = {"turn": 0.0, "at": [0.0, 0.0], "mirror": False, "side": "near"}
    if how == "turned":
        view = {**view, "turn": 90.0, "at": [1282.0, 0.0]}
    data: dict[str, Any] = {
        "cloth": {"width": "1400 mm", "length": "3 m"},
        "allowances": {"all": "5 mm"},
        "pieces": [{"name": n, "outline": s, "cut": 36 // len(shapes)} for n, s in shapes.items()],
        "lay": lay,
        "table": {"view": view},
    }
    return docket(**{**data, **changes})

"""The whole job on the virtual table: draft, lay, calibrate, project, measure.

Only the devices are virtual: a camera, a projector and a table that follow light ray by ray. Every
other line is the code that runs on the real table, and nothing is handed over behind its back: the
calibration is solved from the JPEG that lies in the folder.
"""

from __future__ import annotations

import dataclasses
import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import InputError
from configs.files import read_text, write_atomic
from drafting.placement import carry
from projector.output import DRAWING, JSON, PDF, write, write_picture
from projector.trueness import Trueness, best_rigid, measure

if TYPE_CHECKING:
    from calibrate.calibration import Calibration
    from calibrate.pattern import Pattern
    from calibrate.simulate import Sheet, VirtualTable
    from drafting import Docket

SIZE = (1920, 1080)
BEAM_WIDTH_MM = 1270.0
DOCKET = Path("dockets") / "rehearsal-top.yaml"
REPORT = "report.json"
_COPIES = ("docket.yaml", "measurements.yaml", "calibration.yaml")


@dataclass(frozen=True)
class Outcome:
    """What the demo made: its folder, figures for people and the whole report."""

    folder: Path
    trueness: Trueness
    report: dict[str, Any]


def run(
    folder: Path,
    configs: Path,
    *,
    seed: int = 3,
    seconds: float = 2.0,
    say: Callable[[str], None] = lambda _: None,
) -> Outcome:
    """Do the whole job and leave its pictures and figures in ``folder``.

    Args:
        folder: made when missing; what an earlier demo left in it is replaced.
        configs: folder of the shipped examples.
        seed: of the virtual rig: another number, another table, projector and phone.
        seconds: for the planner.
        say: told what is being done, one line a stage.

    Raises:
        ChalkbeamError: as the real commands do.
    """
    from calibrate.calibration import Calibration
    from calibrate.cards import BARS_MM, cards_pdf
    from calibrate.detect import detect
    from calibrate.pattern import pattern_for
    from calibrate.photo import read_photo
    from calibrate.simulate import VirtualCamera, VirtualTable
    from calibrate.solve import solve_photos
    from drafting import Docket
    from drafting.export.svg import pieces_svg
    from projector.lay_picture import lay_picture
    from projector.laying import laid
    from projector.picture.scene import render

    began = time.perf_counter()
    _is_for_a_demo(folder)
    folder.mkdir(parents=True, exist_ok=True)
    times: dict[str, float] = {}

    def stage(name: str, text: str) -> None:
        times[name] = time.perf_counter()
        say(text)

    stage("draft", "Drafting the quick top from alto-3's measurements")
    source = Docket.load(configs / DOCKET)
    docket = _own_copy(source, folder)
    draft = docket.draft()
    checks = draft.checks()
    pieces = docket.pieces()
    allowances = {n: docket.allowances_for(n) for n in pieces}
    write(folder / "draft.svg", pieces_svg(pieces, allowances, title=docket.title), DRAWING)

    stage("lay", "Laying the pieces on the folded cloth")
    docket, _ = laid(docket, seconds)
    docket.save()
    assert docket.cloth is not None
    write_picture(folder / "lay.png", lay_picture(docket))

    stage("cards", "Printing the cards and the pattern")
    pattern = pattern_for(SIZE, BEAM_WIDTH_MM)
    write(folder / "cards.pdf", cards_pdf("a4"), PDF)
    write_picture(folder / "pattern.png", pattern.image())

    stage("photo", "Laying the cards on the virtual table and photographing them")
    table = VirtualTable.random(seed, SIZE, beam_width_mm=BEAM_WIDTH_MM, surface="cloth")
    sheets = lay_cards(table, pattern, seed)
    camera = VirtualCamera.phone(seed, table.beam_mm())
    photo = table.with_sheets(sheets).photograph(pattern.image(), camera, seed)
    write_picture(folder / "photo.jpg", photo)

    stage("solve", "Solving the calibration from photo.jpg")
    seen = detect(read_photo(folder / "photo.jpg"), SIZE, name="photo.jpg")
    calibration = solve_photos([seen], bars_mm=BARS_MM)
    calibration.save(folder / "calibration.yaml")
    calibration = Calibration.load(folder / "calibration.yaml", SIZE)

    stage("project", "Projecting the lay")
    docket = Docket.load(folder / "docket.yaml")
    frame = render(docket, calibration)
    write_picture(folder / "frame.png", frame)

    stage("measure", "Measuring where the lines fall on the table")
    picture, _ = dataclasses.replace(table, surface="cloth", ambient=0.07).throw(
        frame, 0.8, exposure=2.5
    )
    write_picture(folder / "table.png", picture)
    trueness = measured(table, frame, docket, calibration)
    ended = time.perf_counter()

    spent = np.diff([*times.values(), ended]).round(2).tolist()
    took = dict(zip(times, spent, strict=True))
    off = {how: getattr(trueness, f"{how}_mm") for how in ("rms", "p95", "max")}
    report = {
        "docket": docket.title,
        "wearer": docket.wearer,
        "checks": [
            {"name": c.name, "value_mm": c.value_mm, "limit_mm": c.limit_mm, "ok": bool(c.ok)}
            for c in checks
        ],
        "lay": {"pieces": [p.key for p in docket.placed()]},
        "calibration": {k: float(v) for k, v in calibration.summary().items()},
        "trueness": {
            **{f"{how}_mm": mm for how, mm in off.items()},
            **{f"{how}_px": mm / trueness.mm_per_px for how, mm in off.items()},
            "mm_per_px": trueness.mm_per_px,
            "places_measured": len(trueness.errors_mm),
            "places_asked": trueness.asked,
        },
        "seed": seed,
        "seconds": {**took, "whole": round(ended - began, 2)},
    }
    text = json.dumps({"chalkbeam": 1, **report}, indent=2, allow_nan=False) + "\n"
    write(folder / REPORT, text, JSON)
    return Outcome(folder, trueness, report)


def measured(
    table: VirtualTable, frame: NDArray[np.uint8], docket: Docket, calibration: Calibration
) -> Trueness:
    """How far the frame's cutting lines fall on the virtual table from where the draft has them.

    The table frame's place in the world is free (the calibration chose its origin), so distances
    are taken after the best rigid alignment, without scale.
    """
    from projector.picture.on_table import faces_of, view_of

    faces = faces_of(docket)
    table_from_cloth = view_of(docket, calibration).table_from_cloth
    pieces = docket.pieces()
    lines = [
        carry(
            table_from_cloth @ p.cloth_from_piece,
            cut_line(faces.of(p).outline, on_fold=pieces[p.piece].fold is not None),
        )
        for p in docket.placed()
    ]
    w, h = calibration.size
    grid = np.stack(np.meshgrid(np.linspace(0, w - 1, 9), np.linspace(0, h - 1, 7)), -1)
    px = grid.reshape(-1, 2)
    world = table.projector.to_table(px)
    beam = table.beam_mm(8)
    return measure(
        lambda points: table.light(frame, points).sum(axis=1),
        lines,
        world_from_table=best_rigid(calibration.to_table(px), world),
        beam_mm=beam,
        mm_per_px=calibration.model.mm_per_px(),
    )


def cut_line(outline: NDArray[np.float64], *, on_fold: bool) -> NDArray[np.float64]:
    """The part of an outline (N, 2) that is cut: all of it, closed, or without the fold at x = 0."""
    if on_fold:
        folded = np.abs(outline[:, 0]) < 1e-6
        last = np.flatnonzero(folded & ~np.roll(folded, -1))
        if len(last) == 1:
            ring = np.roll(outline, -int(last[0]), axis=0)
            ends = np.flatnonzero(np.abs(ring[1:, 0]) < 1e-6)
            return np.asarray(ring[: int(ends[0]) + 2])
    return np.vstack([outline, outline[:1]])


def lay_cards(table: VirtualTable, pattern: Pattern, seed: int) -> tuple[Sheet, ...]:
    """The four printed cards on the table, one in each bright window, as a hand lays them."""
    from calibrate.cards import card_images
    from calibrate.simulate import Sheet

    rng = np.random.default_rng([seed, 77])
    px_per_mm = 8.0
    sheets = []
    for (x, y, w, h), picture in zip(
        pattern.windows, card_images("a4", px_per_mm).values(), strict=False
    ):
        middle = np.array([[x + (w - 1) / 2, y + (h - 1) / 2]])
        at = table.projector.to_table(middle)[0] + rng.uniform(-6, 6, 2)
        size = (picture.shape[1] / px_per_mm, picture.shape[0] / px_per_mm)
        turn = float(rng.uniform(-9, 9))
        sheets.append(Sheet(picture, size, (float(at[0]), float(at[1])), turn))
    return tuple(sheets)


def _is_for_a_demo(folder: Path) -> None:
    """Refuse a folder with a docket that no demo put there."""
    there = [name for name in _COPIES if (folder / name).exists()]
    if there and not (folder / REPORT).is_file():
        what = f"holds {', '.join(there)}, and not from a demo; it would be lost."
        raise InputError.of(str(folder), what, "Name another folder: --out DIR.")


def _own_copy(source: Docket, folder: Path) -> Docket:
    """The shipped docket and its measurements, copied so that they can be opened and changed."""
    from drafting import Docket

    if source.measurements is not None:
        source.measurements.save(folder / "measurements.yaml")
    text = read_text(source.path) if source.path else ""
    lines = [
        "measurements: measurements.yaml" if line.startswith("measurements:") else line
        for line in text.splitlines()
    ]
    write_atomic(folder / "docket.yaml", "\n".join(lines) + "\n")
    return Docket.load(folder / "docket.yaml")

"""Words on the pieces at the table: none cut off, which copy it is, what a mark stands for."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
import shapely
from table_rig import docket, projector

from drafting.blocks import draft
from drafting.measurements import Measurements
from projector.picture.faces import LEAST_TEXT_MM, LabelRoom, face_of
from projector.picture.on_table import copy_of
from projector.picture.stage import Stage
from projector.session import words
from projector.session.sitting import Sitting

SINGLE = {"width": "1400 mm", "length": "2 m", "nap": "none", "selvedge": "10 mm"}
FOLDED = {**SINGLE, "fold": "lengthwise"}


def label_of(name: str, width: float, height: float, more: tuple[str, ...] = ()) -> Any:
    """The label of a plain upright rectangle, and its room."""
    piece = docket(
        pieces=[{"name": name, "outline": [[0, 0], [width, 0], [width, height], [0, height]]}],
        lay=[], cloth=SINGLE,
    ).pieces()[name]  # fmt: skip
    face = face_of(piece, {"all": 10.0}, None)
    room = LabelRoom(face, np.eye(3), 0.0, ("sewing", "grain"))
    return face, room.place((*face.words, *more))


@pytest.mark.parametrize("size", [(60.0, 700.0), (45.0, 700.0), (700.0, 45.0), (90.0, 120.0)])
def test_no_word_of_a_label_is_cut_off(size: tuple[float, float]) -> None:
    """A band lying upright, a narrow one, a small pocket: every word, 8 mm tall or more, inside."""
    for name in ("waistband", "back patch pocket"):
        if size == (90.0, 120.0) and name == "waistband":
            continue
        face, label = label_of(name, *size)
        assert label is not None and label.words == tuple(face.words)
        assert label.height_mm >= LEAST_TEXT_MM
        inside = shapely.Polygon(face.outline)
        lines = shapely.MultiLineString([*face.lines["sewing"], *face.lines["grain"]])
        for stroke in label.strokes:
            drawn = shapely.LineString(stroke)
            assert inside.contains(drawn)
            assert lines.distance(drawn) > 0.5


def test_a_label_stands_upright_wherever_it_can() -> None:
    """Where all of it has room upright it is not turned: it is as wide as its longest row."""
    _, label = label_of("waistband", 300.0, 300.0)
    spread = np.ptp(np.concatenate(label.strokes), axis=0)
    assert label.height_mm == 13.0 and spread[0] > spread[1]


@pytest.mark.parametrize(
    ("cut", "quantity", "copies", "cloth", "told"),
    [
        (2, 1, 2, SINGLE, ["1 of 2", "2 of 2"]),
        (1, 1, 1, SINGLE, [""]),
        (2, 1, 1, FOLDED, [""]),  # 'cut 2', and it lies on both layers
        (4, 1, 2, FOLDED, ["1 and 2 of 4", "3 and 4 of 4"]),
        (3, 1, 2, FOLDED, ["1 and 2 of 3", "3 of 3"]),
        (2, 2, 4, SINGLE, ["1 of 4", "2 of 4", "3 of 4", "4 of 4"]),
    ],
)
def test_each_laid_copy_says_which_of_how_many(
    cut: int, quantity: int, copies: int, cloth: dict[str, Any], told: list[str]
) -> None:
    """Every piece that is wanted is told once over all the copies laid (counted by hand)."""
    outline = [[0, 0], [130, 0], [130, 110], [0, 110]]
    lay = [
        {"piece": "pouch", "copy": n + 1, "at": [100 + 200 * n, 300], "turn": 0}
        for n in range(copies)
    ]
    read = docket(
        pieces=[{"name": "pouch", "outline": outline, "cut": cut}],
        lay=lay, cloth=cloth, quantity=quantity,
    )  # fmt: skip
    said = [copy_of(read, read.lay, p, on_fold=False) for p in read.lay]
    assert said == told
    sitting = Sitting(read, projector())
    for p, which in zip(sitting.state.work.placed(), told, strict=True):
        sitting.state.stage.piece(p, words.shown(sitting.state, p))
        shown = [label.words for label in sitting.state.stage._labels.values() if label is not None]
        assert not which or any(which in w for w in shown)
        assert not which or not any(row.startswith("cut ") for row in itertools.chain(*shown))


def test_zip_and_slit_have_words_beside_their_marks() -> None:
    """The skirt's back says 'zip' and 'slit' by the bars, off every line, and its label keeps off."""
    body = {"waist_girth": 72, "hip_girth": 96, "waist_to_hip": 20.6}
    m = Measurements.from_dict({"unit": "cm", "wearer": "alto-3", "measurements": body})
    piece = draft("straight-skirt", m, {"centre_back": "fold"}, None).pieces["back"]
    face = face_of(piece, {"all": 10.0}, None)
    assert {w.split()[2] for w, _ in face.beside} == {"zip", "slit"}
    kinds = ("sewing", "grain", "dart", "notch", "mark", "inner")
    for deg in (0.0, 90.0, 180.0, 37.0):
        room = LabelRoom(face, np.eye(3), deg, kinds)
        words = shapely.MultiLineString(list(room.beside))
        assert shapely.Polygon(face.outline).contains(words)
        drawn = shapely.MultiLineString([line for k in kinds for line in face.lines[k]])
        assert drawn.distance(words) > 0.5
        for _, line in face.beside:
            assert shapely.LineString(line).distance(words) < 40.0
        label = room.place(face.words)
        assert label is not None and words.distance(shapely.MultiLineString(label.strokes)) > 1.0


def test_a_slit_on_an_opened_piece_tells_its_size_once() -> None:
    """Both halves of the slit's bar meet at the centre: one word; two darts far apart keep theirs."""
    from configs import shipped
    from drafting.cloth import Cloth
    from drafting.export.marks import mark_words, told_once

    m = Measurements.load(shipped("measurements", "alto-3.yaml"))
    piece = draft("quick-top", m, {"opening": "slit"}, None).pieces["back"]
    single = Cloth.from_dict({"width": "1400 mm", "fold": "none"})
    face = face_of(piece, {"all": 10.0}, single)
    assert [w for w, _ in face.beside if "slit" in w] == [face.beside[0][0]]
    assert [w.text for w in mark_words(piece.opened())].count(face.beside[0][0]) == 1
    far = [("zip 18 cm", np.array([[x, 0.0], [x, 9.0]])) for x in (0.0, 20.0, 200.0)]
    assert [float(line[0, 0]) for _, line in told_once(far)] == [0.0, 200.0]


def test_words_beside_marks_are_drawn_when_it_is_the_pieces_turn() -> None:
    """Bright or plain they are on the beam; a faint piece shows neither mark nor words."""
    sitting = Sitting(docket(), projector())
    stage: Stage = sitting.state.stage
    from dataclasses import replace

    from projector.picture.stage import PieceState

    (p,) = [q for q in sitting.state.work.placed() if q.piece == "sleeve"]
    plain = stage.faces["sleeve"]
    stage.faces["sleeve"] = replace(
        plain, beside=(("slit 6.5 cm", np.array([[100.0, 10.0], [100.0, 25.0]])),)
    )
    count = {}
    for emphasis in ("plain", "bright", "faint"):
        item = stage.piece(p, PieceState(emphasis))
        count[emphasis] = sum(1 for m in item.marks if m.kind == "label")
    assert count == {"plain": 2, "bright": 2, "faint": 1}

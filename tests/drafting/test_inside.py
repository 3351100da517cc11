"""What is sewn to the inside of an uneven piece fits it, each with its own face up.

As in test_faces_of_cloth: the facing is turned over and laid on the garment right sides together, and
edge is held against edge; nothing of the product's own rule is read.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from test_changes import changed, failing, top
from test_faces_of_cloth import OVER, gap

from drafting.piece import Piece

UNEVEN: dict[str, tuple[list[dict[str, Any]], str]] = {
    "opened out": (
        [
            {"unfold": "front"},
            {"spread": "front", "from": "neckline 40 % from left shoulder", "to": "hem 40 % from left side", "by": 4, "hinge": "hem"},
        ],
        "front",
    ),
    "left of a pair": (
        [
            {"seam at fold": "back"},
            {"part": "back"},
            {"spread": "left back", "from": "neckline 1/2", "to": "hem 1/2", "by": 2},
        ],
        "left back",
    ),
}  # fmt: skip


def fits(body: Piece, inside: Piece, edges: list[str]) -> tuple[float, float]:
    """The worst gap (mm) of edges held together: right sides together, and cut the wrong way round.

    What meets the edges is held along for 3 cm, so that it is seen which of their ends is which.
    """

    def line(piece: Piece, edge: str, flip: bool) -> np.ndarray:
        ring = list(piece.edges)
        i = ring.index(edge)
        ends = [piece.edges[ring[k % len(ring)]] for k in (i - 1, i + 1)]
        before, after = (
            np.array([e.at(x)[0] for x in xs])
            for e, xs in zip(
                ends,
                (
                    np.linspace(ends[0].length_mm - 30.0, ends[0].length_mm, 9)[:-1],
                    np.linspace(0.0, 30.0, 9)[1:],
                ),
                strict=True,
            )
        )
        points = np.concatenate([before, piece.edges[edge].points, after])
        return points * OVER if flip else points

    both = [
        max(gap(line(body, e, False), line(inside, e, flip)) for e in edges)
        for flip in (True, False)
    ]
    return both[0], both[1]


@pytest.mark.parametrize("how", UNEVEN)
def test_a_facing_of_an_uneven_piece_is_not_mirrored(how: str) -> None:
    """Its neckline and its shoulders lie on those of the piece within 0.5 mm, on both sides; cut the
    other way round it would not fit, and it is as its own face is seen."""
    entries, name = UNEVEN[how]
    work = changed(
        top(), *entries, {"face": name, "edges": ["neckline"], "width": 6, "as": "facing"}
    )
    body, facing = work.pieces[name], work.pieces["facing"]
    right, wrong = fits(body, facing, ["neckline"])
    assert right < 0.5
    assert wrong > 3.0
    # the stretches of the seams that it crosses: each on its own side, from the neck outward
    for edge in [e for e in facing.edges if "shoulder" in e]:
        neck = facing.edges["neckline"].points
        ends = facing.edges[edge].points[[0, -1]] * OVER
        near = ends[np.argmin([np.hypot(*(neck * OVER - p).T).min() for p in ends])]
        there = body.edges[edge].points[[0, -1]]
        assert np.hypot(*(there - near).T).min() < 0.5, edge
    assert failing(work) == []


@pytest.mark.parametrize("how", UNEVEN)
@pytest.mark.parametrize("kind", ["lining", "interfacing"])
def test_linings_and_interfacings_are_turned_too(how: str, kind: str) -> None:
    """A copy that is laid inside has the outline of the piece as it is seen from inside."""
    entries, name = UNEVEN[how]
    work = changed(top(), *entries, {"copy": name, "for": kind})
    body, inside = work.pieces[name], work.pieces[f"{name} {kind}"]
    across = [sorted(p.sewing_line[:, 0]) for p in (body, inside)]
    np.testing.assert_allclose(across[0], -np.array(across[1][::-1]), atol=1e-4)
    if kind == "lining":
        assert fits(body, inside, ["neckline"])[0] < 0.5


def test_of_a_pair_and_on_a_fold_nothing_is_turned() -> None:
    """A pair has both its halves, a fold too: their facings lie as the pieces do."""
    entry = {"face": "back", "edges": ["neckline"], "width": 6, "as": "facing"}
    for first in ([], [{"seam at fold": "back"}]):
        work = changed(top(), *first, entry)
        assert gap(work.pieces["back"].edges["neckline"].points, work.pieces["facing"].edges["neckline"].points) < 0.5  # fmt: skip
        assert work.pieces["facing"].sewing_line[:, 0].min() > -1e-6

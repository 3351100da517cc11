"""Names in the lay's picture: readable, and never over a line that is cut along."""

from __future__ import annotations

import numpy as np
import pytest

from drafting.cloth import Cloth
from drafting.lay.model import Lay
from drafting.lay.planner import lay_as_it_is
from drafting.piece import Piece
from drafting.placement import Placement
from projector import lay_picture as drawing


def box(name: str, wide: float, high: float, cut: int = 1) -> Piece:
    return Piece.from_outline(name, [(0, 0), (wide, 0), (wide, high), (0, high)], cut=cut)


def crowded() -> Lay:
    """A front, pockets, a collar of two horns, slanted strips, a drawstring of 6 mm; 5 mm apart."""
    pieces = {
        "front": box("front", 500, 600),
        "patch pocket": box("patch pocket", 130, 150, 4),
        "neckband": box("neckband", 30, 560, 4),
        "drawstring": box("drawstring", 6, 400, 2),
        "facing": Piece.from_outline(
            "facing", [(0, 0), (60, 0), (150, 200), (240, 0), (300, 0), (180, 300), (120, 300)]
        ),
    }
    laid = [Placement("front", 1, (0.0, 500.0))]
    laid += [Placement("patch pocket", n, (620.0 + 170.0 * (n - 1), 500.0)) for n in range(1, 5)]
    laid += [Placement("neckband", n, (20.0, 560.0 + 35.0 * n), 20.0) for n in range(1, 5)]
    laid += [Placement("drawstring", n, (700.0, 600.0 + 12.0 * n)) for n in (1, 2)]
    laid += [Placement("facing", 1, (650.0, 300.0))]
    cloth = Cloth.from_dict({"width": "1400 mm", "fold": "none"})
    return lay_as_it_is(pieces, cloth, laid)


def drawn(lay: Lay, labels: bool, patch: pytest.MonkeyPatch, width: int = 1600) -> drawing._Picture:
    picture = drawing._Picture(lay, "crowded", width)
    with patch.context() as quiet:
        if not labels:
            quiet.setattr(drawing._Picture, "text", lambda *a, **k: None)
            quiet.setattr(drawing._Picture, "_plate", lambda *a, **k: None)
        picture.drawn()
    return picture


@pytest.mark.parametrize("width", [1100])
def test_no_label_blots_out_an_outline(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every pixel of an outline or a grain arrow is the same with the names and without them."""
    plain = drawn(crowded(), False, monkeypatch, width).image
    named = drawn(crowded(), True, monkeypatch, width).image[: len(plain)]
    lines = np.abs(plain.astype(int) - drawing._LINE["single"]).max(axis=2) < 12
    changed = np.abs(plain.astype(int) - named).max(axis=2) > 40
    assert lines.sum() > 5_000 and changed.sum() > 1_500
    assert not (lines & changed).any(), np.argwhere(lines & changed)[:5]


def test_each_piece_is_named_or_numbered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Names or numbers for all twelve; what is slimmer than a number has it beside it, with a line;
    the list of names below is never cut off."""
    seen: list[tuple[str, float, float]] = []
    write = drawing._Picture.text

    def heard(
        self: drawing._Picture, at: object, words: str, size: float, colour: object, **k: object
    ) -> None:
        left = float(at[0]) - (self.width_of(words, size) / 2 if k.get("middle", True) else 0)  # type: ignore[index]
        seen.append((words, left, left + self.width_of(words, size)))
        write(self, at, words, size, colour, **k)  # type: ignore[arg-type]

    monkeypatch.setattr(drawing._Picture, "text", heard)
    picture = drawn(crowded(), True, monkeypatch, 900)
    words = [w for w, _, _ in seen]
    assert [n for n, _ in picture.outside] and {"drawstring 1", "drawstring 2"} <= set(
        picture.numbered
    )
    listed = "   ".join(picture.legend)
    for p in crowded().placements:
        name = f"{p.piece} {p.copy}" if p.piece not in ("front", "facing") else p.piece
        assert name in words or name in listed, name
    for i in range(1, len(picture.numbered) + 1):
        assert words.count(str(i)) >= 1
    assert all(left >= 0 and right <= picture.w for _, left, right in seen)


def test_a_plain_lay_names_every_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    """Large pieces have their names in them, and nothing stands below."""
    cloth = Cloth.from_dict({"width": "1400 mm", "fold": "none"})
    lay = lay_as_it_is(
        {"front": box("front", 500, 600)}, cloth, [Placement("front", 1, (0.0, 600.0))]
    )
    picture = drawn(lay, True, monkeypatch)
    assert picture.numbered == [] and picture.legend == []


@pytest.mark.parametrize("width", ["54 in", "1371 mm", "50 in"])
def test_her_own_width_stands_once_among_those_sold(width: str) -> None:
    """Cloth of 54 in is one row of the table of widths, not two that read alike."""
    from configs.units import format_length
    from drafting.lay.advice import WIDTHS_MM, compare_widths

    cloth = Cloth.from_dict({"width": width, "fold": "none", "nap": "one-way"})
    found = compare_widths(
        {"bib": box("bib", 80, 90)}, cloth, seconds=0.0, widths_mm=WIDTHS_MM["yd"]
    )
    rows = {c.width_mm for c in found}
    told = [format_length(w, "in") for w in sorted(rows)]
    assert len(told) == len(set(told)) == (5 if width == "50 in" else 4), told

"""Intake: outlines that she already has, from SVG and DXF files, into a docket's pieces.

Beside the drafting flow: what a block would draft is read from a file instead. Readers
(`svg`, `dxf`) give chains of segments, `found` judges them, `adopt` turns an outline into a
`drafting.piece.Piece` with grain, fold and cutting instructions that she names.
"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

from configs.errors import Fault, InputError

if TYPE_CHECKING:
    from drafting.intake.found import Found

UNITS = ("mm", "cm", "in", "pt", "px")


def read_outlines(path: str | Path, unit: str | None = None, only: Collection[str] = ()) -> Found:
    """The closed outlines of a drawing file (.svg or .dxf), in mm, y up.

    Args:
        path: the file.
        unit: what one unit of the drawing is (`UNITS`), used only when the file does not say.
        only: names of the outlines wanted; what is wrong with others is then a note.

    Raises:
        InputError: neither kind of file, hostile or past the limits, no unit declared and none
            given, or an outline that cannot be a piece.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind == ".svg":
        from drafting.intake.svg import read_svg

        return read_svg(path, unit, only)
    if kind == ".dxf":
        from drafting.intake.dxf import read_dxf

        return read_dxf(path, unit, only)
    raise InputError(
        Fault(
            str(path),
            f"ends in '{kind}'; outlines are read from .svg and .dxf files.",
            "Save the drawing as SVG or DXF from the program it came from.",
        )
    )

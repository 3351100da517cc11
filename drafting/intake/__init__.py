"""Intake: outlines that she already has, from SVG and DXF files, into a docket's pieces.

Beside the drafting flow: what a block would draft is read from a file instead. Readers (`svg`,
`dxf`) give lines (`drawn`), `judge` and `group` tell the outlines among them (`found`), `adopt`
turns an outline into a `drafting.piece.Piece` with the grain, fold and cutting instructions that
she names (`details`: what lies on it and inside), `cutting` tells its cutting line as allowances.
"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

from configs.errors import InputError
from configs.files import read_bytes

if TYPE_CHECKING:
    from drafting.intake.found import Found

UNITS = ("mm", "cm", "in", "pt", "px")


def read_outlines(
    path: str | Path, unit: str | None = None, only: Collection[str] = (), scale: float = 1.0
) -> Found:
    """The closed outlines of a drawing file (.svg or .dxf), in mm, y up.

    Args:
        path: the file.
        unit: what one unit of the drawing is (`UNITS`); it goes before what the file says.
        only: names of the outlines wanted; what is wrong with others is then a note.
        scale: everything is made so many times as large, for a file drawn at a wrong scale.

    Raises:
        InputError: neither kind of file, hostile or past the limits, no unit declared and none
            given, or an outline that cannot be a piece.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind == ".svg":
        from drafting.intake import svg

        return svg.svg_outlines(read_bytes(path, svg.MAX_BYTES), str(path), unit, only, scale)
    if kind == ".dxf":
        from drafting.intake import dxf

        return dxf.dxf_outlines(read_bytes(path, dxf.MAX_BYTES), str(path), unit, only, scale)
    raise InputError.of(
        str(path),
        f"ends in '{kind}'; outlines are read from .svg and .dxf files.",
        "Save the drawing as SVG or DXF from the program it came from.",
    )

"""``chalkbeam export``: the pieces as SVG or DXF, for other programs, plotters and cutters."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from configs.errors import Fault, InputError
from configs.reader import nearest
from configs.units import format_length
from projector.commands.command_line import CommandLine, argument, json_switch, option
from projector.commands.places import Place
from projector.console import print_json, print_table, warn
from projector.output import EXCHANGE, write

if TYPE_CHECKING:
    from drafting.piece import Piece


class ExportCommand(CommandLine):
    """Write the pieces with their cutting and sewing lines, at true scale.

    SVG: width and height in mm, one user unit a millimetre; each piece is a group with its named
    edges, lines carry their kind as a class (cutting, sewing, fold, grain, notch, dart, drill,
    mark). A half's cutting line ends at the fold, so that a machine does not cut the fold.
    DXF: millimetres, one block a piece, on the layers of ASTM D6673: 1 boundary, 2 turn points, 3
    curve points, 4 notches, 6 fold, 7 grain, 8 internal lines, 13 drill holes, 14 sew line, 15
    text. Grade rules, stripe lines and cut-outs of that standard are not written; conformance is
    not claimed.
    """

    docket: Path = argument("DOCKET.yaml")
    out: Path = option(
        "What to write; its ending says which kind.",
        Place(EXCHANGE),
        names="-o",
        metavar="FILE.svg|FILE.dxf",
    )
    only: tuple[str, ...] = option(
        "Only this piece; may be given again.", names="--piece -p", metavar="NAME"
    )
    unfolded: bool = option(
        "Write pieces on the fold whole; else as their half, its cutting line open at the fold."
    )
    as_json: bool = json_switch()

    def run(self) -> None:
        from drafting.docket import Docket
        from drafting.docket.telling import told_in
        from drafting.export.cut_size import cut_size
        from drafting.export.dxf import pieces_dxf
        from drafting.export.svg import pieces_svg

        read = Docket.load(self.docket)
        unit = told_in(read)
        pieces, allowances = cut_size(read, chosen_pieces(read.every_piece(), self.only))
        written = pieces_svg if self.out.suffix.lower() == ".svg" else pieces_dxf
        drawing = written(pieces, allowances, title=read.title, unfolded=self.unfolded, unit=unit)
        write(self.out, drawing, EXCHANGE)
        for caution in read.allowance_cautions():
            warn(caution, stderr=True)
        rows = []
        for name, piece in pieces.items():
            own = allowances[name]
            ring = piece.unfolded(own) if self.unfolded else piece.cutting_line(own)
            piece = piece.opened() if self.unfolded else piece
            (left, low), (right, high) = ring.min(axis=0), ring.max(axis=0)
            rows.append((name, piece, right - left, high - low))
        if self.as_json:
            print_json(
                {
                    "file": str(self.out),
                    "pieces": [
                        {
                            "name": name,
                            "cut": piece.cut,
                            "width_mm": round(width, 3),
                            "height_mm": round(height, 3),
                            "edges_mm": {n: round(e.length_mm, 3) for n, e in piece.edges.items()},
                        }
                        for name, piece, width, height in rows
                    ],
                }
            )
            return
        print_table(
            f"{self.out}: {len(pieces)} piece{'s' if len(pieces) != 1 else ''} at true scale",
            ["piece", "cut", "width", "height"],
            [
                (n, str(p.cut), format_length(w, unit), format_length(h, unit))
                for n, p, w, h in rows
            ],
        )


def chosen_pieces(pieces: Mapping[str, Piece], only: tuple[str, ...]) -> dict[str, Piece]:
    """The pieces named, in the docket's order; all when none is named.

    Raises:
        InputError: a name that is not there, with the nearest that is.
    """
    told = f"there are {', '.join(pieces)}."
    faults = [
        Fault("--piece", f"there is no piece '{name}'; {told}", nearest(name, pieces))
        for name in only
        if name not in pieces
    ]
    if faults:
        raise InputError(faults)
    return {n: p for n, p in pieces.items() if not only or n in only}

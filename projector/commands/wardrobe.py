"""``chalkbeam wardrobe``: every docket of a folder in one look, and what is out of date."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import click

from configs.errors import ChalkbeamError, InputError
from configs.files import read_bytes
from configs.units import length_text
from projector.commands.command_line import CommandLine, argument, json_switch, option
from projector.commands.places import Place
from projector.console import print_json, terminal
from projector.output import BASE, DOCKET, SHEET, kind_of, write, write_picture

if TYPE_CHECKING:
    from drafting.docket import Docket
    from drafting.piece import Piece

_COLUMNS, _ROWS = 22, 7
_MOST_DRAWN = 4
_MOST_FILES = 500


@dataclass(frozen=True)
class Entry:
    """One docket or base: what the list tells of it; ``wrong``: why it cannot be drafted, or ''."""

    file: str
    title: str
    kind: str
    wearer: str = ""
    base: str = ""
    cloth: str = ""
    pieces: int = 0
    laid: int = 0
    traced: int = 0
    traced_pieces: tuple[str, ...] = ()
    out_of_date: tuple[str, ...] = ()
    wrong: str = ""


# an entry, its pieces, and their allowances: piece → edge → mm
Found: TypeAlias = "tuple[Entry, Mapping[str, Piece], Mapping[str, Mapping[str, float]]]"


class WardrobeCommand(CommandLine):
    """List every docket and base of a folder: drawing, wearer, base, cloth, what is traced.

    What is out of date is told: a garment whose measurements or base were changed after its pieces
    were laid or traced, a base that drafts otherwise than on the day it was made.
    """

    folder: Path = argument("DIR")
    out: Path | None = option(
        "Draw them all on paper instead, the pieces to one scale.",
        Place(SHEET),
        names="-o",
        metavar="FILE.pdf|FILE.svg|FILE.png",
    )
    as_json: bool = json_switch()

    def run(self) -> int:
        if not self.folder.is_dir():
            remedy = "Name the folder of your dockets."
            raise InputError.of(str(self.folder), "is no folder.", remedy)
        found = [read_entry(path, self.folder) for path in _files(self.folder)]
        entries = [e for e in found if e is not None]
        if self.out is not None and entries:
            _draw(self.out, self.folder, entries)
        if self.as_json:
            print_json([asdict(e) for e, *_ in entries])
        elif not entries:
            click.echo(f"No docket in {self.folder}. 'chalkbeam blocks' shows how one begins.")
        elif self.out is not None:
            click.echo(f"{self.out}: {len(entries)} garments and bases drawn.")
        else:
            _print(entries)
        return 0


def _files(folder: Path) -> list[Path]:
    every = sorted(p for s in ("*.yaml", "*.yml") for p in folder.rglob(s))
    return [p for p in every if not any(x.startswith(".") for x in p.parts)][:_MOST_FILES]


def read_entry(path: Path, folder: Path) -> Found | None:
    """A file's entry and its pieces; None for a file of another kind."""
    from drafting.docket import Docket
    from drafting.docket.base import Base

    try:
        kind = kind_of(read_bytes(path))[0]
    except ChalkbeamError:
        return None
    name = path.relative_to(folder).as_posix()
    try:
        if kind is DOCKET:
            return _docket_entry(Docket.load(path), name)
        if kind is BASE:
            base = Base.load(path)
            told = Entry(name, base.title, "base", base.wearer)
            return told, base.drafted or base.imported, {}
    except ChalkbeamError as error:
        return Entry(name, path.stem, "docket", wrong=str(error.faults[0])), {}, {}
    return None


def _docket_entry(read: Docket, name: str) -> Found:
    wrong, pieces = "", {}
    try:
        pieces = read.pieces()
    except ChalkbeamError as error:
        wrong = str(error.faults[0])
    garment, cloth = read.garment or {}, read.cloth
    entry = Entry(
        file=name,
        title=read.title,
        kind="docket",
        wearer=read.wearer,
        base=str(garment.get("base") or garment.get("block") or "imported"),
        cloth="" if cloth is None else f"{length_text(cloth.width_mm, read.unit)} wide",
        pieces=len(pieces),
        laid=len(read.placed()),
        traced=len(read.traced),
        traced_pieces=tuple(read.traced),
        out_of_date=tuple(_stale(read)),
        wrong=wrong,
    )
    return entry, pieces, {n: read.allowances_for(n) for n in pieces}


def _stale(read: Docket) -> list[str]:
    """What has changed under a docket."""
    from drafting.truing import compare

    said = []
    begun = "traced" if read.traced else "laid" if read.lay else ""
    if read.path is not None and begun:
        mine = read.path.stat().st_mtime
        sources = [("its measurements", read.measurements.path if read.measurements else "")]
        sources += [("its base", str(read.base.path or ""))] if read.base else []
        for word, file in sources:
            if file.endswith((".yaml", ".yml")) and Path(file).stat().st_mtime > mine + 1.0:
                said.append(f"{word} changed after it was {begun}")
    if read.base is not None and read.base.drafted:
        try:
            moves = compare(read.base.drafted, read.base_now())
        except ChalkbeamError:
            moves = []
        if moves:
            said.append(f"{len(moves)} edges of its base moved since {read.base.made}")
    return said


def _draw(out: Path, folder: Path, entries: list[Found]) -> None:
    """Every entry on paper, in a file whose ending says which kind.

    Raises:
        InputError: more of them than a picture can hold, or the file may not be written.
    """

    from drafting.export.wardrobe import PAGE_MM, Card, sheets
    from drafting.figures.drawing import to_pdf, to_svg

    cards = []
    for entry, pieces, allowances in entries:
        done = Counter(t.partition("/")[0] for t in entry.traced_pieces)
        about = (("for ", entry.wearer), ("from: ", entry.base), ("cloth: ", entry.cloth))
        lines = [entry.file, *(f"{head}{text}" for head, text in about if text), _state(entry)]
        alarms = [f"Out of date: {t}." for t in entry.out_of_date]
        alarms += [f"Cannot be drafted: {entry.wrong}"] if entry.wrong else []
        traced = {
            n: "traced" if done[n] >= pieces[n].cut or pieces[n].fold else f"{done[n]} of {pieces[n].cut} traced"
            for n in pieces if done[n]
        }  # fmt: skip
        cards.append(Card(entry.title, tuple(lines), tuple(alarms), pieces, allowances, traced))
    title = f"Wardrobe: {folder.resolve().name}"
    suffix = out.suffix.lower()
    if suffix == ".pdf":
        from configs.paper import pdf_document
        from drafting.lettering import Lettering, one_line

        pdf = pdf_document(PAGE_MM, one_line(title))
        pdf.add_page()
        texts = [t for d in sheets(cards, title) for t in d.texts()]
        letters = Lettering(pdf, texts)
        for i, drawing in enumerate(sheets(cards, title, measure=letters.width)):
            if i:
                pdf.add_page()
            to_pdf(pdf, letters, drawing, 0.0, 0.0)
        write(out, bytes(pdf.output()), SHEET)
    elif suffix == ".svg":
        (drawing,) = sheets(cards, title, height_mm=None)
        write(out, to_svg(drawing, title), SHEET)
    else:
        from projector.drawing_picture import DOTS_PER_MM, MOST_PX, picture_of
        from projector.lettering import text_width

        (drawing,) = sheets(
            cards, title, height_mm=None, measure=lambda t, s: text_width(t, 0.7 * s)
        )
        if drawing.height_mm * DOTS_PER_MM > MOST_PX:
            what = f"{len(entries)} garments make a picture that no viewer opens."
            raise InputError.of(str(out), what, f"Name it {out.with_suffix('.pdf').name}.")
        write_picture(out, picture_of(drawing), SHEET)


def _state(entry: Entry) -> str:
    """How far a garment is, in words."""
    if entry.kind == "base":
        return "a base"
    return f"{entry.pieces} pieces, {entry.laid} laid, {entry.traced} traced"


def _print(entries: list[Found]) -> None:
    from rich.table import Table
    from rich.text import Text

    from projector.sketch import dots, in_a_row

    table = Table(show_lines=True)
    for column in ("", "garment", "from", "cloth", "done"):
        table.add_column(column)
    for entry, pieces, _ in entries:
        about = Text(entry.title, style="bold")
        for line in (entry.file, *([f"for {entry.wearer}"] if entry.wearer else [])):
            about.append(f"\n{line}", style="not bold")
        state = Text(f"cannot be drafted: {entry.wrong}" if entry.wrong else _state(entry))
        for line in entry.out_of_date:
            state.append(f"\nOut of date: {line}.", style="bold")
        lines = in_a_row(list(pieces.values())[:_MOST_DRAWN])
        sketch = "\n".join(dots(lines, _COLUMNS, _ROWS) if lines else [""])
        table.add_row(Text(sketch), about, Text(entry.base), Text(entry.cloth), state)
    terminal().print(table)

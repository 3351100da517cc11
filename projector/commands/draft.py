"""``chalkbeam draft``: a docket's garment drafted, trued and written piece by piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from configs.units import format_length
from projector.commands.command_line import CommandLine, argument, json_switch, option
from projector.commands.places import OUT_FOLDER
from projector.console import print_json, print_table, tell, warn
from projector.output import DRAWING, kind_named, marked, write, write_all

if TYPE_CHECKING:
    from drafting.blocks import Draft
    from drafting.report import Report


class DraftCommand(CommandLine):
    """Draft the garment: one SVG a piece in true millimetres, and the truing report.

    The report measures what was drawn: seams that are sewn together, square corners, lines
    that run on over a seam, finished girths, the way for the head. When a check fails the
    pieces are written all the same, so that you can look at them, and the exit code is 1.
    """

    docket: Path = argument("DOCKET.yaml")
    out: Path | None = option(
        "Folder for the pieces and the truing report.", OUT_FOLDER, names="-o", metavar="DIR"
    )
    steps: bool = option("Also draw the construction, step by step, with her numbers.")
    why: str | None = option(
        "Only tell what an edge hangs on, like 'side' or 'back neckline'.", metavar="EDGE"
    )
    slips: bool = option("Only tell which measure moves the garment most if the tape slipped.")
    as_json: bool = json_switch()

    def run(self) -> int:
        from drafting.docket import Docket
        from drafting.docket.telling import told_in
        from drafting.export.svg import pieces_svg
        from drafting.report import report
        from drafting.steps import steps_pdf, steps_svg
        from drafting.strips import pieced
        from projector.drafted import keep_clean

        if self.out is None and not (self.why or self.slips):
            context = click.get_current_context()
            missing = next(p for p in context.command.params if p.name == "out")
            raise click.MissingParameter(ctx=context, param=missing)
        read = Docket.load(self.docket)
        if self.why or self.slips:
            self._explain(read.draft())
            return 0
        assert self.out is not None
        made = report(read)
        drawn: dict[str, str | bytes] = {
            f"{name.replace(' ', '-')}.svg": pieces_svg(
                {name: piece}, read.allowances_for(name), title=read.title, unit=told_in(read)
            )
            for name, piece in pieced(made.draft.pieces, read.joins).items()
        }
        drawn["truing.txt"] = made.text()
        written = list(drawn)
        if self.steps:
            shown = {f"steps/{name}": text for name, text in steps_svg(made.draft).items()}
            drawn |= {"steps.pdf": steps_pdf(made.draft, title=read.title), **shown}
            written += ["steps.pdf", f"steps/ ({len(shown)} pictures)"]
        as_bytes = {n: d if isinstance(d, bytes) else d.encode() for n, d in drawn.items()}
        files = {n: marked(d) for n, d in as_bytes.items()}
        write_all({self.out / name: (data, kind_named(name)) for name, data in files.items()})
        cleared = keep_clean(self.out, self.docket, files)
        if self.as_json:
            print_json({**made.to_dict(), "files": written, "folder": cleared})
        else:
            _print(made, self.out, written)
            tell(cleared)
        return 1 if made.failed else 0

    def _explain(self, made: Draft) -> None:
        """What an edge hangs on, and what a centimetre's slip of the tape does: tables, or JSON."""
        from drafting import slips as of
        from drafting.measurements import REGISTRY

        data: dict[str, Any] = {}
        unit = made.measurements.unit

        def told(mm: float | None) -> str:
            return "" if mm is None else format_length(mm, unit)

        if self.why:
            spots = of.edges_named(made, self.why)
            held = of.why(made, spots)
            data["why"] = {
                "edges": [f"{p}: {e}" for p, e in spots],
                "hangs_on": list(map(asdict, held)),
            }
            if not self.as_json:
                print_table(
                    f"What {', '.join(data['why']['edges'])} hangs on",
                    ["", "is", f"{of.slip_text(unit)} more moves it by", "and makes it longer by"],
                    [[h.name, h.value, told(h.moved_mm), told(h.longer_mm)] for h in held],
                )
        if self.slips:
            found = of.slips(made)
            data["slips"] = [
                {"measure": s.measure, "by_mm": s.by_mm, "moved_mm": s.moved_mm, "piece": s.piece,
                 "edge": s.edge, "edges_moved": len(s.moves), "refused": s.refused}
                for s in found
            ]  # fmt: skip
            if not self.as_json:
                print_table(
                    f"If the tape slipped by {of.slip_text(unit)}",
                    ["measure", "is", "moves the garment by", "most at", "edges moved"],
                    [
                        [REGISTRY[s.measure].name, made.measurements.text(s.measure), told(s.moved_mm),
                         s.refused or (f"{s.piece}: {s.edge}" if s.piece else "nothing"), str(len(s.moves))]
                        for s in found
                    ],
                )  # fmt: skip
                if found and found[0].moved_mm > 0:
                    name = REGISTRY[found[0].measure].name
                    click.echo(f"Take the {name} twice: nothing else moves this garment as far.")
            if self.out is not None:
                write(self.out / "slips.svg", of.slips_svg(made, found), DRAWING)
                data["files"] = ["slips.svg"]
                if not self.as_json:
                    click.echo(f"Written to {self.out}: slips.svg")
        if self.as_json:
            print_json(data)


def _print(made: Report, out: Path, written: Sequence[str]) -> None:
    from drafting.report import MOVE_COLUMNS, off, off_text

    draft = made.draft
    unit = draft.measurements.unit
    rows = []
    for c in made.checks:
        off_by, limit = off_text(c.value_mm, unit), off_text(c.limit_mm, unit)
        rows.append([c.name, off_by, limit, "ok" if c.ok else "FAILED", c.text])
    print_table(
        f"{made.docket.title}: {draft.block or 'an import'} for {draft.measurements.wearer or 'the wearer'}",
        ["check", "off", "may be", "", "measured"],
        rows,
    )
    for key, title in made.titles().items():
        print_table(title, MOVE_COLUMNS, made.rows(key))
    tell((n for n in made.notes if n not in made.cautions), "Note: ")
    if made.failed:
        head = f"{len(made.failed)} of {len(made.checks)} checks FAILED. "
        head += "Do not cut before this is put right:"
        click.secho(head, fg="red", bold=True, err=True)
        for c in made.failed:
            click.echo(f"  {c.name}: off by {off(c, unit)}. {c.text}", err=True)
    else:
        click.echo(f"All {len(made.checks)} checks passed.")
    for caution in made.cautions:
        warn(caution)
    click.echo(f"Written to {out}: {', '.join(written)}")

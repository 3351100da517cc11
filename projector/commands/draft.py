"""``chalkbeam draft``: a docket's garment drafted, trued and written piece by piece."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from projector.commands.places import FILE, JSON_OPTION, OUT_FOLDER, Command
from projector.output import DRAWING, JSON, kind_named, marked, write, write_all

if TYPE_CHECKING:
    from drafting.blocks import Draft
    from drafting.docket import Docket
    from drafting.fit import FitChange
    from drafting.truing import Check, Move


@click.command(cls=Command)
@click.argument("docket", type=FILE, metavar="DOCKET.yaml")
@click.option(
    "--out",
    "-o",
    type=OUT_FOLDER,
    metavar="DIR",
    help="Folder for the pieces and the truing report.",
)
@click.option(
    "--steps", is_flag=True, help="Also draw the construction, step by step, with her numbers."
)
@click.option(
    "--why", metavar="EDGE", help="Only tell what an edge hangs on, like 'side' or 'back neckline'."
)
@click.option(
    "--slips",
    is_flag=True,
    help="Only tell which measure moves the garment most if the tape slipped.",
)
@JSON_OPTION
def draft(
    docket: Path, out: Path | None, steps: bool, why: str | None, slips: bool, as_json: bool
) -> int:
    """Draft the garment: one SVG a piece in true millimetres, and the truing report.

    The report measures what was drawn: seams that are sewn together, square corners, lines
    that run on over a seam, finished girths, the way for the head. When a check fails the
    pieces are written all the same, so that you can look at them, and the exit code is 1.
    """
    from drafting.docket import Docket
    from drafting.export.svg import piece_svg
    from drafting.truing import compare
    from projector.console import print_json

    if out is None and not (why or slips):
        context = click.get_current_context()
        missing = next(p for p in context.command.params if p.name == "out")
        raise click.MissingParameter(ctx=context, param=missing)
    read = Docket.load(docket)
    made = read.draft()
    if why or slips:
        _explain(made, why, out if slips else None, slips, as_json)
        return 0
    assert out is not None
    read.pieces()  # names in the docket that do not fit the pieces are told before drawing
    allowances = {name: read.allowances_for(name) for name in made.pieces}
    checks = made.checks(allowances if read.allowances or read.piece_allowances else None)
    texts = {
        f"{name.replace(' ', '-')}.svg": piece_svg(piece, allowances[name], title=read.title)
        for name, piece in made.pieces.items()
    }
    moves: dict[str, list[Move]] = {}
    if made.fit:
        plain = read.draft_as(made.measurements, ())
        moves["fit"] = compare(plain.pieces, made.pieces)
    earlier = made.measurements.since
    if earlier is not None:
        then = read.draft_as(earlier, made.fit)
        moves["measurements"] = compare(then.pieces, made.pieces)
    texts["truing.txt"] = report_text(read, made, checks, moves)
    drawn: dict[str, str | bytes] = dict(texts)
    written = list(texts)
    if steps:
        shown = _drawn_steps(made, read.title)
        drawn |= shown
        written += ["steps.pdf", f"steps/ ({len(shown) - 1} pictures)"]
    files = {n: marked(d if isinstance(d, bytes) else d.encode("utf-8")) for n, d in drawn.items()}
    write_all({out / name: (data, kind_named(name)) for name, data in files.items()})
    cleared = keep_folder_clean(out, docket, files)
    failed = [c for c in checks if not c.ok]
    if as_json:
        print_json({**_as_data(read, made, checks, moves, written), "folder": cleared})
    else:
        _print(read, made, checks, moves, out, written)
        for line in cleared:
            click.echo(line)
    return 1 if failed else 0


def _explain(made: Draft, edge: str | None, out: Path | None, slips: bool, as_json: bool) -> None:
    """What an edge hangs on, and what a centimetre's slip of the tape does: tables, or JSON."""
    from dataclasses import asdict

    from drafting import slips as of
    from drafting.measurements import REGISTRY
    from projector.console import print_json, print_table

    data: dict[str, Any] = {}
    if edge:
        spots = of.edges_named(made, edge)
        held = of.why(made, spots)
        data["why"] = {
            "edges": [f"{p}: {e}" for p, e in spots],
            "hangs_on": list(map(asdict, held)),
        }
        if not as_json:
            print_table(
                f"What {', '.join(data['why']['edges'])} hangs on",
                ["", "is", "1 cm more moves it by (mm)", "and makes it longer by (mm)"],
                [[h.name, h.value, _mm(h.moved_mm), _mm(h.longer_mm)] for h in held],
            )
    if slips:
        found = of.slips(made)
        data["slips"] = [
            {"measure": s.measure, "by_mm": s.by_mm, "moved_mm": s.moved_mm, "piece": s.piece,
             "edge": s.edge, "edges_moved": len(s.moves), "refused": s.refused}
            for s in found
        ]  # fmt: skip
        if not as_json:
            print_table(
                "If the tape slipped by 1 cm",
                ["measure", "is", "moves the garment by (mm)", "most at", "edges moved"],
                [
                    [REGISTRY[s.measure].name, made.measurements.text(s.measure), _mm(s.moved_mm),
                     s.refused or (f"{s.piece}: {s.edge}" if s.piece else "nothing"), str(len(s.moves))]
                    for s in found
                ],
            )  # fmt: skip
            if found and found[0].moved_mm > 0:
                name = REGISTRY[found[0].measure].name
                click.echo(f"Take the {name} twice: nothing else moves this garment as far.")
        if out is not None:
            write(out / "slips.svg", of.slips_svg(made, found), DRAWING)
            data["files"] = ["slips.svg"]
            if not as_json:
                click.echo(f"Written to {out}: slips.svg")
    if as_json:
        print_json(data)


def _mm(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


def _drawn_steps(made: Draft, title: str) -> dict[str, str | bytes]:
    """The construction as one PDF, and each step as a picture of its own: name → content."""
    from drafting.steps import steps_pdf, steps_svg

    files: dict[str, str | bytes] = {"steps.pdf": steps_pdf(made, title=title)}
    return files | {f"steps/{name}": text for name, text in steps_svg(made).items()}


_MOST_BYTES = 100_000_000  # of a file that an earlier draft wrote
_LIST = ".drafted.json"  # what each docket's last draft wrote here: docket → file → SHA-256


def keep_folder_clean(out: Path, docket: Path, files: Mapping[str, bytes]) -> list[str]:
    """Take what an earlier draft of this docket left in its folder out of the way; say what.

    Only a file that this program wrote, and that is still as it was written, is removed. One
    that she changed, and SVGs that no draft of this docket wrote, are named and stay.
    """
    import contextlib
    import hashlib
    import os

    from configs.files import read_bytes

    def digest(data: bytes) -> str:
        return hashlib.sha256(data).hexdigest()

    known = _drafted_before(out)
    try:
        own = Path(os.path.relpath(docket.resolve(), out.resolve())).as_posix()
    except ValueError:  # another drive
        own = str(docket.resolve())
    before = known.pop(own, {})
    gone, changed = [], []
    for name, written in before.items():
        path = out / name
        inside = path.resolve().is_relative_to(out.resolve()) and not path.is_symlink()
        if name in files or not inside or not path.is_file():
            continue
        if digest(read_bytes(path, _MOST_BYTES)) == written:
            with contextlib.suppress(OSError):
                path.unlink()
                gone.append(name)
        else:
            changed.append(name)
    with contextlib.suppress(OSError):
        (out / "steps").rmdir()  # only when empty
    said = []
    if gone:
        said.append(f"Removed what an earlier draft of this docket left: {_named(gone)}.")
    if changed:
        said.append(f"Of an earlier draft, and changed since, so left here: {_named(changed)}.")
    for other, theirs in known.items():
        both = sorted(set(theirs) & set(files))
        if both:
            said.append(
                f"{_named(both)} of {other} stood here and {'are' if len(both) > 1 else 'is'} "
                "this docket's now: give each docket a folder of its own (--out)."
            )
            known[other] = {k: v for k, v in theirs.items() if k not in both}
    mine = {*files, *changed, *(n for theirs in known.values() for n in theirs)}
    strange = sorted(p.name for p in out.glob("*.svg") if p.name not in mine)
    if strange:
        said.append(f"Also in this folder, and not of this draft: {_named(strange)}.")
    now = {n: digest(d) for n, d in files.items()}
    listed = {**{k: v for k, v in known.items() if v}, own: now}
    write(out / _LIST, _json_text({"chalkbeam": 1, **listed}), JSON)
    return said


def _drafted_before(out: Path) -> dict[str, dict[str, str]]:
    """The list in the folder; empty when there is none that can be read."""
    from configs.errors import InputError
    from configs.files import json_record, read_text

    try:
        read = json_record(read_text(out / _LIST)) or {}
    except InputError:
        return {}
    return {
        str(k): {str(n): str(h) for n, h in v.items()}
        for k, v in read.items()
        if isinstance(v, dict)
    }


def _json_text(data: Any) -> str:
    import json

    return json.dumps(data, indent=1, ensure_ascii=False) + "\n"


def _named(names: Sequence[str], most: int = 6) -> str:
    """A few names, and how many more."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def _move_row(move: Move, unit: str) -> list[str]:
    from configs.units import format_length

    def text(mm: float | None) -> str:
        return "–" if mm is None else format_length(mm, unit)

    change = "–"
    if move.before_mm is not None and move.after_mm is not None:
        difference = move.after_mm - move.before_mm
        change = format_length(difference, unit)
        if difference > 0 and change[0] != "0":
            change = f"+{change}"
    moved = "–" if move.moved_mm is None else format_length(move.moved_mm, unit)
    return [
        f"{move.piece}: {move.edge}",
        text(move.before_mm),
        text(move.after_mm),
        change,
        moved,
    ]


_MOVE_COLUMNS = ["edge", "before", "after", "length", "line moved by"]


def _told(change: FitChange) -> str:
    more = ", ".join(t for t in (change.date, change.note) if t)
    return f"{change.text} [{more}]" if more else change.text


def allowance_notes(read: Docket, made: Draft) -> list[str]:
    """What the docket's allowances say that this style does not use, or that she may not mean."""
    from configs.units import format_length

    notes = read.allowance_cautions()
    notes += [
        f"The docket has an allowance for '{edge}', an edge this style does not have: not used."
        for edge in read.unused_allowances()
    ]
    told = set()
    for name, piece in made.pieces.items():
        own = read.allowances_for(name)
        for edge in piece.bound:
            plain = edge.removeprefix("left ").removeprefix("right ")
            width = piece.widths(own).get(edge, own.get(plain, 0.0))
            if width > 0 and plain not in told:
                told.add(plain)
                shown = format_length(width, made.measurements.unit)
                notes.append(
                    f"The {plain} is bound, yet 'allowances' gives it {shown}, and so it is drawn. "
                    f"Take '{plain}' out there to cut it on the sewing line."
                )
    return notes


def _off(check: Check) -> str:
    """'0.24 mm, up to 3.49 passes'."""
    return f"{check.value_mm:.2f} mm, up to {check.limit_mm:.2f} passes"


def _move_titles(made: Draft) -> dict[str, str]:
    since = made.measurements.since
    then = f" ({since.taken})" if since is not None and since.taken else ""
    return {
        "fit": "What the fit notes changed: " + "; ".join(_told(c) for c in made.fit),
        "measurements": f"What changed since the earlier measurements{then}",
    }


def report_text(
    read: Docket, made: Draft, checks: Sequence[Check], moves: dict[str, list[Move]]
) -> str:
    """The truing report as plain text, for the folder."""
    from drafting.measurements import REGISTRY

    m = made.measurements
    lines = [
        f"{read.title}: truing report",
        f"block {made.block}, drafted by chalkbeam; {m.wearer or 'wearer not named'}; measured {m.taken or 'undated'}",
        "",
        "Measurements",
        *(f"  {REGISTRY[k].name}: {m.text(k)}" for k in m.values),
        "",
        "Checks (how far off, and how far may be)",
    ]
    for c in checks:
        mark = "ok  " if c.ok else "FAIL"
        lines.append(f"  {mark} {c.name}: {_off(c)}  {c.text}")
    for key, title in _move_titles(made).items():
        if key in moves:
            lines += ["", title, "  " + " | ".join(_MOVE_COLUMNS)]
            lines += ["  " + " | ".join(_move_row(x, m.unit)) for x in moves[key]]
    notes = [*made.notes, *allowance_notes(read, made)]
    if notes:
        lines += ["", "Notes", *(f"  {n}" for n in notes)]
    return "\n".join(lines) + "\n"


def _print(
    read: Docket,
    made: Draft,
    checks: Sequence[Check],
    moves: dict[str, list[Move]],
    out: Path,
    written: Sequence[str],
) -> None:
    from projector.console import print_table, warn

    rows = [
        [
            c.name,
            f"{c.value_mm:.2f}",
            f"{c.limit_mm:.2f}",
            "ok" if c.ok else "FAILED",
            c.text,
        ]
        for c in checks
    ]
    print_table(
        f"{read.title}: {made.block} for {made.measurements.wearer or 'the wearer'}",
        ["check", "mm off", "may be", "", "measured"],
        rows,
    )
    for key, title in _move_titles(made).items():
        if key in moves:
            table = [_move_row(m, made.measurements.unit) for m in moves[key]]
            print_table(title.replace("[", "\\["), _MOVE_COLUMNS, table)
    cautions = read.allowance_cautions()
    for note in (*made.notes, *allowance_notes(read, made)):
        if note not in cautions:
            click.echo(f"Note: {note}")
    failed = [c for c in checks if not c.ok]
    if failed:
        click.secho(
            f"{len(failed)} of {len(checks)} checks FAILED. Do not cut before this is put right:",
            fg="red",
            bold=True,
            err=True,
        )
        for c in failed:
            click.echo(f"  {c.name}: off by {_off(c)}. {c.text}", err=True)
    else:
        click.echo(f"All {len(checks)} checks passed.")
    for caution in cautions:
        warn(caution)
    click.echo(f"Written to {out}: {', '.join(written)}")


def _as_data(
    read: Docket,
    made: Draft,
    checks: Sequence[Check],
    moves: dict[str, list[Move]],
    written: Sequence[str],
) -> dict[str, Any]:
    from drafting.truing import sewn_length

    def number(value: float | None) -> float | None:
        return None if value is None or value != value or abs(value) == float("inf") else value

    return {
        "title": read.title,
        "block": made.block,
        "wearer": made.measurements.wearer,
        "style": dict(made.style),
        "fit": [
            {
                "change": c.change,
                "by_mm": c.by_mm,
                "where": c.where,
                "side": c.side,
                "note": c.note,
                "date": c.date,
            }
            for c in made.fit
        ],
        "pieces": {
            name: {
                "cut": p.cut,
                "pair": p.pair,
                "on_fold": p.fold is not None,
                "area_mm2": p.area_mm2,
                "edges_mm": {n: e.length_mm for n, e in p.edges.items()},
                "sewn_mm": {n: sewn_length(p, n) for n in p.edges},
                "darts": [
                    {
                        "edge": d.edge,
                        "width_mm": math.dist(d.first, d.second),
                        "leg_mm": d.legs_mm[0],
                    }
                    for d in p.darts
                ],
            }
            for name, p in made.pieces.items()
        },
        "checks": [
            {
                "name": c.name,
                "value_mm": number(c.value_mm),
                "limit_mm": c.limit_mm,
                "ok": c.ok,
                "text": c.text,
            }
            for c in checks
        ],
        "changes": {
            key: [
                {
                    "piece": x.piece,
                    "edge": x.edge,
                    "before_mm": x.before_mm,
                    "after_mm": x.after_mm,
                    "moved_mm": x.moved_mm,
                }
                for x in rows
            ]
            for key, rows in moves.items()
        },
        "notes": [*made.notes, *allowance_notes(read, made)],
        "files": list(written),
        "ok": all(c.ok for c in checks),
    }

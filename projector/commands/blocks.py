"""``chalkbeam blocks``: what can be drafted, from which measurements, in which styles."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Iterable, Mapping
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from configs.errors import ChalkbeamError
from configs.units import format_length
from projector.commands.command_line import CommandLine, argument, json_switch, option
from projector.commands.places import OUT_FOLDER
from projector.console import print_json, tell
from projector.output import DRAWING, Kind, write_all
from projector.sketch import beside, dots, in_a_row, strokes

if TYPE_CHECKING:
    from drafting.blocks import Block
    from drafting.piece import Piece
    from drafting.style import Option

# The sketches' body: an even one that no singer of ours has; all in cm.
_EXAMPLE = {
    "unit": "cm",
    "bust_girth": 94,
    "waist_girth": 78,
    "hip_girth_at_tailbone": 104,
    "neck_width": 14,
    "shoulder_length": 12.3,
    "back_neck_to_tailbone": 60,
    "upper_arm_girth": 29,
    "hip_girth": 102,
    "waist_to_hip": 20.6,
    "arm_length": 58.5,
    "shoulder_to_elbow": 33,
    "wrist_girth": 16,
}
# What a block that is no garment of its own is sewn to in its sketches, and that one's style by the edge.
_UNDER = "quick-top"
_UNDER_STYLE = {"neckline": {"opening": "none"}}


class BlocksCommand(CommandLine):
    """What can be drafted: an overview of every block, or everything about one BLOCK.

    About one block: how each measurement is taken, every style option with its limits and a
    sketch, drawn by the block itself on one example body, and the fit changes.
    """

    name: str | None = argument("[BLOCK]")
    out: Path | None = option(
        "Write a sketch of each style choice to this folder, as SVG.",
        OUT_FOLDER,
        names="-o",
        metavar="DIR",
    )
    whole: bool = option("Everything of every block.", names="--all")
    unit: str = option("", ("cm", "mm", "in"), default="cm")
    scissors: bool = option("What can be done to drafted pieces.", names="--changes")
    as_json: bool = json_switch()

    def run(self) -> None:
        from drafting.blocks import get, names

        if self.scissors:
            _print_changes(self.as_json)
            return
        chosen = [get(n) for n in ([self.name] if self.name else names())]
        if self.as_json:
            print_json([_as_data(b) for b in chosen])
        elif self.name or self.whole:
            for block in chosen:
                _print(block, self.unit)
        else:
            for block in chosen:
                _print_overview(block)
            click.echo("\nStyles, limits, sketches and fit of one: chalkbeam blocks quick-top")
            click.echo("Start a docket with these lines; then chalkbeam draft top.yaml --out top")
            tell(_FIRST_DOCKET, "    ")
        if self.out is not None:
            for block in chosen:
                count = _write_sketches(block, self.out)
                click.echo(f"{count} sketches written to {self.out}")


_PLACES = (
    "armhole 1/2, hem 30 % from side: a share of an edge",
    "side 8 cm from hem: a distance along an edge, from the end where that edge meets another",
    "side notch, armhole notch 2: a notch; dart 1, waist dart 2: a dart",
    "shoulder at neckline: where two edges meet",
    "bust point, point of dart 1: a landmark, the point of a dart",
    "9 cm below shoulder at neckline: a level ('level', 'at')",
)


def _print_changes(as_json: bool) -> None:
    """The scissors' operations, for a garment's 'changes' list."""
    from drafting.shaping.changes import VERBS

    if as_json:
        told = ("text", "keys", "example")
        print_json([{"change": v.word, **_as_told(v, *told)} for v in VERBS.values()])
        return
    click.secho("Changes: what can be done to drafted pieces, in order", bold=True)
    click.echo("  garment: {block: quick-top, changes: [{…}, {…}]}; a line taken out is undone.\n")
    for verb in VERBS.values():
        click.echo(_wrapped(f"{verb.word}: {verb.text}"))
        if verb.keys:
            click.echo(_wrapped(f"takes {', '.join(verb.keys)}", 6))
        click.echo(_wrapped(verb.example, 6))
    click.echo()
    click.secho("Places", bold=True)
    tell(map(_wrapped, _PLACES))


def _as_data(block: Block) -> dict[str, Any]:
    from drafting.fit import KINDS
    from drafting.measurements import REGISTRY

    def measure(key: str) -> dict[str, Any]:
        m = REGISTRY[key]
        usual = {"usual_mm": [m.low_mm, m.high_mm]}
        return {"key": key, **_as_told(m, "name", "kind", "how"), **usual}

    def style(o: Option) -> dict[str, Any]:
        of = {"length": "_mm", "both": "_mm", "number": ""}.get(o.kind)
        limits = {} if of is None else {f"low{of}": o.low, f"high{of}": o.high}
        told = _as_told(o, "key", "kind", "text", "default")
        return {**told, "choices": dict(o.choices), **limits}

    kinds = ("text", "limit_mm", "where", "signed")
    return {
        "block": block.name,
        **_as_told(block, "title", "text"),
        "needs": [measure(k) for k in block.needs],
        "helps": [measure(k) for k in block.helps],
        "style": [style(o) for o in block.options],
        "allowances_mm": dict(block.allowances),
        "sewn_to": list(block.joins),
        "alone": block.alone,
        "fit": [{"change": name, **_as_told(KINDS[name], *kinds)} for name in block.changes],
    }


def _as_told(thing: object, *names: str) -> dict[str, Any]:
    return {name: getattr(thing, name) for name in names}


_FIRST_DOCKET = (
    "chalkbeam: 1",
    "title: rehearsal top",
    "measurements: alto-3.yaml   # made by: chalkbeam measure alto-3.yaml",
    "garment: {block: quick-top, style: {neckline: scoop}, fit: []}",
    "allowances: {all: 10 mm, hem: 25 mm, neckline: 6 mm}",
)


def _print_overview(block: Block) -> None:
    """A block in three or four lines: what it is, what it is sewn to, what must be measured."""
    click.secho(f"{block.name}: {block.title}", bold=True)
    click.echo(_wrapped(block.text))
    if block.joins:
        or_ = "or " if block.alone else ""
        click.echo(_wrapped(f"{or_}sewn to: {_sewn_to(block)}"))
    click.echo(_wrapped(f"measures: {', '.join(block.needs)}"))


def _print(block: Block, unit: str) -> None:
    from drafting.fit import FORM, KINDS
    from drafting.measurements import REGISTRY

    click.secho(f"{block.name}: {block.title}", bold=True)
    click.echo(f"{block.text}\n")
    if block.joins:
        also = "Alone, or sewn to" if block.alone else "Sewn to"
        click.echo(_wrapped(f"{also}: {_sewn_to(block)}", 0) + "\n")
    click.secho("Measurements", bold=True)
    for key in (*block.needs, *block.helps):
        m = REGISTRY[key]
        more = "" if key in block.needs else " (helps, not needed)"
        click.echo(_wrapped(f"{key}{more}: {m.how} {m.posture}"))
    click.echo()
    click.secho("Style", bold=True)
    for detail in block.options:
        default, limits = detail.default, ""
        if detail.kind in ("length", "both"):
            if isinstance(default, float):
                default = format_length(default, unit)
            low, high = format_length(detail.low, unit), format_length(detail.high, unit)
            limits = f" ({low} to {high})"
        elif detail.kind == "number":
            limits = f" ({detail.low:g} to {detail.high:g})"
        shown = "" if default is None else f" [{default}]"
        click.echo(_wrapped(f"{detail.key}{shown}{limits}: {detail.text}"))
        if detail.choices:
            _print_choices(block, detail.key, detail.choices)
    click.echo()
    where = "'garment'" if block.alone else f"'garment', 'with', beside 'block: {block.name}'"
    click.secho(f"In the docket, under {where}", bold=True)
    some = [f"{o.key}: {list(o.choices)[-1]}" for o in block.options if o.choices][:2]
    click.echo(f"  style: {{{', '.join(some)}}}")
    usual = ", ".join(f"{edge}: {mm:g} mm" for edge, mm in block.allowances.items())
    click.echo(f"  allowances, beside 'garment', as the trade has them: {{{usual}}}")
    if not block.changes:
        return
    form = FORM if "bust" in block.changes else FORM.replace("bust", block.changes[0])
    click.echo(f"  fit: [{form if 'bust' in form else form.replace(' where: front,', '')}]")
    click.echo()
    click.secho("Fit: what a toile showed", bold=True)
    for kind in (KINDS[name] for name in block.changes):
        sign = "±" if kind.signed else "up to "
        places = "" if len(kind.where) == 1 else f"; where: {', '.join(kind.where)}"
        limit = format_length(kind.limit_mm, unit)
        click.echo(_wrapped(f"{kind.name} ({sign}{limit}{places}): {kind.text}"))


def _sewn_to(block: Block) -> str:
    """What a block can be sewn to, and how that is written."""
    edges = " or ".join(block.joins)
    return f"the {edges} of a garment: {{block: …, with: [{{block: {block.name}}}]}}"


def _wrapped(text: str, indent: int = 2) -> str:
    width = min(shutil.get_terminal_size((96, 24)).columns, 110)
    return click.wrap_text(text, width, initial_indent=" " * indent, subsequent_indent="      ")


def _example(block: Block) -> Any:
    """The example body; of a measure that it lacks, the middle of what is usual."""
    from drafting.measurements import REGISTRY, Measurements

    usual = {k: REGISTRY[k] for k in block.needs}
    more = {k: f"{(m.low_mm + m.high_mm) / 2} mm" for k, m in usual.items()}
    return Measurements.from_dict({**more, **_EXAMPLE})


def _choice_pieces(block: Block, key: str, choice: str) -> Mapping[str, Piece]:
    """The pieces with one choice; one that needs another (a dart at the elbow a long sleeve) with it."""
    others = [o for o in block.options if o.choices and o.key != key]
    try:
        return _pieces_of(block, {key: choice})
    except ChalkbeamError:
        for other in others:
            for more in reversed(tuple(other.choices)):
                with contextlib.suppress(ChalkbeamError):
                    return _pieces_of(block, {key: choice, other.key: more})
        raise


def _pieces_of(block: Block, style: dict[str, Any]) -> Mapping[str, Piece]:
    from drafting.blocks import draft, joined

    key, choice = next(iter(style.items()))
    if not block.alone:
        needs = next(((k, v[0]) for o in block.options if o.key == key for k, v in o.when), None)
        style = (dict([needs]) if needs else {}) | style
        under = draft(_UNDER, _example(block), _UNDER_STYLE.get(block.joins[0], {}))
        made = joined(under, block.name, style)
        return {n: p for n, p in made.pieces.items() if n not in under.pieces}
    if key == "opening" and choice == "slit":
        style["opening_length"] = "12 cm"
    detail = next(o for o in block.options if o.key == key)
    if detail.when:  # without it the choice would change nothing
        other, values = detail.when[0]
        style.setdefault(other, values[-1])
    return draft(block.name, _example(block), style).pieces


def _print_choices(block: Block, key: str, choices: Mapping[str, str]) -> None:
    """The choices side by side, each with its sketch and, below, what it is."""
    sketches = sketches_of(block, key, choices)
    # No picture where it would show nothing: the seam's length differs by less than a dot.
    if key != "shoulder_seam" and any(s != sketches[0] for s in sketches):
        tell(beside(sketches, list(choices)))
    click.echo(_wrapped("; ".join(f"{c}: {t}" for c, t in choices.items()), 6))


def sketches_of(block: Block, key: str, choices: Iterable[str]) -> list[list[str]]:
    """A sketch for each choice of an option: rows of signs. Those of other pieces differ."""
    half = "back" if "back" in key or key in ("opening", "slit") else "front"
    drawn = [_choice_pieces(block, key, choice) for choice in choices]
    sketches = [dots(strokes(p.get(half) or next(iter(p.values()))), 15, 8) for p in drawn]
    if any(a == b for a, b in combinations(sketches, 2)):  # what differs lies in another piece
        sketches = [dots(in_a_row(p.values()), 26, 8) for p in drawn]
    return sketches


def _write_sketches(block: Block, out: Path) -> int:
    from drafting.export.svg import pieces_svg

    files: dict[Path, tuple[str | bytes, Kind]] = {}
    for detail in block.options:
        for choice in detail.choices:
            pieces = _choice_pieces(block, detail.key, choice)
            name = f"{block.name}-{detail.key}-{choice}".replace("_", "-").replace(" ", "-")
            title = f"{block.title}: {detail.key} {choice}"
            files[out / f"{name}.svg"] = (pieces_svg(pieces, None, title=title), DRAWING)
    write_all(files)
    return len(files)

"""The truing report of a docket: what was drafted, measured off the drawing, and what changed.

After `docket`: a docket's garment, its checks, what fit notes and an earlier measuring change, and
what its allowances leave open; as text for the folder, as rows for a table, as data for programs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from configs.errors import once
from configs.units import format_length
from drafting.allowance import plain
from drafting.blocks import Draft
from drafting.docket.edges import unused_allowances
from drafting.measurements import REGISTRY
from drafting.strips import joining_words
from drafting.truing import Check, Move, compare, sewn_length

if TYPE_CHECKING:
    from drafting.docket import Docket
    from drafting.fit import FitChange

MOVE_COLUMNS = ("edge", "before", "after", "length", "line moved by")


@dataclass(frozen=True)
class Report:
    """A docket's draft and what was measured on it.

    ``moves``: "base", "fit" and "measurements", where there is something to compare with, → what moved;
    ``notes``: sentences, of them ``cautions`` what could spoil cloth.
    """

    docket: Docket
    draft: Draft
    checks: tuple[Check, ...]
    moves: Mapping[str, tuple[Move, ...]]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that did not pass."""
        return tuple(c for c in self.checks if not c.ok)

    def titles(self) -> dict[str, str]:
        """What each of ``moves`` is called."""
        titles = _move_titles(self.draft, self.docket)
        return {key: titles[key] for key in titles if key in self.moves}

    def rows(self, key: str) -> list[list[str]]:
        """``moves`` of one kind in the measurements' unit, under `MOVE_COLUMNS`."""
        return [_move_row(m, self.draft.measurements.unit) for m in self.moves[key]]

    def text(self) -> str:
        """The whole report as plain text, for the folder."""
        m = self.draft.measurements
        unit = m.unit
        lines = [
            f"{self.docket.title}: truing report",
            f"block {self.draft.block or 'none, an import'}, drafted by chalkbeam; {m.wearer or 'wearer not named'}; "
            f"measured {m.taken or 'undated'}",
            "",
            "Measurements",
            *(f"  {REGISTRY[k].name}: {m.text(k)}" for k in m.values),
            "",
            "Checks (how far off, and how far may be)",
        ]
        for c in self.checks:
            mark = "ok  " if c.ok else "FAIL"
            lines.append(f"  {mark} {c.name}: {off(c, unit)}  {c.text}")
        for key, title in self.titles().items():
            lines += ["", title, "  " + " | ".join(MOVE_COLUMNS)]
            lines += ["  " + " | ".join(row) for row in self.rows(key)]
        if self.notes:
            lines += ["", "Notes", *(f"  {n}" for n in self.notes)]
        if self.draft.making:
            steps = enumerate(self.draft.making, 1)
            lines += ["", "Making up", *(f"  {i}. {text}" for i, text in steps)]
        return "\n".join(lines) + "\n"

    def to_dict(self) -> dict[str, Any]:
        """For programs: pieces with their edges, checks, changes and notes."""

        def number(value: float | None) -> float | None:
            return None if value is None or value != value or abs(value) == float("inf") else value

        return {
            "title": self.docket.title,
            "block": self.draft.block,
            "wearer": self.draft.measurements.wearer,
            "style": dict(self.draft.style),
            "fit": [{k: v for k, v in asdict(c).items() if k != "unit"} for c in self.draft.fit],
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
                for name, p in self.draft.pieces.items()
            },
            "checks": [
                {**asdict(c), "value_mm": number(c.value_mm), "ok": bool(c.ok)} for c in self.checks
            ],
            "changes": {key: [asdict(x) for x in rows] for key, rows in self.moves.items()},
            "notes": list(self.notes),
            "making": list(self.draft.making),
            "ok": not self.failed,
        }


def report(docket: Docket) -> Report:
    """Draft a docket's garment and measure what was drafted.

    Raises:
        InputError, DraftError: faults of the docket, or measurements that give no sound pattern.
    """
    made = docket.draft()
    docket.pieces()  # names in the docket that do not fit the pieces are told before drawing
    if joins := docket.joins:
        made = replace(made, said=(*made.said, *joining_words(joins, docket.every_piece())))
    allowed = docket.allowances or docket.piece_allowances
    own = {name: docket.allowances_for(name) for name in made.pieces} if allowed else None
    moves: dict[str, tuple[Move, ...]] = {}
    if made.fit:
        plain = docket.draft_as(made.measurements, ())
        moves["fit"] = tuple(compare(plain.pieces, made.pieces))
    if docket.base is not None and docket.base.drafted:
        base = tuple(compare(docket.base.drafted, docket.base_now()))
        moves |= {"base": base} if base else {}
    earlier = made.measurements.since
    if earlier is not None:
        then = docket.draft_as(earlier, made.fit)
        moves["measurements"] = tuple(compare(then.pieces, made.pieces))
    cautions = tuple(docket.allowance_cautions())
    notes = once((*made.notes, *cautions, *_allowance_notes(docket, made)))
    return Report(docket, made, tuple(made.checks(own)), moves, notes, cautions)


def _allowance_notes(read: Docket, made: Draft) -> list[str]:
    """What the docket's allowances say that this style does not use, or that she may not mean."""
    notes = [
        f"The docket has an allowance for '{edge}', an edge this style does not have: not used."
        for edge in unused_allowances(read)
    ]
    told = set()
    for name, piece in made.pieces.items():
        own = read.allowances_for(name)
        for edge in piece.bound:
            word = plain(edge)
            width = piece.widths(own).get(edge, own.get(word, 0.0))
            if width > 0 and word not in told:
                told.add(word)
                shown = format_length(width, made.measurements.unit)
                notes.append(
                    f"The {word} is bound, yet 'allowances' gives it {shown}, and so it is drawn. "
                    f"Take '{word}' out there to cut it on the sewing line."
                )
    return notes


def _move_row(move: Move, unit: str) -> list[str]:
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


def _told(change: FitChange) -> str:
    more = ", ".join(t for t in (change.date, change.note) if t)
    return f"{change.text} [{more}]" if more else change.text


def _move_titles(made: Draft, docket: Docket) -> dict[str, str]:
    since = made.measurements.since
    then = f" ({since.taken})" if since is not None and since.taken else ""
    base = docket.base.made if docket.base is not None else ""
    return {
        "base": f"What moved on her base since {base or 'it was made'}",
        "fit": "What the fit notes changed: " + "; ".join(_told(c) for c in made.fit),
        "measurements": f"What changed since the earlier measurements{then}",
    }


def off(check: Check, unit: str) -> str:
    """'0.24 mm, up to 3.49 mm passes'."""
    return f"{off_text(check.value_mm, unit)}, up to {off_text(check.limit_mm, unit)} passes"


def off_text(mm: float, unit: str) -> str:
    """How much a check is off: '0.24 mm', for who works in inches '0.009 in'."""
    return f"{mm / 25.4:z.3f} in" if unit == "in" else f"{mm:z.2f} mm"

"""The docket: one file, one garment, everything the person did.

It names the wearer's measurements, the block and its style, fit changes, allowances, the cloth,
where each piece lies and which are traced. All else is computed again from it. How it is read is
in `reader`, how it is written back in `text`.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from configs.errors import ChalkbeamError, Fault, InputError, LayError
from configs.files import parse_yaml, read_text
from configs.reader import nearest
from drafting.allowance import HEM, SMALL_ALLOWANCE_MM
from drafting.cloth import Cloth
from drafting.docket import text as written
from drafting.docket.cloths import Of, OtherCloth, cut_here, untaken
from drafting.docket.reader import read_fields
from drafting.docket.recent import recalled
from drafting.docket.telling import told_in, told_on
from drafting.lay.rules import DEFAULT_DISTANCE_MM, Rules
from drafting.measurements import Measurements
from drafting.piece import Piece
from drafting.placement import Placement
from drafting.strips import is_strip, pieced, strip_of

if TYPE_CHECKING:
    from drafting.blocks import Draft
    from drafting.docket.base import Base
    from drafting.shaping.changes import Change

_DRAFT_FIELDS = frozenset({"measurements", "garment", "base", "imported"})
ZIP_SEAM_MM = 15.0  # a zip is sewn on 1.5 to 2 cm (common practice, no source)


def _cut(made: Draft, changes: Sequence[Change], unit: str) -> Draft:
    """A draft after changes that touch nothing beside it."""
    from drafting.shaping.garment import changed

    return changed(made, changes, unit)[0]


@dataclass(frozen=True, eq=False)
class Docket:
    """One garment's file, read and checked. Lengths mm.

    ``garment``: block or base, style, fit and changes as written (None when the pieces are imported
    outlines); ``base``: the base that it names, read;
    ``imported``: outlines taken in from elsewhere, by name; ``allowances``: edge → mm, ``all`` for
    the rest; ``piece_allowances``: piece → the same, going before; ``cloths``: further cloths by name, and
    what is cut from each; ``of``: this docket is for one of the cloths of another; ``shares``: files of other
    dockets whose pieces lie on the same cloth, as seen from this one's folder; ``table``: the view, kept for
    the table; ``record``: what she noted about the garment.
    """

    title: str = "untitled"
    unit: str = "mm"
    wearer: str = ""
    measurements: Measurements | None = None
    garment: Mapping[str, Any] | None = None
    base: Base | None = None
    imported: Mapping[str, Piece] = field(default_factory=dict)
    quantity: int = 1
    allowances: Mapping[str, float] = field(default_factory=dict)
    piece_allowances: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    cloth: Cloth | None = None
    cloths: Mapping[str, OtherCloth] = field(default_factory=dict)
    of: Of | None = None
    distance_mm: float = DEFAULT_DISTANCE_MM
    shares: tuple[str, ...] = ()
    lay: tuple[Placement, ...] = ()
    traced: tuple[str, ...] = ()
    table: Mapping[str, Any] = field(default_factory=dict)
    record: tuple[Mapping[str, Any], ...] = ()
    path: Path | None = None
    _raw: Mapping[str, Any] = field(default_factory=dict, repr=False)
    _text: str = field(default="", repr=False)
    _before: Docket | None = field(default=None, repr=False)  # as read: what differs is written

    # -- reading ------------------------------------------------------------------------------

    @classmethod
    def load(cls, path: str | Path) -> Docket:
        """Read a docket with the measurements that it names.

        Raises:
            InputError: all that is wrong with it, each fault with its key path.
        """
        path = Path(path)
        text = read_text(path)
        return cls.from_dict(parse_yaml(text, str(path)), path=path, text=text)

    @classmethod
    def from_dict(
        cls, data: Mapping[str, Any], *, path: Path | None = None, text: str = ""
    ) -> Docket:
        """A docket from its YAML mapping; ``path`` anchors the measurements file it may name.

        Raises:
            InputError: all that is wrong with it, each fault with its key path.
        """
        made = cls(**read_fields(data, path, cls.load), _text=text)
        object.__setattr__(made, "_before", made)
        return made

    # -- what follows from it -----------------------------------------------------------------

    @cached_property
    def _drafted(self) -> tuple[Draft | None, dict[str, Piece]]:
        """The garment's draft (None where it has no block) and the imported pieces, both after the
        changes."""
        imported = self._recipe.get("block") is None
        if imported and not self._parts():
            return None, self._imported_changed()
        if self.measurements is None:
            raise InputError(
                Fault(
                    self._where("measurements"),
                    "a garment is to be drafted but no measurements are named.",
                    "Add 'measurements: alto-3.yaml', or take them with 'chalkbeam measure'.",
                )
            )
        try:
            if imported:
                return self._import_sewn(self.measurements), {}
            from drafting.blocks import draft

            body, recipe = self.measurements, self._recipe
            return self._changed(
                recalled(
                    lambda: draft(measurements=body, unit=self.unit, **recipe),
                    (body,), recipe, self.unit,
                )
            )  # fmt: skip
        except ChalkbeamError as error:  # the block knows no files: say which one it speaks of
            doubt = self.measurements.unit_doubt
            if doubt:  # what follows from numbers in the wrong unit is told of nothing else
                raise InputError(
                    Fault(
                        self.measurements.path or self._where("measurements"),
                        doubt,
                        "Correct its line 'unit:', or the numbers.",
                    )
                ) from error
            faults = [self._of_garment(f) for f in error.faults]
            if isinstance(error, InputError):
                faults += self._strange_edges()
            raise type(error)(faults) from error

    def _strange_edges(self) -> list[Fault]:
        """Edges that allowances name and no style of the block has; none where changes make edges."""
        from drafting.blocks import edge_names, names

        garment = self.garment or {}
        block = self._recipe["block"]
        if block not in names() or garment.get("changes") or garment.get("with") or self.base:
            return []
        known = {*edge_names(str(block)), "all"}
        return [
            Fault(self._where("allowances"), f"there is no edge '{e}'.", nearest(e, known))
            for e in self.allowances
            if e not in known
        ]

    @cached_property
    def _recipe(self) -> dict[str, Any]:
        """Block, style and fit to draft: the base's, with what this garment says beside it."""
        from drafting.fit import parse_fit

        garment = self.garment or {}
        style, fit = dict(garment.get("style") or {}), garment.get("fit") or []
        if self.base is None:
            return {"block": garment.get("block"), "style": style, "fit": fit}
        return {
            "block": self.base.recipe.get("block"),
            "style": {**self.base.style(), **style},
            "fit": [
                *parse_fit(
                    self.base.recipe.get("fit"), self.base.unit, f"{self.base.path}: base.fit"
                ),
                *parse_fit(fit, self.unit),
            ],
        }

    def _parts(self) -> list[tuple[Mapping[str, Any], str, str]]:
        """The blocks sewn to the garment, as written, each with its unit and its key: the base's, then
        its own."""
        own = [(p, self.unit, f"with[{i}]") for i, p in enumerate(self._with(self.garment))]
        if self.base is None:
            return own
        there = self._with(self.base.recipe)
        named = f"{self.base.path}: base."
        return [*((p, self.base.unit, f"{named}with[{i}]") for i, p in enumerate(there)), *own]

    @staticmethod
    def _with(recipe: Mapping[str, Any] | None) -> list[Mapping[str, Any]]:
        return list((recipe or {}).get("with") or [])

    def _sewn(self, made: Draft, part: Mapping[str, Any], unit: str, key: str) -> Draft:
        """A draft with a further block sewn to it, after the changes of that block."""
        from configs.reader import Reader
        from drafting.blocks import joined
        from drafting.shaping.changes import read_changes
        from drafting.shaping.garment import changed

        try:
            made = joined(made, part["block"], part.get("style"), part.get("fit"), unit)
            reader = Reader(part, unit=unit)
            own = read_changes(reader)
            reader.done()
            return changed(made, own, unit)[0] if own else made
        except ChalkbeamError as error:
            faults = [replace(f, where=f"{key}.{f.where}") for f in error.faults]
            raise type(error)(faults) from error

    def _changes(self) -> list[tuple[tuple[Change, ...], str, Any]]:
        """The scissors' operations, read: the base's and the garment's, each with its unit and as written."""
        from configs.reader import Reader
        from drafting.shaping.changes import read_changes

        reader = Reader(self.garment or {}, unit=self.unit)
        own = read_changes(reader)
        reader.done()
        both: list[tuple[tuple[Change, ...], str, Any]] = []
        if own:
            both.append((own, self.unit, (self.garment or {}).get("changes")))
        if self.base is not None and (first := self.base.changes()):
            both.insert(0, (first, self.base.unit, self.base.recipe.get("changes")))
        return both

    def _changed(self, made: Draft) -> tuple[Draft, dict[str, Piece]]:
        """A draft of this garment, and the imported pieces, after the changes."""
        from drafting.shaping.garment import changed

        imported = dict(self.imported)
        for changes, unit, raw in self._changes():
            if imported:
                made, imported = changed(made, changes, unit, imported)
            else:
                made = recalled(partial(_cut, made, changes, unit), (made,), raw, unit)
        for part, unit, key in self._parts():
            made = recalled(partial(self._sewn, made, part, unit, key), (made,), part, unit, key)
        told = told_on(made.pieces, told_in(self))
        if any(told[n] is not p for n, p in made.pieces.items()):
            made = replace(made, pieces=MappingProxyType(told))
        return made, imported

    def _import_sewn(self, measurements: Measurements) -> Draft:
        """The imported pieces after their changes, with the blocks that are sewn to them."""
        from drafting.blocks import of_pieces

        made = of_pieces(self._imported_changed(), measurements)
        for part, unit, key in self._parts():
            made = self._sewn(made, part, unit, key)
        return made

    def draft_as(self, measurements: Measurements, fit: Sequence[Any]) -> Draft:
        """The same garment from other measurements, or with another fit list, with its changes.

        Raises:
            InputError, DraftError: as `draft`.
        """
        from drafting.blocks import draft

        if self._recipe.get("block") is None:
            return self._import_sewn(measurements)
        recipe = {**self._recipe, "fit": fit}
        return self._changed(draft(measurements=measurements, unit=self.unit, **recipe))[0]

    def base_now(self) -> dict[str, Piece]:
        """The pieces of the base as they are drafted now, without this garment's own changes.

        Raises:
            InputError, DraftError: as `draft`.
        """
        if self.base is None or self.base.recipe.get("block") is None:
            return dict(self.base.imported) if self.base else {}
        recipe = {"base": None, **self.base.recipe}
        del recipe["base"]
        plain = Docket(unit=self.base.unit, measurements=self.base.measurements, garment=recipe)
        return dict(plain.draft().pieces)

    def _imported_changed(self) -> dict[str, Piece]:
        from drafting.shaping.garment import changed_pieces

        pieces = {**(self.base.imported if self.base else {}), **self.imported}
        try:
            for changes, unit, _ in self._changes():
                pieces = changed_pieces(pieces, changes, unit)
        except ChalkbeamError as error:
            raise type(error)([self._of_garment(f) for f in error.faults]) from error
        return pieces

    def _of_garment(self, fault: Fault) -> Fault:
        """A fault that drafting told, with this file and its key where they are the docket's."""
        head = re.split(r"[ .\[:]", fault.where, maxsplit=1)[0]
        if head in ("block", "style", "fit", "changes", "with"):
            return replace(fault, where=self._where(f"garment.{fault.where}"))
        named = [str(self.path)] if self.path else []
        named += [self.measurements.path] if self.measurements and self.measurements.path else []
        if any(fault.where.startswith(n) for n in named):
            return fault
        return replace(
            fault, where=self._where(f"garment, {fault.where}" if fault.where else "garment")
        )

    def draft(self) -> Draft:
        """The garment drafted from its measurements (cached).

        Raises:
            InputError: the docket holds no garment to draft, or a value of it is off.
            DraftError: no sound pattern follows from the measurements and style.
        """
        made = self._drafted[0]
        if made is None:
            raise InputError(
                Fault(
                    self._where("garment"),
                    "this docket has no garment to draft, only imported pieces."
                    if self._drafted[1]
                    else "this docket names no garment.",
                    "Add 'garment: {block: quick-top}'; 'chalkbeam blocks' lists what there is.",
                )
            )
        return made

    @cached_property
    def _pieces(self) -> dict[str, Piece]:
        made, imported = self._drafted
        drafted = dict(made.pieces) if made is not None else {}
        twice = sorted(set(drafted) & set(imported))
        if twice:
            raise InputError(
                [
                    Fault(
                        self._where(f"pieces ({name})"),
                        "the garment has a piece of this name too.",
                        "Give the imported one another name.",
                    )
                    for name in twice
                ]
            )
        pieces = {**drafted, **imported}
        if not pieces:
            self.draft()
        return pieces

    def every_piece(self) -> dict[str, Piece]:
        """Every piece of the garment by name: drafted ones first, then imported ones.

        Raises:
            InputError, DraftError: as `draft`; allowances, lay or traced name what is not there.
        """
        return dict(self._parted)

    @cached_property
    def _parted(self) -> dict[str, Piece]:
        """The pieces with the strips in the parts that their cloth is cut in."""
        joins = self.joins
        try:
            made = self._pieces
            if joins:
                made = told_on(pieced(made, joins), told_in(self))
        except LayError as error:
            at = self._where("")
            raise LayError([replace(f, where=f"{at}{f.where}") for f in error.faults]) from error
        # what she says of a strip is said of its parts too
        self._check_names({**{n: self._pieces[n] for n in joins}, **made})
        return made

    @property
    def joins(self) -> dict[str, int]:
        """Strip → how many joins its cloth's lay makes."""
        cloths = {name: self.cloth_of(name) for name in self._pieces}
        return {n: c.pieced[n] for n, c in cloths.items() if c is not None and n in c.pieced}

    def _strip(self, name: str) -> str:
        """The strip that a piece is a part of; her own 'sleeve part 2' is a piece like any other."""
        whole = strip_of(name)
        return whole if whole in self.joins else name

    def strips(self) -> dict[str, int]:
        """The strips of its own cloth that may be pieced → how many joins she allows."""
        if self.cloth is None:
            return {}
        every = self.cloth.joins.get("all", 0)
        found = {}
        for name, piece in self._pieces.items():
            most = self.cloth.joins.get(name, every if is_strip(piece) else 0)
            if most and cut_here(name, self.cloths, self.of):
                found[name] = most
        return found

    def pieces(self) -> dict[str, Piece]:
        """The pieces that are cut from this docket's own cloth; without further ``cloths``, every one.

        Raises:
            InputError, DraftError: as `every_piece`.
        """
        return {n: p for n, p in self._parted.items() if cut_here(n, self.cloths, self.of)}

    def cloth_of(self, piece: str) -> Cloth | None:
        """The cloth that a piece is cut from."""
        if cut_here(piece, self.cloths, self.of):
            return self.cloth
        return next((c.cloth for c in self.cloths.values() if c.cuts(piece)), self.cloth)

    def allowances_for(self, piece: str) -> dict[str, float]:
        """Edge → allowance mm for one piece (``all`` for edges not named)."""
        own = self.piece_allowances.get(piece) or self.piece_allowances.get(self._strip(piece), {})
        return {**self.allowances, **own}

    @property
    def rules(self) -> Rules:
        """What its lay keeps to, for `drafting.lay.plan` and `judge`."""
        own = dict(self.piece_allowances)
        parts = [n for n in self._parted if self._strip(n) in own] if own else []
        own |= {n: own[self._strip(n)] for n in parts}
        return Rules(self.distance_mm, {**self.allowances, **own}, self.quantity)

    def allowance_cautions(self) -> list[str]:
        """What to know before cutting: edges without allowance, and allowances too small to sew.

        ``all: 0`` says that it is meant so (outlines that hold their allowances already).
        """
        where = str(self.path) if self.path else "the docket"
        if not self.allowances and not self.piece_allowances:
            if all(p.own_cutting_line is not None for p in self.every_piece().values()):
                return []
            return [
                "No allowance is set: the pieces would be cut on the seam line, with nothing to sew. "
                f"Add this line to {where}: 'allowances: {{{self._usual_allowances()}}}' (or 'all: 0' "
                "if the outlines hold their allowances already)."
            ]
        said = []
        bare = list(
            dict.fromkeys(e for p in self.every_piece().values() for e in self._bare_edges(p))
        )
        if bare:
            said.append(
                f"No allowance is set for {', '.join(bare)}: cut on the seam line there. Add 'all: "
                f"10 mm' under 'allowances' in {where} (or 'all: 0' if it is meant so)."
            )
        for key, mm in self._each_allowance():
            if 0.0 < mm < SMALL_ALLOWANCE_MM:
                said.append(
                    f"{key} is {mm:.3g} mm: is that meant? No seam so narrow can be cut and sewn."
                )
        for piece in self.every_piece().values():
            widths = piece.widths(self.allowances_for(piece.name))
            for edge in dict.fromkeys(n.edge for n in piece.notches if n.match == "zip"):
                mm = widths.get(edge, widths.get("all", 0.0))
                if 0.0 < mm < ZIP_SEAM_MM:
                    said.append(
                        f"The {edge} of the {piece.name} takes the zip with an allowance of {mm:.3g} mm: "
                        f"15 to 20 mm are usual there. Add '{edge}: 18 mm' under 'allowances'."
                    )
        return said

    def _usual_allowances(self) -> str:
        """What is usual for the docket's block, as a docket writes it."""
        from drafting.blocks import usual_allowances

        usual = usual_allowances(self._blocks) or {"all": 10.0, "hem": 25.0}
        return ", ".join(f"{edge}: {mm:g} mm" for edge, mm in usual.items())

    def _bare_edges(self, piece: Piece) -> list[str]:
        """Edges of a piece for which neither they nor 'all' have an allowance."""
        if piece.own_cutting_line is not None:
            return []
        own = self.allowances_for(piece.name)
        if "all" in own:
            return []
        widths = piece.widths(own)
        fold = piece.fold

        def on_fold(edge: str) -> bool:
            if fold is None:
                return False
            (ax, ay), (bx, by) = fold
            length = math.hypot(bx - ax, by - ay)
            return all(
                abs((bx - ax) * (y - ay) - (by - ay) * (x - ax)) < 0.05 * length
                for x, y in piece.edges[edge].points
            )

        out = []
        for edge in piece.edges:
            plain = edge.removeprefix("left ").removeprefix("right ")
            named = edge in own or plain in own or (edge.split()[-1] == HEM and HEM in own)
            if not named and not widths.get(edge) and edge not in piece.bound and not on_fold(edge):
                out.append(edge)
        return out

    def _each_allowance(self) -> list[tuple[str, float]]:
        """Key path → mm of every allowance that is written."""
        every = [(f"allowances.{k}", v) for k, v in self.allowances.items()]
        for name, own in self.piece_allowances.items():
            every += [(f"allowances.{name}.{k}", v) for k, v in own.items()]
        return every

    def placed(self) -> tuple[Placement, ...]:
        """The placements on the cloth (those put aside left out)."""
        return tuple(p for p in self.lay if not p.aside)

    def _check_names(self, pieces: Mapping[str, Piece]) -> None:
        import difflib

        edges = {e for p in pieces.values() for e in p.edges} | {"all"}
        # 'side' speaks for 'left side' and 'right side' where the two differ
        edges |= {e.removeprefix("left ").removeprefix("right ") for e in edges}
        faults: list[Fault] = []

        def need(key: str, name: str, known: set[str], kind: str) -> None:
            if name not in known:
                near = difflib.get_close_matches(name, sorted(known), 1, 0.4)
                hint = f"Did you mean '{near[0]}'?" if near else ""
                faults.append(
                    Fault(
                        self._where(key),
                        f"there is no {kind} '{name}'; there are {', '.join(sorted(known))}.",
                        hint,
                    )
                )

        edges |= self._edges_of_blocks()  # an edge that only another style has is no slip
        for edge in self.allowances:
            need("allowances", edge, edges, "edge")
        for name, own in self.piece_allowances.items():
            need("allowances", name, set(pieces), "piece")
            for edge in own if name in pieces else ():
                need(f"allowances.{name}", edge, self._edges_of(pieces[name]), "edge")
        for name in self.cloth.joins if self.cloth is not None else ():
            need("cloth.joins", name, {*pieces, "all"}, "piece")
        for i, placement in enumerate(self.lay):
            need(f"lay[{i}].piece", placement.piece, set(pieces), "piece")
        for key in self.traced:
            need("traced", key.rsplit("/", 1)[0], set(pieces), "piece")
        faults += untaken(self.cloths, pieces, self._where(""))
        if faults:
            raise InputError(faults)

    def _edges_of(self, piece: Piece) -> set[str]:
        """The edges an allowance of this piece may name."""
        own = set(piece.edges) | {"all"}
        own |= {e.removeprefix("left ").removeprefix("right ") for e in own}
        return own if piece.name in self.imported else own | self._edges_of_blocks()

    @property
    def _blocks(self) -> list[str]:
        """The names of the garment's block and of all that are sewn to it."""
        named = [self._recipe.get("block"), *(p["block"] for p, _, _ in self._parts())]
        return [str(n) for n in named if n]

    def _edges_of_blocks(self) -> set[str]:
        from drafting.blocks import edge_names

        return {e for block in self._blocks for e in edge_names(block)}

    def unused_allowances(self) -> tuple[str, ...]:
        """Edges named under ``allowances`` that no piece of this style has, in order."""
        there = {e for p in self.every_piece().values() for e in p.edges} | {"all"}
        there |= {e.removeprefix("left ").removeprefix("right ") for e in there}
        return tuple(e for e in self.allowances if e not in there)

    def _where(self, key: str) -> str:
        return f"{self.path}: {key}" if self.path else key

    # -- changing and writing -----------------------------------------------------------------

    def replace(self, **changes: Any) -> Docket:
        """A docket with some fields changed; the rest, her comments included, stays."""
        made = dataclasses.replace(self, **changes)
        if not _DRAFT_FIELDS & set(changes):  # the drafted pieces are still the same
            kept = {
                k: v for k, v in self.__dict__.items() if k in ("_drafted", "_pieces", "_recipe")
            }
            made.__dict__.update(kept)
        return made

    def to_dict(self) -> dict[str, Any]:
        """The docket as its YAML mapping: what she wrote, with what has changed since."""
        return written.mapping_of(self)

    def save(self, path: str | Path | None = None) -> Path:
        """Write the docket whole or not at all; answer where.

        Only sections that changed are written anew. Without ``path``, where it was read from.

        Raises:
            InputError: no path is known, or the file cannot be written.
        """
        return written.save(self, path)

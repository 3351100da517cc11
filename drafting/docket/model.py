"""The docket: one file, one garment, everything the person did.

It names the wearer's measurements, the block and its style, fit changes, allowances, the cloth,
where each piece lies and which are traced. All else is computed again from it. How it is read is
in `reader`, how its garment is made in `making`, what it says of edges in `edges`, how it is written
back in `text`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from configs.errors import Fault, InputError
from configs.files import parse_yaml, read_text
from drafting.cloth import Cloth
from drafting.docket import making
from drafting.docket import text as written
from drafting.docket.cloths import Of, OtherCloth, cut_here
from drafting.docket.edges import cautions, unknown_names
from drafting.docket.reader import read_fields
from drafting.docket.telling import told_in, told_on
from drafting.lay.rules import DEFAULT_DISTANCE_MM, Rules
from drafting.measurements import Measurements
from drafting.piece import Piece
from drafting.placement import Placement
from drafting.strips import is_strip, pieced, strip_of

if TYPE_CHECKING:
    from drafting.blocks import Draft
    from drafting.docket.base import Base

_DRAFT_FIELDS = frozenset({"measurements", "garment", "base", "imported"})


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
    def _recipe(self) -> dict[str, Any]:
        """Block, style and fit to draft: the base's, with what this garment says beside it."""
        return making.recipe_of(self)

    @cached_property
    def _drafted(self) -> tuple[Draft | None, dict[str, Piece]]:
        """The garment's draft (None where it has no block) and the imported pieces, both after the
        changes."""
        return making.drafted(self)

    def draft_as(self, measurements: Measurements, fit: Sequence[Any]) -> Draft:
        """The same garment from other measurements, or with another fit list, with its changes.

        Raises:
            InputError, DraftError: as `draft`.
        """
        return making.made_for(self, measurements, {**self._recipe, "fit": fit})[0]

    def base_now(self) -> dict[str, Piece]:
        """The pieces of the base as they are drafted now, without this garment's own changes.

        Raises:
            InputError, DraftError: as `draft`.
        """
        base = self.base
        if base is None or base.recipe.get("block") is None:
            return dict(base.imported) if base else {}
        recipe = {k: v for k, v in base.recipe.items() if k != "base"}
        plain = Docket(unit=base.unit, measurements=base.measurements, garment=recipe)
        return dict(plain.draft().pieces)

    def draft(self) -> Draft:
        """The garment drafted from its measurements (cached).

        Raises:
            InputError: the docket holds no garment to draft, or a value of it is off.
            DraftError: no sound pattern follows from the measurements and style.
        """
        made = self._drafted[0]
        if made is None:
            raise InputError.of(
                self._where("garment"),
                "this docket has no garment to draft, only imported pieces."
                if self._drafted[1]
                else "this docket names no garment.",
                "Add 'garment: {block: quick-top}'; 'chalkbeam blocks' lists what there is.",
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
        at = self._where("")
        with making.told(lambda f: replace(f, where=f"{at}{f.where}")):
            made = told_on(pieced(self._pieces, joins), told_in(self)) if joins else self._pieces
        # what she says of a strip is said of its parts too
        faults = unknown_names(self, {**{n: self._pieces[n] for n in joins}, **made})
        if faults:
            raise InputError(faults)
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
        """What to know before cutting (`drafting.docket.edges.cautions`)."""
        return cautions(self)

    def placed(self) -> tuple[Placement, ...]:
        """The placements on the cloth (those put aside left out)."""
        return tuple(p for p in self.lay if not p.aside)

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

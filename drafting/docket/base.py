"""Her own base: a block with her body and what her toiles changed, which garments refer to.

A file of its own, made once with ``chalkbeam base`` and then kept: a line added to its fit list
reaches every garment that names it. The pieces as they were drafted on that day stand in it too, so
that a draft can tell which edges have moved since. An import can be a base: its pieces are there
instead of a block.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from configs.errors import InputError
from configs.files import FORMAT_VERSION, dump_yaml, read_yaml
from configs.reader import Reader
from drafting.docket.named import read_measurements
from drafting.piece import Piece
from drafting.piece_entry import entry_of, read_entries

if TYPE_CHECKING:
    from drafting.docket.model import Docket
    from drafting.measurements import Measurements

_KEYS = (
    "chalkbeam",
    "title",
    "unit",
    "wearer",
    "made",
    "measurements",
    "base",
    "pieces",
    "drafted",
)
_BASE_KEYS = ("block", "style", "fit", "changes", "with")
_WITH_KEYS = ("block", "style", "fit", "changes")


@dataclass(frozen=True, eq=False)
class Base:
    """A base, read and checked.

    ``recipe``: block, style, fit and changes as written; ``imported``: the pieces of a base that has
    no block; ``drafted``: its pieces as they were on the day ``made``.
    """

    title: str
    unit: str
    wearer: str = ""
    made: str = ""
    measurements: Measurements | None = None
    recipe: Mapping[str, Any] = field(default_factory=dict)
    imported: Mapping[str, Piece] = field(default_factory=dict)
    drafted: Mapping[str, Piece] = field(default_factory=dict)
    path: Path | None = None

    @classmethod
    def load(cls, path: str | Path) -> Base:
        """Read a base with the measurements that it names.

        Raises:
            InputError: all that is wrong with it, each fault with its key path.
        """
        path = Path(path)
        top = Reader(read_yaml(path), file=str(path)).only(_KEYS)
        top.read_unit()
        recipe = top.sub("base", _BASE_KEYS)
        if not top.has("pieces") and not isinstance(recipe.get("block"), str):
            recipe.note("block", "is missing.", "'chalkbeam base DOCKET --out FILE' writes a base.")
        measurements = read_measurements(top, path)
        base = cls(
            title=top.text("title", path.stem),
            unit=top.unit,
            wearer=top.text("wearer", measurements.wearer if measurements else ""),
            made=_day(top),
            measurements=measurements,
            recipe={str(k): v for k, v in recipe.data.items()},
            imported=read_entries(top, "pieces"),
            drafted=read_entries(top, "drafted"),
            path=path,
        )
        read_with(recipe)
        top.done()
        return base

    def style(self) -> dict[str, Any]:
        """Its style, every plain number with the base's unit, as another file may have another."""
        from drafting import blocks

        written = self.recipe.get("style") or {}
        block = self.recipe.get("block")
        if not block or not isinstance(written, Mapping):
            return dict(written)
        kinds = {o.key: o.kind for o in blocks.get(block).options}
        return {k: self._told(v, kinds.get(str(k), "")) for k, v in written.items()}

    def _told(self, value: Any, kind: str) -> Any:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        return f"{value} {self.unit}" if number and kind in ("length", "both") else value


def read_with(garment: Reader) -> None:
    """Note what is wrong with a garment's changes, and with the blocks that are sewn to it."""
    from drafting.shaping.changes import read_changes

    if garment.has("changes"):
        read_changes(garment)
    for row in garment.rows("with", _WITH_KEYS):
        if not isinstance(row.get("block"), str):
            row.note("block", "is missing.", "'chalkbeam blocks' lists what can be drafted.")
        if row.has("style"):
            row.sub("style")
        if row.has("changes"):
            read_changes(row)


def _day(top: Reader) -> str:
    value = top.get("made", "")
    return value.isoformat() if isinstance(value, date) else top.text("made")


def base_text(docket: Docket, title: str, made: str, target: Path) -> str:
    """The file of a base made from a docket; ``target``: where it will stand.

    Raises:
        InputError: the docket has neither a garment nor imported pieces; or it refers to a base.
    """
    from drafting.docket.text import seen_from

    garment = dict(docket.garment or {})
    if docket.base is not None:
        raise InputError.of(
            str(docket.path or "garment.base"),
            f"is drawn from a base already, {garment.get('base')}.",
            "Change that base, or copy it.",
        )
    if not garment.get("block") and not docket.imported:
        docket.draft()
    data: dict[str, Any] = {"chalkbeam": FORMAT_VERSION, "title": title, "unit": docket.unit}
    if docket.wearer:
        data["wearer"] = docket.wearer
    data["made"] = made
    named = docket._raw.get("measurements")
    if named is not None:
        own = docket.path
        data["measurements"] = (
            seen_from(own, named, target) if isinstance(named, str) and own is not None else named
        )
    data["base"] = {k: garment[k] for k in _BASE_KEYS if garment.get(k)}
    if not garment.get("block"):
        data["pieces"] = [entry_of(p, docket.unit) for p in docket.imported.values()]
    else:
        drafted = docket.draft().pieces
        data["drafted"] = [entry_of(p, docket.unit) for p in drafted.values()]
    if not data["base"]:
        data["base"] = {"changes": []}
    return (
        f"# A base: garments refer to it with 'garment: {{base: {target.name}}}'. Add what a toile\n"
        "# shows to its fit list; 'drafted' is how it was on the day it was made.\n"
    ) + dump_yaml(data)

"""A docket read: from the mapping of its file, and of the files that it names, to a docket's
fields.

After the YAML, before anything is drafted. Every fault is told with its key path, all at once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from configs.errors import InputError, short
from configs.reader import Reader, kind_of, unknown_keys
from drafting.allowance import MOST_MM, SMALL_ALLOWANCE_MM
from drafting.cloth import Cloth
from drafting.docket.base import Base, read_with
from drafting.docket.cloths import Of, cloth_for, cut_here, read_cloths, read_of
from drafting.docket.making import strange_edges
from drafting.docket.named import loaded, read_measurements
from drafting.docket.text import WRITTEN
from drafting.fit import FORM
from drafting.lay.rules import DEFAULT_DISTANCE_MM, LEAST_BARE_DISTANCE_MM, MOST_DISTANCE_MM
from drafting.piece_entry import read_entries
from drafting.placement import Placement

if TYPE_CHECKING:
    from drafting.docket.model import Docket

_KEYS = ("chalkbeam", *WRITTEN, "cloths", "of")
_GARMENT_KEYS = ("block", "base", "style", "fit", "changes", "with")
_LAY_KEYS = ("piece", "copy", "at", "turn", "mirrored", "locked", "aside", "layer")
_RECORD_KEYS = ("date", "note", "photo")


def read_fields(
    data: Mapping[str, Any], path: Path | None, load: Callable[[Path], Docket]
) -> dict[str, Any]:
    """What a docket's mapping says, by the fields of a `Docket`.

    ``path``: its file, which anchors the files that it names; ``load`` reads another docket.

    Raises:
        InputError: all that is wrong with it, each fault with its key path.
    """
    top = Reader(data, file=str(path) if path else "").only(_KEYS)
    top.read_unit()
    title = top.text("title", "untitled")
    of = read_of(top, path, load)
    cloths = read_cloths(top)
    allowances, own = _allowances(top)
    measurements = read_measurements(top, path)
    garment = _garment(top)
    base = _base(top, garment, path)
    if measurements is None and base is not None and not top.has("measurements"):
        measurements = base.measurements
    wearer = top.text("wearer", measurements.wearer if measurements else "")
    fields: dict[str, Any] = {
        "title": title,
        "unit": top.unit,
        "wearer": wearer,
        "measurements": measurements,
        "garment": garment,
        "base": base,
        "imported": read_entries(top, "pieces"),
        "quantity": top.count("quantity", high=100),
        "allowances": allowances,
        "piece_allowances": own,
        "cloth": _cloth(top, path) if of is None else None,
        "distance_mm": top.length("distance", 0.0, MOST_DISTANCE_MM, least=LEAST_BARE_DISTANCE_MM)
        if "distance" in top.data
        else DEFAULT_DISTANCE_MM,
        "shares": _shares(top, path),
        "lay": _lay(top),
        "traced": _traced(top),
        "table": _named(top.sub("table")),
        "record": tuple(dict(row.data) for row in top.rows("record", _RECORD_KEYS)),
        "path": path,
        "cloths": cloths,
        "of": None,
        "_raw": dict(top.data),
    }
    if of is not None:
        fields |= _inherited(top, *of)
    fields["lay"] = tuple(
        p for p in fields["lay"] if cut_here(p.piece, fields["cloths"], fields["of"])
    )
    if (
        top.faults
    ):  # a docket that must be mended is told whole: what drafting would say comes along
        _garment_faults(top, fields["garment"])
    top.done()
    return fields


def _garment_faults(top: Reader, garment: Mapping[str, Any] | None) -> None:
    """Note what is wrong with block, style, fit, and with the edges that allowances name."""
    from drafting import blocks
    from drafting.fit import parse_fit
    from drafting.style import resolve

    name = (garment or {}).get("block")
    if garment is None or not isinstance(name, str):
        return
    at = top.place("garment")
    try:
        block = blocks.get(name)
    except InputError as error:
        top.faults += [replace(f, where=f"{at}.{f.where}") for f in error.faults]
        return
    for read in (
        lambda: len(resolve(block.options, garment.get("style"), top.unit, f"{at}.style")),
        lambda: len(parse_fit(garment.get("fit"), top.unit, f"{at}.fit")),
    ):
        top.tried(read, 0)
    sizes = top.get("allowances")
    if isinstance(sizes, Mapping) and not garment.get("changes") and not garment.get("with"):
        named = [str(e) for e, mm in sizes.items() if not isinstance(mm, Mapping)]
        top.faults += strange_edges(name, named, top.place("allowances"))


def _inherited(top: Reader, of: Of, garment: Docket) -> dict[str, Any]:
    """What the docket of one further cloth has from the garment's; it says nothing of it itself."""
    for key in ("garment", "measurements", "pieces", "allowances", "cloths", "quantity"):
        if top.has(key):
            top.note(key, f"is said in {of.docket}, the garment's docket.", "Take it out here.")
    same = (
        "measurements", "garment", "base", "imported", "quantity", "allowances",
        "piece_allowances", "distance_mm", "cloths", "wearer",
    )  # fmt: skip
    return {
        **{name: getattr(garment, name) for name in same},
        "cloth": cloth_for(of, garment, top),
        "of": of,
    }


def _named(reader: Reader) -> dict[str, Any]:
    return {str(k): v for k, v in reader.data.items()}


def _garment(top: Reader) -> Mapping[str, Any] | None:
    if not top.has("garment"):
        return None
    garment = top.sub("garment")
    odd = _style_keys(garment)
    for key in odd:
        garment.note(
            key,
            "is a matter of style.",
            f"Write it as 'style: {{{key}: {short(garment.data[key])}}}'.".replace("'", '"'),
        )
    rest = {k: v for k, v in garment.data.items() if k not in odd}
    top.faults += unknown_keys(rest, _GARMENT_KEYS, garment.place())
    adds = garment.has("changes") or garment.has("with")
    only_changes = adds and top.has("pieces") and not garment.has("block")
    if garment.has("base") and garment.has("block"):
        garment.note("base", "stands beside a block.", "Name one of them; a base has its block.")
    if garment.has("base"):
        only_changes = True
    if not only_changes and not isinstance(garment.get("block"), str):
        garment.note("block", "is missing.", "'chalkbeam blocks' lists what can be drafted.")
    if garment.has("style"):
        garment.sub("style")
    fit = garment.get("fit")
    if fit is not None and not isinstance(fit, list):
        garment.note(
            "fit", f"should be a list of changes, not {kind_of(fit)}.", f"Write '- {FORM}'."
        )
    read_with(garment)
    return _named(garment)


def _base(top: Reader, garment: Mapping[str, Any] | None, path: Path | None) -> Base | None:
    """The base that a garment is drawn from."""
    name = (garment or {}).get("base")
    if name is None:
        return None
    if not isinstance(name, str):
        top.note("garment.base", "should be a file's name.", "Such as 'base: alto-3-top.yaml'.")
        return None
    made = "make one: chalkbeam base DOCKET.yaml --out FILE.yaml"
    return loaded(top, path, "base", name, Base.load, made)


def _style_keys(garment: Reader) -> list[str]:
    """Keys written beside ``block`` that are style options of that block."""
    others = [k for k in garment.data if k not in _GARMENT_KEYS]
    if not others:
        return []
    from drafting import blocks

    block = str(garment.get("block"))
    known = {o.key for o in blocks.get(block).options} if block in blocks.names() else set()
    return [k for k in others if k in known]


def _allowances(top: Reader) -> tuple[dict[str, float], dict[str, dict[str, float]]]:
    sizes: dict[str, float] = {}
    own: dict[str, dict[str, float]] = {}

    def each(reader: Reader) -> dict[str, float]:
        return {str(k): reader.length(k, 0, MOST_MM, least=SMALL_ALLOWANCE_MM) for k in reader.data}

    every = top.sub("allowances")
    for key, value in every.data.items():
        if isinstance(value, Mapping):
            own[str(key)] = each(every.inner(str(key), value))
        else:
            sizes[str(key)] = every.length(
                str(key), 0, MOST_MM, least=SMALL_ALLOWANCE_MM, value=value
            )
    rows = top.get("pieces", [])
    for i, row in enumerate(rows if isinstance(rows, list) else []):
        if not isinstance(row, Mapping) or row.get("allowances") is None:
            continue
        mine = each(top.inner(f"pieces[{i}]", row).sub("allowances"))
        if isinstance(row.get("name"), str):
            own[row["name"]] = mine
    return sizes, own


def _cloth(top: Reader, path: Path | None) -> Cloth | None:
    value = top.get("cloth")
    if value is None:
        return None
    if isinstance(value, str):
        made = "write the cloth into the docket itself: cloth: {width: 1400 mm}"
        return loaded(top, path, "cloth", value, Cloth.load, made)
    inner = {"unit": top.unit, **_named(top.sub("cloth"))}
    if not isinstance(value, Mapping):
        return None
    return top.tried(lambda: Cloth.from_dict(inner, where=top.place("cloth")), None)


def _shares(top: Reader, path: Path | None) -> tuple[str, ...]:
    names = top.texts("shares", "should list other dockets' files.", "Example: shares: [tie.yaml]")
    own = path.resolve() if path else None
    for name in names:
        if own is not None and (own.parent / name).resolve() == own:
            top.note("shares", f"'{name}' is this docket itself.", "Name the other one.")
    return names


def _lay(top: Reader) -> tuple[Placement, ...]:
    placements: list[Placement] = []
    seen: set[str] = set()
    for row in top.rows("lay", _LAY_KEYS):
        name = row.text("piece", need=True)
        if not name:
            continue
        placement = Placement(
            name,
            row.count("copy"),
            row.point("at"),
            row.number("turn", 0.0, -1e6, 1e6, "a number of degrees"),
            row.flag("mirrored"),
            row.flag("locked"),
            row.flag("aside"),
            row.word("layer", ("upper", "lower")) == "lower",
        )
        if placement.key in seen:
            row.note("", f"{placement.key} is laid twice.", "Number the copies 1, 2, …")
        seen.add(placement.key)
        placements.append(placement)
    return tuple(placements)


def _traced(top: Reader) -> tuple[str, ...]:
    keys = top.get("traced", [])
    if not isinstance(keys, list) or not all(
        isinstance(v, str) and re.fullmatch(r"[^/]+/[0-9]{1,6}", v) for v in keys
    ):
        top.note("traced", "should be a list of piece/copy.", "Example: [front/1, back/1]")
        return ()
    return tuple(dict.fromkeys(keys))

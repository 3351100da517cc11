"""A docket written back: only what differs from the file as it was read is written anew.

The other end of `reader`. Her comments and her order of keys stay as she wrote them.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from configs.errors import Fault, InputError
from configs.files import FORMAT_VERSION, write_atomic
from configs.rewrite import merged
from drafting.piece_entry import entry_of
from drafting.placement import Placement

if TYPE_CHECKING:
    from drafting.cloth import Cloth
    from drafting.docket.model import Docket


def mapping_of(docket: Docket) -> dict[str, Any]:
    """The docket as its YAML mapping: what she wrote, with what has changed since."""
    data = dict(docket._raw) or {"chalkbeam": FORMAT_VERSION, "title": docket.title}
    before = docket._before or type(docket)(title=docket.title)
    if docket.title != before.title:
        data["title"] = docket.title
    if docket.wearer != before.wearer:
        data["wearer"] = docket.wearer
    if docket.unit != before.unit:
        data["unit"] = docket.unit
    if docket.garment != before.garment:
        _set(data, "garment", dict(docket.garment) if docket.garment else None)
    if docket.measurements is not before.measurements and (
        docket.measurements is None
        or before.measurements is None
        or docket.measurements.to_dict() != before.measurements.to_dict()
    ):
        _set(data, "measurements", docket.measurements.to_dict() if docket.measurements else None)
    if set(docket.imported) != set(before.imported) or any(
        docket.imported[n] is not before.imported[n]
        and entry_of(docket.imported[n]) != entry_of(before.imported[n])
        for n in docket.imported
    ):
        _set(data, "pieces", [entry_of(p, docket.unit) for p in docket.imported.values()])
    if docket.quantity != before.quantity:
        data["quantity"] = docket.quantity
    if (docket.allowances, docket.piece_allowances) != (
        before.allowances,
        before.piece_allowances,
    ):
        sizes: dict[str, Any] = {k: _mm(v) for k, v in docket.allowances.items()}
        for name, own in docket.piece_allowances.items():
            sizes[name] = {k: _mm(v) for k, v in own.items()}
        _set(data, "allowances", sizes)
    if docket.cloth != before.cloth:
        _set(
            data,
            "cloth",
            _cloth(docket.cloth, before.cloth, data.get("cloth"), of_another=docket.of is not None),
        )
    if docket.distance_mm != before.distance_mm:
        data["distance"] = _mm(docket.distance_mm)
    if docket.shares != before.shares:
        _set(data, "shares", list(docket.shares))
    if docket.lay != before.lay:
        _set(data, "lay", [_placement(p, docket.unit) for p in docket.lay])
    if docket.traced != before.traced:
        _set(data, "traced", list(docket.traced))
    if dict(docket.table) != dict(before.table):
        _set(data, "table", dict(docket.table))
    if docket.record != before.record:
        _set(data, "record", [dict(r) for r in docket.record])
    return data


def save(docket: Docket, path: str | Path | None = None) -> Path:
    """Write a docket whole or not at all; answer where.

    Only sections that changed are written anew. Without ``path``, where it was read from.

    Raises:
        InputError: no path is known, or the file cannot be written.
    """
    target = Path(path) if path is not None else docket.path
    if target is None:
        raise InputError(Fault("", "this docket was never saved.", "Say where to save it."))
    data = mapping_of(docket)
    if docket.path is not None and target.resolve().parent != docket.path.resolve().parent:
        for key in ("measurements", "cloth", "shares", "of"):
            named = data.get(key)
            if isinstance(named, str):
                data[key] = seen_from(docket.path, named, target)
            elif key == "of" and isinstance(named, dict):
                data[key] = {**named, "docket": seen_from(docket.path, named["docket"], target)}
            elif isinstance(named, list):
                data[key] = [seen_from(docket.path, str(n), target) for n in named]
    write_atomic(target, merged(docket._text, docket._raw, data))
    return target


def seen_from(own: Path, named: str, target: Path) -> str:
    """A file that the docket ``own`` names, as seen from the folder of ``target``."""
    if Path(named).is_absolute():
        return named
    at = own.resolve().parent / named
    try:
        return Path(os.path.relpath(at, target.resolve().parent)).as_posix()
    except ValueError:  # another drive
        return str(at)


def _cloth(cloth: Cloth | None, before: Cloth | None, raw: Any, *, of_another: bool = False) -> Any:
    """A cloth as written: keys that have not changed stay as she wrote them.

    ``of_another``: the cloth is described in the garment's docket; only how it is folded is here.
    """
    if cloth is None:
        return None
    made = cloth.to_dict()
    if of_another:
        return {k: made[k] for k in ("fold", "opened", "pieced") if k in made}
    if before is None or not isinstance(raw, Mapping):
        return made
    was = before.to_dict()
    changed = {k for k in {*made, *was} if made.get(k) != was.get(k)}
    if "unit" in changed:
        return made
    out: dict[Any, Any] = {}
    for spelt, value in raw.items():
        key = str(spelt).replace(" ", "_").replace("-", "_")
        if key not in changed:
            out[spelt] = value
        elif key in made:
            out[spelt] = made.pop(key)
    return out | {k: v for k, v in made.items() if k in changed and k not in out}


def _placement(p: Placement, unit: str) -> dict[str, Any]:
    x, y = (round(float(v), 4) + 0.0 for v in p.at)
    entry: dict[str, Any] = {
        "piece": p.piece,
        "copy": p.copy,
        "at": [x, y] if unit == "mm" else [f"{x} mm", f"{y} mm"],
        "turn": round(p.turn_deg, 6) + 0.0,
        "mirrored": p.mirrored,
        "locked": p.locked,
    }
    if p.aside:
        entry["aside"] = True
    if p.lower:
        entry["layer"] = "lower"
    return entry


def _set(data: dict[str, Any], key: str, value: Any) -> None:
    """Set a section, or take it out when it holds nothing."""
    if value in (None, [], {}):
        data.pop(key, None)
    else:
        data[key] = value


def _mm(value: float) -> str:
    return f"{value:.10g} mm"

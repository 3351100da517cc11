"""A docket written back: only what differs from the file as it was read is written anew.

The other end of `reader`. Her comments and her order of keys stay as she wrote them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from configs.errors import InputError
from configs.files import FORMAT_VERSION, path_from, write_atomic
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
    for key, (fields, written) in WRITTEN.items():
        if any(_differs(f, getattr(docket, f), getattr(before, f)) for f in fields):
            value = written(docket)
            if key == "cloth":
                value = _cloth(docket.cloth, before.cloth, data.get(key), docket.of is not None)
            if value in (None, [], {}):
                data.pop(key, None)
            else:
                data[key] = value
    return data


def _differs(field: str, now: Any, was: Any) -> bool:
    """Whether a field is another one now; what was read anew from the same text is not."""
    if now == was:
        return False
    if field == "measurements":
        return None in (now, was) or bool(now.to_dict() != was.to_dict())
    if field == "imported" and set(now) == set(was):
        return any(now[n] is not was[n] and entry_of(now[n]) != entry_of(was[n]) for n in now)
    return True


def _sizes(docket: Docket) -> dict[str, Any]:
    own = {n: {k: _mm(v) for k, v in a.items()} for n, a in docket.piece_allowances.items()}
    return {k: _mm(v) for k, v in docket.allowances.items()} | own


# key of the file → the fields that it holds, and how they are written; in the order of a new file
WRITTEN: dict[str, tuple[tuple[str, ...], Callable[[Docket], Any]]] = {
    "title": (("title",), lambda d: d.title),
    "wearer": (("wearer",), lambda d: d.wearer),
    "unit": (("unit",), lambda d: d.unit),
    "garment": (("garment",), lambda d: dict(d.garment or {})),
    "measurements": (("measurements",), lambda d: d.measurements and d.measurements.to_dict()),
    "pieces": (("imported",), lambda d: [entry_of(p, d.unit) for p in d.imported.values()]),
    "quantity": (("quantity",), lambda d: d.quantity),
    "allowances": (("allowances", "piece_allowances"), _sizes),
    "cloth": (("cloth",), lambda d: None),
    "distance": (("distance_mm",), lambda d: _mm(d.distance_mm)),
    "shares": (("shares",), lambda d: list(d.shares)),
    "lay": (("lay",), lambda d: [_placement(p, d.unit) for p in d.lay]),
    "traced": (("traced",), lambda d: list(d.traced)),
    "table": (("table",), lambda d: dict(d.table)),
    "record": (("record",), lambda d: [dict(r) for r in d.record]),
}


def save(docket: Docket, path: str | Path | None = None) -> Path:
    """Write a docket whole or not at all; answer where.

    Only sections that changed are written anew. Without ``path``, where it was read from.

    Raises:
        InputError: no path is known, or the file cannot be written.
    """
    target = Path(path) if path is not None else docket.path
    if target is None:
        raise InputError.of("", "this docket was never saved.", "Say where to save it.")
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
    return path_from(target.resolve().parent, at)


def _cloth(cloth: Cloth | None, before: Cloth | None, raw: Any, of_another: bool) -> Any:
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


def _mm(value: float) -> str:
    return f"{value:.10g} mm"

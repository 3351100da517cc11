"""A walk through the bays kept in the docket, so that a killed program opens in the same one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from configs.errors import InputError
from projector.picture.view import SIDES, View
from projector.tools.bays.model import (
    Bay,
    BayPlan,
    Box,
    Cross,
    Window,
)
from projector.tools.bays.walk import PHASES, Baywalk, in_any_order


def to_dict(walk: Baywalk) -> dict[str, Any]:
    """Plain data for ``table: {bays: …}``; `from_dict` reads it back to the same state."""
    plan, w = walk.plan, walk.plan.window

    def box(b: Box) -> list[float | None]:
        return [round(v, 7) + 0.0 if math.isfinite(v) else None for v in b]

    data: dict[str, Any] = {
        "at": walk.at,
        "phase": walk.phase,
        "view": walk.view.to_dict(),
        "window": {
            "turn": w.turn_deg,
            "mirror": w.mirror,
            "low": list(w.low),
            "high": list(w.high),
            "side": w.side,
        },
        "crosses": [
            {"label": c.label, "at": list(c.at), "on_piece": c.on_piece, "arm": c.arm_mm}
            for c in plan.crosses.values()
        ],
        "plan": [
            {
                "rect": box(b.rect),
                "whole": list(b.whole),
                "parts": {k: box(v) for k, v in b.parts.items()},
                "crosses": list(b.crosses),
            }
            for b in plan.bays
        ],
        "chalked": list(walk.chalked),
        "visited": list(walk.visited),
        "marked": [[k, i] for k, i in walk.marked],
    }
    now_and_then = {
        "notes": list(plan.notes),
        "before": None if walk.before is None else walk.before.to_dict(),
        "came": walk.came,
        "wanted": list(walk.wanted),
        "taken": [[round(x, 7), round(y, 7)] for x, y in walk.taken],
    }
    return data | {k: v for k, v in now_and_then.items() if v not in (None, [])}


def from_dict(data: Any, where: str = "table.bays") -> Baywalk:
    """The state kept in the docket.

    Raises:
        InputError: it cannot be read; taking it out begins the bays anew, the traces stay.
    """
    try:
        return _read(data, where)
    except InputError:
        raise
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        raise InputError.of(
            where, f"cannot be read ({error}).", "Take it out to plan the bays anew."
        ) from error


def _read(data: Mapping[str, Any], where: str) -> Baywalk:
    def box(values: Sequence[Any]) -> Box:
        x0, y0, x1, y1 = values
        low = [-math.inf if v is None else float(v) for v in (x0, y0)]
        high = [math.inf if v is None else float(v) for v in (x1, y1)]
        return (low[0], low[1], high[0], high[1])

    def pair(values: Sequence[Any]) -> tuple[float, float]:
        x, y = (float(v) for v in values)
        if not (math.isfinite(x) and math.isfinite(y)):
            raise ValueError("a place that is not finite")
        return x, y

    w = data["window"]
    side = w.get("side", "near")
    if side not in SIDES:
        raise ValueError(f"side {side!r}")
    window = Window(float(w["turn"]), bool(w["mirror"]), pair(w["low"]), pair(w["high"]), side)
    crosses = {
        str(c["label"]): Cross(
            str(c["label"]), pair(c["at"]), bool(c.get("on_piece", False)), float(c["arm"])
        )
        for c in data["crosses"]
    }
    bays = tuple(
        Bay(
            i,
            box(b["rect"]),
            tuple(str(k) for k in b["whole"]),
            {str(k): box(v) for k, v in b["parts"].items()},
            tuple(str(c) for c in b["crosses"]),
        )
        for i, b in enumerate(data["plan"])
    )
    plan = BayPlan(bays, crosses, window, tuple(data.get("notes", ())))
    at, phase = data["at"], data["phase"]
    wanted = tuple(str(c) for c in data.get("wanted", ()))
    chalked = tuple(str(c) for c in data.get("chalked", ()))
    taken = tuple(pair(p) for p in data.get("taken", ()))
    visited = tuple(int(v) for v in data.get("visited", ()))
    named = {*wanted, *chalked, *(c for b in bays for c in b.crosses)}
    if not isinstance(at, int) or not 0 <= at < len(bays):
        raise ValueError(f"there is no bay {at!r}")
    if phase not in PHASES or not named <= set(crosses) or len(taken) > len(wanted):
        raise ValueError("its parts do not go together")
    registration = None
    if taken and len(taken) == len(wanted):
        registration = in_any_order(
            np.array([crosses[c].at for c in wanted]), np.array(taken), window.view(bays[at].rect)
        )
    before = View.from_dict(data["before"], f"{where}.before") if "before" in data else None
    came = int(data["came"]) if "came" in data else None
    if came is not None and not 0 <= came < len(bays):
        raise ValueError(f"there is no bay {came}")
    return Baywalk(
        plan,
        at,
        phase if phase != "check" or registration is not None else "move",
        View.from_dict(data["view"], f"{where}.view"),
        before,
        came,
        chalked,
        wanted,
        taken,
        registration,
        visited,
        tuple((str(k), int(i)) for k, i in data.get("marked", ())),
    )

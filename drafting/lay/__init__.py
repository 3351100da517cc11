"""The lay: pieces placed on the cloth so that little of it is wasted.

Names are loaded on first use.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drafting.cloth import Cloth as Cloth
    from drafting.lay.check import Judge as Judge
    from drafting.lay.check import Problem as Problem
    from drafting.lay.check import judge as judge
    from drafting.lay.laid import LaidPiece as LaidPiece
    from drafting.lay.model import Lay as Lay
    from drafting.lay.planner import Effort as Effort
    from drafting.lay.planner import plan as plan
    from drafting.lay.rules import Rules as Rules
    from drafting.placement import Placement as Placement

_HOMES = {
    "Cloth": "drafting.cloth",
    "Effort": "drafting.lay.planner",
    "Judge": "drafting.lay.check",
    "LaidPiece": "drafting.lay.model",
    "Lay": "drafting.lay.model",
    "Placement": "drafting.placement",
    "Problem": "drafting.lay.check",
    "Rules": "drafting.lay.rules",
    "judge": "drafting.lay.check",
    "plan": "drafting.lay.planner",
}
__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    """Load a public name from its module (PEP 562)."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'drafting.lay' has no attribute {name!r}")

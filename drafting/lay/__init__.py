"""The lay: pieces placed on the cloth so that little of it is wasted.

Names are loaded on first use.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drafting.cloth import Cloth as Cloth
    from drafting.lay.model import LaidPiece as LaidPiece
    from drafting.lay.model import Lay as Lay
    from drafting.lay.planner import plan as plan

_HOMES = {
    "Cloth": "drafting.cloth",
    "LaidPiece": "drafting.lay.model",
    "Lay": "drafting.lay.model",
    "plan": "drafting.lay.planner",
}
__all__ = ["Cloth", "LaidPiece", "Lay", "plan"]


def __getattr__(name: str) -> Any:
    """Load a public name from its module (PEP 562)."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'drafting.lay' has no attribute {name!r}")

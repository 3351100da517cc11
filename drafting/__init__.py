"""Drafting: from body measurements to pieces, and pieces laid on cloth.

Names are loaded on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drafting.blocks import Draft as Draft
    from drafting.blocks import draft as draft
    from drafting.docket import Docket as Docket
    from drafting.errors import DraftingError as DraftingError
    from drafting.errors import InputError as InputError
    from drafting.measurements import Measurements as Measurements
    from drafting.piece import Piece as Piece

_HOMES = {
    "Docket": "drafting.docket",
    "Draft": "drafting.blocks",
    "DraftingError": "drafting.errors",
    "InputError": "drafting.errors",
    "Measurements": "drafting.measurements",
    "Piece": "drafting.piece",
    "draft": "drafting.blocks",
}
__all__ = [
    "Docket",
    "Draft",
    "DraftingError",
    "InputError",
    "Measurements",
    "Piece",
    "draft",
]


def __getattr__(name: str) -> Any:
    """Load a public name from its module (PEP 562)."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'drafting' has no attribute {name!r}")

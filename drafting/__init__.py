"""Drafting: from body measurements to pieces, and pieces laid on cloth.

Names are loaded on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from configs.errors import ChalkbeamError as ChalkbeamError
    from configs.errors import InputError as InputError
    from drafting.blocks import Draft as Draft
    from drafting.blocks import draft as draft
    from drafting.docket import Docket as Docket
    from drafting.measurements import Measurements as Measurements
    from drafting.piece import Piece as Piece

_HOMES = {
    "Docket": "drafting.docket",
    "Draft": "drafting.blocks",
    "ChalkbeamError": "configs.errors",
    "InputError": "configs.errors",
    "Measurements": "drafting.measurements",
    "Piece": "drafting.piece",
    "draft": "drafting.blocks",
}
__all__ = [
    "ChalkbeamError",
    "Docket",
    "Draft",
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

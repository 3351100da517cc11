"""Drafting: from body measurements to pieces, and pieces laid on cloth.

Names are loaded on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from configs.errors import ChalkbeamError as ChalkbeamError
    from configs.errors import DraftError as DraftError
    from configs.errors import InputError as InputError
    from configs.errors import LayError as LayError
    from drafting import lay as lay
    from drafting.blocks import Draft as Draft
    from drafting.blocks import draft as draft
    from drafting.cloth import Cloth as Cloth
    from drafting.docket import Docket as Docket
    from drafting.measurements import Measurements as Measurements
    from drafting.piece import Piece as Piece
    from drafting.placement import Placement as Placement

_HOMES = {
    "ChalkbeamError": "configs.errors",
    "Cloth": "drafting.cloth",
    "Docket": "drafting.docket",
    "Draft": "drafting.blocks",
    "DraftError": "configs.errors",
    "InputError": "configs.errors",
    "LayError": "configs.errors",
    "Measurements": "drafting.measurements",
    "Piece": "drafting.piece",
    "Placement": "drafting.placement",
    "draft": "drafting.blocks",
    "lay": "drafting.lay",
}
__all__ = [
    "ChalkbeamError",
    "Cloth",
    "Docket",
    "Draft",
    "DraftError",
    "InputError",
    "LayError",
    "Measurements",
    "Piece",
    "Placement",
    "draft",
    "lay",
]


def __getattr__(name: str) -> Any:
    """Load a public name from its module, or the module of that name (PEP 562)."""
    if name in _HOMES:
        home = import_module(_HOMES[name])
        return home if home.__name__ == f"{__name__}.{name}" else getattr(home, name)
    raise AttributeError(f"module 'drafting' has no attribute {name!r}")

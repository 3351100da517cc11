"""Calibrate: how the projector over the table sees that table, and how sure that is.

Names are loaded on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calibrate.calibration import Calibration as Calibration
    from configs.errors import ChalkbeamError as ChalkbeamError
    from configs.errors import Refusal as Refusal

_HOMES = {
    "Calibration": "calibrate.calibration",
    "ChalkbeamError": "configs.errors",
    "Refusal": "configs.errors",
}
__all__ = ["Calibration", "ChalkbeamError", "Refusal"]


def __getattr__(name: str) -> Any:
    """Load a public name from its module (PEP 562)."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'calibrate' has no attribute {name!r}")

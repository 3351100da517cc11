"""Calibrate: how the projector over the table sees that table, and how sure that is.

Names are loaded on first use, so that importing the package costs nothing. The README shows them
at work.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calibrate import cards as cards
    from calibrate import detect as detect
    from calibrate import pattern as pattern
    from calibrate import solve as solve
    from calibrate import tape as tape
    from calibrate.calibration import Calibration as Calibration
    from calibrate.cards import card_set as card_set
    from calibrate.pattern import pattern_for as pattern_for
    from calibrate.photo import read_photo as read_photo
    from calibrate.readings import load_readings as load_readings
    from calibrate.solve import solve_photos as solve_photos
    from calibrate.tape import solve_tape as solve_tape
    from configs.errors import ChalkbeamError as ChalkbeamError
    from configs.errors import InputError as InputError
    from configs.errors import Refusal as Refusal

_HOMES = {
    "Calibration": "calibrate.calibration",
    "ChalkbeamError": "configs.errors",
    "InputError": "configs.errors",
    "Refusal": "configs.errors",
    "card_set": "calibrate.cards",
    "cards": "calibrate.cards",
    "detect": "calibrate.detect",
    "load_readings": "calibrate.readings",
    "pattern": "calibrate.pattern",
    "pattern_for": "calibrate.pattern",
    "read_photo": "calibrate.photo",
    "solve": "calibrate.solve",
    "solve_photos": "calibrate.solve",
    "solve_tape": "calibrate.tape",
    "tape": "calibrate.tape",
}
__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    """Load a public name from its module, or the module of that name (PEP 562)."""
    if name in _HOMES:
        home = import_module(_HOMES[name])
        return home if home.__name__ == f"{__name__}.{name}" else getattr(home, name)
    raise AttributeError(f"module 'calibrate' has no attribute {name!r}")

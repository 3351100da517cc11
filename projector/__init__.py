"""Projector: the commands, the picture on the cloth and the hands that move it.

The top package: it may use both `drafting` and `calibrate`, which do not know each other.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from projector.picture.scene import render as render

__all__ = ["render"]


def __getattr__(name: str) -> Any:
    """Load a public name from its module (PEP 562)."""
    if name == "render":
        return import_module("projector.picture.scene").render
    raise AttributeError(f"module 'projector' has no attribute {name!r}")

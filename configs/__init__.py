"""The ground floor: what people write in files, how it is read and written back, and how an
error is told. Beside it lie the shipped examples. Needs no numpy; every other package may use it.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path


def shipped(*parts: str) -> Path:
    """A shipped file or folder (measurements, styles, cloth, dockets, keys.yaml, pictures).

    In the checkout and in the installed package alike it lies beside this module.
    """
    return Path(str(resources.files(__name__).joinpath(*parts)))

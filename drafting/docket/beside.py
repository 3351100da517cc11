"""The small docket of one of a garment's further cloths, found beside it or made anew.

Above `model`, which reads both.
"""

from __future__ import annotations

from typing import Any

from configs.errors import InputError
from drafting.docket.cloths import need_cloth
from drafting.docket.model import Docket


def docket_of_cloth(garment: Docket, name: str) -> Docket:
    """The small docket of one of a garment's cloths: as it lies beside it, or a new one without a lay.

    Raises:
        InputError: there is no such cloth, the garment was never saved, or another file has its name.
    """
    need_cloth(garment, name, "--cloth")
    if garment.path is None:
        raise InputError.of("", "this docket was never saved.", "Save it first.")
    path = garment.path.with_name(f"{garment.path.stem}.{name.replace(' ', '-')}.yaml")
    if path.exists():
        found = Docket.load(path)
        if found.of is None or found.of.cloth != name:
            raise InputError.of(
                str(path),
                f"is where the lay of '{name}' belongs, and is another file.",
                "Rename it.",
            )
        return found
    data: dict[str, Any] = {
        "chalkbeam": 1,
        "title": f"{garment.title}, {name}",
        "unit": garment.unit,
        "of": {"docket": garment.path.name, "cloth": name},
    }
    return Docket.from_dict(data, path=path)

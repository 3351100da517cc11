"""In which system of lengths a docket's garment is told: one in one sitting, one on one sheet."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from configs.units import INCH_UNITS

if TYPE_CHECKING:
    from drafting.docket.model import Docket


def told_in(docket: Docket) -> str:
    """'in' for who works in inches, 'cm' for all others: by the docket's unit, else as cloth and body are.

    A body in inches on cloth that she wrote in metres is told in cm.
    """
    if docket.unit != "mm" or docket.measurements is None:
        return "in" if docket.unit in INCH_UNITS else "cm"
    cloth = str(docket.to_dict().get("cloth") or "")
    metric = bool(re.search(r"\d *(mm|cm|m)\b", cloth))
    return "in" if docket.measurements.unit in INCH_UNITS and not metric else "cm"

"""Contrast of every line and word on cloth: ``python tests/bench/bench_contrast.py``.

The model of `projector.picture.contrast`: the room gives 18 % of the projector's white. For each
cloth, the ink that the table takes by itself, and the luminance of line over ground (or ground over
line) of each kind, on the worst of the cloth's colours; 3 is asked.
"""

from __future__ import annotations

import sys

from projector.picture.contrast import LEAST, colours_in, seen_on
from projector.picture.look import STYLES, ink_for, suited

CLOTHS = (
    "white", "unbleached", "grey", "charcoal", "black", "navy", "dark green", "wine red", "red",
    "mustard yellow", "sky blue", "blue and white", "black and white", "red and navy",
)  # fmt: skip
KINDS = (
    "cutting",
    "sewing",
    "fold",
    "grain",
    "notch",
    "label",
    "text",
    "trouble",
    "cloth",
    "button",
)


def table() -> tuple[list[list[str]], float]:
    """Rows of words, and the least contrast in them."""
    rows, least = [["cloth", "ink", *KINDS, "not its turn"]], 99.0
    for words in CLOTHS:
        cloth = colours_in(words)
        name = ink_for(cloth)
        ink = suited(name, cloth)
        seen = [seen_on(ink.colours[STYLES[k].colour], ink.ground, cloth) for k in KINDS]
        seen.append(seen_on(ink.faint, ink.ground, cloth))
        least = min(least, *seen)
        rows.append([words, name, *(f"{v:.1f}" for v in seen)])
    return rows, least


if __name__ == "__main__":
    made, worst = table()
    for row in made:
        print(f"{row[0]:>16} {row[1]:>6} " + " ".join(f"{w:>8}" for w in row[2:]))
    print(f"the least: {worst:.2f} (asked {LEAST:.0f})")
    sys.exit(0 if worst >= LEAST else 1)

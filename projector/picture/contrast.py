"""Whether light is seen on cloth: colours of lines on this cloth, with the room's own light on it.

A place of the cloth shows the light that falls on it times what the cloth gives back, colour by
colour. The room's light falls everywhere, so a line stands out by what the beam adds to it (or, on
a lit ground, leaves away). Contrast is the luminance of the lighter over that of the darker, as in
WCAG 2.2 without its allowance for the glare of a screen; 3 : 1 is what it asks of lines and large letters.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from drafting.placement import Array

Colour = tuple[int, int, int]

ROOM = 0.18  # the room's light over the projector's white: lamps on, the table still well seen
LEAST = 3.0  # luminance of the lighter over the darker: WCAG 2.2, 1.4.11 and 1.4.3 (from memory)
_LEAK = 0.002  # of its white that a projector lets through as black (common practice, no source)
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # of linear sRGB (IEC 61966-2-1, from memory)
_STEPS = 64
# the cloth trade's words that the list of colours lacks; not yet dyed, or a shade by what it is like
_TRADE = {
    "unbleached": "#e4d8bf", "ecru": "#dccfb0", "natural": "#e4d8bf", "wine": "#5a1525",
    "bottle": "#0e3b24", "rust": "#9a4a24", "charcoal": "#3a3c40", "denim": "#3c4f72",
    "mustard": "#c9952c", "burgundy": "#5a1525", "cream": "#f3ead2", "offwhite": "#f4f1e8",
    "petrol": "#0f4a55",
}  # fmt: skip


def linear(colour: Sequence[float]) -> Array:
    """(3,) light of an sRGB colour 0 to 255 (IEC 61966-2-1, from memory)."""
    c = np.asarray(colour, dtype=np.float64) / 255.0
    return np.asarray(np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4))


def contrast(line: Colour, ground: Colour, cloth: Colour = (255, 255, 255)) -> float:
    """Luminance of the lighter over the darker, of a line's and its ground's light on a cloth.

    ``cloth``: sRGB of what it gives back under white light.
    """
    back = LUMINANCE * np.maximum(linear(cloth), 0.01)  # the blackest cloth gives back a hundredth
    a, b = (float(back @ (ROOM + _LEAK + (1.0 - _LEAK) * linear(c))) for c in (line, ground))
    return max(a, b) / min(a, b)


def seen_on(line: Colour, ground: Colour, cloths: Sequence[Colour]) -> float:
    """The least contrast on any of a cloth's colours; on white where none is known."""
    return min(contrast(line, ground, c) for c in (cloths or ((255, 255, 255),)))


def mixed(a: Colour, b: Colour, share: float) -> Colour:
    """From one colour (share 0) to another (1)."""
    r, g, b_ = (round(x + share * (y - x)) for x, y in zip(a, b, strict=True))
    return (r, g, b_)


def made_visible(
    line: Colour,
    towards: Colour,
    ground: Colour,
    cloths: Sequence[Colour],
    least: float = LEAST,
) -> Colour:
    """A line's colour, no further towards another than ``least`` asks on all of a cloth's colours."""
    for k in range(_STEPS + 1):
        made = mixed(line, towards, k / _STEPS)
        if seen_on(made, ground, cloths) >= least:
            return made
    return towards


def colours_in(words: str) -> tuple[Colour, ...]:
    """The colours that a cloth's description names, sRGB: ``dark green``, ``blue and white``, ``#204030``.

    Several: it is printed or striped. Words that are no colour's are passed over; with none of them
    known it is empty.
    """
    found = []
    for part in re.split(r",|/|;|\+|&|\band\b|\bwith\b|\bon\b", words.lower()):
        colour = _colour(part.strip())
        if colour is not None:
            found.append(colour)
    return tuple(dict.fromkeys(found))


def _colour(words: str) -> Colour | None:
    if re.fullmatch(r"#[0-9a-f]{6}", words):
        return (int(words[1:3], 16), int(words[3:5], 16), int(words[5:], 16))
    from PIL.ImageColor import colormap, getrgb  # the colours of CSS, by name

    parts = re.findall(r"[a-z]+", words)
    # 'dark green' before 'wine' before 'green'
    pairs = ["".join(parts[k : k + 2]) for k in range(len(parts) - 1)]
    for known, names in ((_TRADE, pairs), (colormap, pairs), (_TRADE, parts), (colormap, parts)):
        for name in reversed(names):
            if name in known:
                r, g, b = getrgb(_TRADE.get(name, name))[:3]
                return (r, g, b)
    return None

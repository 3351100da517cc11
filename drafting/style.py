"""Style options: what she may choose, and within which limits.

A block lists its options; `resolve` reads what a docket says about them and fills in the rest,
`without_effect` names what changes nothing. `slash_and_spread` gives a half piece its gathers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from configs.errors import InputError, short
from configs.reader import Reader, as_number, as_typed, nearest
from configs.units import format_length, meant_units, parse_length
from drafting.outline import Points

_NOTHING = 0.05  # of an option's largest length: a bare number below it was hardly meant in mm


@dataclass(frozen=True)
class Option:
    """One style option.

    ``kind``: 'choice' (one of ``choices``), 'length' (mm, ``low`` to ``high``), 'number', or
    'both' (a choice or a length). ``default`` None means that the block works it out.
    ``choices``: value → what it is. ``when``: the choices of other options, any of which it
    needs to have an effect: (key, values); always when empty.
    """

    key: str
    kind: str
    text: str
    default: Any = None
    low: float = 0.0
    high: float = 0.0
    choices: Mapping[str, str] = field(default_factory=dict)
    when: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def limits(self, unit: str = "cm") -> str:
        """The limits in words."""
        parts = []
        if self.choices:
            parts.append(" | ".join(self.choices))
        if self.kind in ("length", "both"):
            parts.append(f"{format_length(self.low, unit)} to {format_length(self.high, unit)}")
        if self.kind == "number":
            parts.append(f"{self.low:g} to {self.high:g}")
        return ", or ".join(parts)


def resolve(
    options: Sequence[Option],
    style: Mapping[str, Any] | None,
    unit: str = "mm",
    where: str = "style",
    *,
    asks: bool = True,
) -> Mapping[str, Any]:
    """Every option with its value: choices as text, lengths as float mm, unset ones None.

    ``unit``: of plain numbers in ``style``; ``asks``: whether one that is next to nothing in mm is
    asked back.

    Raises:
        InputError: all that is wrong with the style, at once.
    """
    reader = Reader({} if style is None else style, key=where, unit=unit, asks=asks)
    if reader.faults:
        raise InputError.of(where, "is not a mapping.", "Write 'style: {neckline: v}'.")
    known = {o.key: o for o in options}
    reader.only(known)
    out: dict[str, Any] = {o.key: o.default for o in options}
    for key in reader.data:
        if key in known and reader.has(key):
            out[key] = _read(known[key], reader)
    reader.done()
    return MappingProxyType(out)


def without_effect(
    options: Sequence[Option], written: Mapping[str, Any] | None, style: Mapping[str, Any]
) -> list[str]:
    """What she wrote that changes nothing, each in a sentence with what it would need.

    ``style``: the same resolved.
    """
    said = []
    for option in options:
        if (written or {}).get(option.key) is None or not option.when:
            continue
        if any(style[key] in values for key, values in option.when):
            continue
        now = " and ".join(f"'{key}: {style[key]}'" for key, _ in option.when)
        need = " or ".join(f"'{key}: {value}'" for key, values in option.when for value in values)
        said.append(f"style.{option.key} changes nothing with {now}; it needs {need}.")
    return said


def _read(option: Option, reader: Reader) -> Any:
    written = reader.get(option.key)
    name = {True: "yes", False: "none"}.get(written) if isinstance(written, bool) else written
    word = " ".join(str(name)[:60].lower().replace("_", " ").split())
    for choice in option.choices:
        if word.replace("-", " ") == choice.replace("-", " "):
            return choice
    if option.kind == "choice":
        near = nearest(word, option.choices) or f"Known here: {', '.join(sorted(option.choices))}."
        what = f"{short(as_typed(written))} is not one of its choices."
        reader.note(option.key, what, near, written)
        return option.default
    try:
        if option.kind == "number":
            number = as_number(written)
            if number is None:
                reader.note(option.key, f"{short(written)} is not a number.", got=written)
                return option.default
            value, shown = number, f"{option.low:g} to {option.high:g}"
        else:
            where = reader.place(option.key)
            value = parse_length(written, reader.unit, where, signed=option.low < 0)
            shown = option.limits()
    except InputError as error:
        if option.kind == "both" and not any(c.isdigit() for c in str(written)):
            near = nearest(word, option.choices)
            known = f"Known here: {', '.join(option.choices)}, or a length such as 92 cm."
            what = f"{short(as_typed(written))} is neither one of its words nor a length."
            reader.note(option.key, what, near or known, written)
        else:
            reader.again(error)
        return option.default
    least = max(_NOTHING * option.high, option.low) if option.kind != "number" else 0.0
    small = value >= option.low or meant_units(written, least, option.high)
    if small and reader.too_bare(option.key, written, value, least, option.high, option.low):
        return option.default
    if not option.low <= value <= option.high:
        reader.note(option.key, *_outside(option, written, reader.unit, shown), written)
        return option.default
    return value


def _outside(option: Option, written: Any, unit: str, shown: str) -> tuple[str, str]:
    """Of a value outside its limits, what and remedy; of a bare number, which unit would fit."""
    bare = as_number(written) is not None
    if option.kind == "number" or not bare:
        return f"{short(written)} is outside its limits.", f"Limits: {shown}."
    meant = meant_units(written, option.low, option.high, unit)
    return (
        f"{written}, read as {written} {unit}, is outside its limits.",
        f"{meant}A number without a unit is in the docket's unit, {unit}. Limits: {shown}.",
    )


def slash_and_spread(
    points: Points, zone: float, amount: float, hinge_y: float, height: float
) -> Points:
    """Points (N, 2) mm after slashing a half piece along its grain and spreading the slashes.

    The slashes lie between the fold, x = 0, and x = ``zone``, ever closer together towards the
    fold, so that outlines stay smooth; ``amount`` mm are added in all. ``height`` 0 spreads them
    evenly from top to hem; otherwise they are hinged at ``hinge_y`` and open by ``amount``
    ``height`` mm above it. What lies beyond ``zone`` is moved as it is.
    """
    share = 1.0 - (1.0 - np.clip(points[:, 0] / zone, 0.0, 1.0)) ** 2
    if height == 0.0:
        return np.asarray(points + np.stack([amount * share, np.zeros(len(points))], axis=1))
    angle = amount / height
    # Strips turn on the hinge line, each about its own foot; their feet join into one bent line.
    x = np.linspace(0.0, zone, 400)
    turn = angle * (1.0 - (1.0 - x / zone) ** 2)
    step = np.diff(x)
    middle = 0.5 * (turn[1:] + turn[:-1])
    foot_x = np.r_[0.0, np.cumsum(step * np.cos(middle))]
    foot_y = np.r_[0.0, -np.cumsum(step * np.sin(middle))]
    inside = np.clip(points[:, 0], 0.0, zone)
    fx, fy = np.interp(inside, x, foot_x), np.interp(inside, x, foot_y)
    theta = angle * share
    dx, dy = points[:, 0] - inside, points[:, 1] - hinge_y
    out_x = fx + dx * np.cos(theta) + dy * np.sin(theta)
    out_y = hinge_y + fy - dx * np.sin(theta) + dy * np.cos(theta)
    return np.stack([out_x, out_y], axis=1)

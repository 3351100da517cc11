"""Lettered crosses and what a tape measure read between them: laid out, drawn, written, read.

Before `calibrate.tape`, which fits the projector to them.
"""

from __future__ import annotations

import contextlib
import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from calibrate.arrays import Array, Image
from calibrate.store import slug, store_folder
from configs.errors import Fault, InputError, short
from configs.files import FORMAT_VERSION, dump_yaml, parse_yaml, read_text, read_yaml, write_atomic
from configs.reader import Reader
from configs.units import typed_length

Pair = tuple[str, str]
COUNTS = (4, 6, 9)
_LEAST_BARE_MM = 50.0  # between two crosses; a bare number below it was hardly meant in mm
_SIX = (0.25, 0.15)  # of the picture's length and width: the fifth cross, the sixth opposite
_NINE = 0.25


def crosses_for(size: tuple[int, int], count: int = 6) -> dict[str, tuple[int, int]]:
    """Lettered crosses in reading order (far left first): letter → (x, y) projector px.

    4 in the corners; 6 with two more at a quarter of the picture's length, one near each long
    edge; 9 with two on each long edge at its quarters and one in the middle. These places leave
    the least doubt over the whole beam, by the covariance of the fit over random rigs of 0.7 to 1.6 m:
    12 % less than a grid of 3 × 3, 14 % less than the middles of the long edges. (On beams of 2 m
    and more the lens shows in any layout, and it makes no difference.)

    Raises:
        InputError: the count is none of `COUNTS`, or the picture too small.
    """
    w, h = size
    if count not in COUNTS:
        raise InputError(Fault("--count", f"{count} crosses are not laid out.", "Take 4, 6 or 9."))
    if min(size) < 200 or max(size) > 16384:
        raise InputError(
            Fault(
                "--size",
                f"{w}x{h} is no projector's picture.",
                "Give the projector's own resolution, such as 1920x1080.",
            )
        )
    edge = max(10, round(0.02 * min(size)))
    along, across = (w, h) if w >= h else (h, w)
    far, deep = along - 1 - edge, across - 1 - edge
    places = [(edge, edge), (far, edge), (edge, deep), (far, deep)]
    if count == 6:
        a, b = _SIX
        places += [(round(a * (along - 1)), round(b * (across - 1)))]
        places += [(round((1 - a) * (along - 1)), round((1 - b) * (across - 1)))]
    elif count == 9:
        quarters = [round(q * (along - 1)) for q in (_NINE, 1 - _NINE)]
        places += [(x, y) for y in (edge, deep) for x in quarters]
        places += [((along - 1) // 2, (across - 1) // 2)]
    if w < h:
        places = [(y, x) for x, y in places]
    places.sort(key=lambda p: (p[1], p[0]))
    return {chr(ord("A") + i): place for i, place in enumerate(places)}


def pairs_of(crosses: Mapping[str, Sequence[float]]) -> list[Pair]:
    """All pairs of letters in the order of measuring: the tape's end stays at one cross for long."""
    letters = sorted(crosses)
    return list(itertools.combinations(letters, 2))


def crosses_picture(
    size: tuple[int, int],
    crosses: Mapping[str, Sequence[float]],
    next_pair: Pair | None = None,
) -> Image:
    """The crosses to project, (H, W, 3) uint8 RGB, with letters towards the middle.

    Args:
        next_pair: the two crosses to measure now, ringed and joined by a dashed line.
    """
    import cv2

    w, h = size
    picture = np.zeros((h, w, 3), np.uint8)
    thick = (
        max(1, round(h / 720)) * 2 - 1
    )  # odd, so that the middle of the line is a pixel's middle
    arm = max(9, round(0.02 * h))
    white, grey = (255, 255, 255), (150, 150, 150)
    if next_pair is not None:
        a, b = (np.array(crosses[k], float) for k in next_pair)
        steps = max(2, int(np.linalg.norm(b - a) / (0.02 * h)))
        for i in range(1, steps - 1, 2):
            p, q = a + (b - a) * i / steps, a + (b - a) * (i + 1) / steps
            cv2.line(picture, _px(p), _px(q), (120, 200, 255), thick, cv2.LINE_AA)
    for letter, place in crosses.items():
        x, y = round(place[0]), round(place[1])
        if next_pair and letter in next_pair:
            cv2.circle(picture, (x, y), arm + 4, (120, 200, 255), thick, cv2.LINE_AA)
        half = thick // 2
        picture[max(0, y - half) : y + half + 1, max(0, x - arm) : x + arm + 1] = white
        picture[max(0, y - arm) : y + arm + 1, max(0, x - half) : x + half + 1] = white
        scale, weight = h / 500, max(2, round(h / 300))
        (tw, th), _ = cv2.getTextSize(letter, cv2.FONT_HERSHEY_SIMPLEX, scale, weight)
        inward = 1.6 * arm
        left = x + (inward if x < 0.4 * w else -inward - tw if x > 0.6 * w else inward)
        base = y + (inward + th if y < 0.4 * h else -inward if y > 0.6 * h else inward + th)
        lit = white if next_pair is None or letter in next_pair else grey
        cv2.putText(
            picture, letter, (round(left), round(base)), cv2.FONT_HERSHEY_SIMPLEX, scale, lit, weight, cv2.LINE_AA
        )  # fmt: skip
    return picture


def _px(p: Array) -> tuple[int, int]:
    return (round(float(p[0])), round(float(p[1])))


def crosses_text(size: tuple[int, int], crosses: Mapping[str, Sequence[float]]) -> str:
    """Text of ``crosses.yaml``."""
    return dump_yaml(
        {
            "chalkbeam": FORMAT_VERSION,
            "size": list(size),
            "crosses": {k: [float(v) if v % 1 else int(v) for v in p] for k, p in crosses.items()},
        }
    )


def distances_text(
    size: tuple[int, int],
    crosses: Mapping[str, Sequence[float]],
    readings: Sequence[tuple[Pair, float]],
) -> str:
    """Text of a distances file with these readings."""
    read: dict[str, list[float]] = {}
    for (a, b), mm in readings:
        read.setdefault(f"{a}-{b}", []).append(round(float(mm), 3))
    lines = {pair: mm if len(mm) > 1 else mm[0] for pair, mm in read.items()}
    return crosses_text(size, crosses) + dump_yaml({"distances_mm": lines})


def _under_way(display: str, size: tuple[int, int]) -> Path:
    return store_folder().parent / "readings" / f"{slug(display)}-{size[0]}x{size[1]}.yaml"


def keep_under_way(
    display: str,
    size: tuple[int, int],
    crosses: Mapping[str, Sequence[float]],
    typed: Mapping[str, str],
) -> Path:
    """Keep readings as they were typed, 'A-B' -> text in mm; a distances file as any other.

    Returns:
        the file.

    Raises:
        InputError: it cannot be written.
    """
    path = _under_way(display, size)
    write_atomic(path, crosses_text(size, crosses) + dump_yaml({"distances_mm": dict(typed)}))
    return path


def under_way(
    display: str, size: tuple[int, int], crosses: Mapping[str, Sequence[float]]
) -> dict[str, str]:
    """Readings that were kept for this display and these crosses, 'A-B' -> text; {} without any."""
    path = _under_way(display, size)
    try:
        data = read_yaml(path)
    except InputError:  # none, or not to be read: she measures anew
        return {}
    rows = data.get("distances_mm")
    if data.get("crosses") != {k: list(v) for k, v in crosses.items()} or not isinstance(
        rows, dict
    ):
        return {}
    known = {f"{a}-{b}" for a, b in pairs_of(crosses)}
    return {str(k): str(v) for k, v in rows.items() if k in known}


def set_aside(display: str, size: tuple[int, int]) -> None:
    """The readings under way have served, or are not wanted: the next begin anew."""
    path = _under_way(display, size)
    with contextlib.suppress(OSError):
        path.replace(path.with_name(f"{path.stem}-before.yaml"))


def form_text(size: tuple[int, int], crosses: Mapping[str, Sequence[float]]) -> str:
    """Text of a distances file with every pair still empty, to fill in."""
    head = "# Measure from the middle of one cross to the middle of the other, tape straight and flat.\n"
    head += "# Plain numbers are mm; or write 112.3 cm, 44 1/4 in. Leave a pair empty if something is in the way.\n"
    pairs = "".join(f"  {a}-{b}:\n" for a, b in pairs_of(crosses))
    return head + crosses_text(size, crosses) + "distances_mm:\n" + pairs


@dataclass(frozen=True)
class Readings:
    """What was measured: ``crosses`` letter → (x, y) px, and each reading as (pair, mm).
    ``unit``: 'in' where she reads inches."""

    size: tuple[int, int]
    crosses: Mapping[str, tuple[float, float]]
    readings: tuple[tuple[Pair, float], ...]
    unit: str = "mm"


def load_readings(path: str | Path, size: tuple[int, int] | None = None) -> Readings:
    """Read a distances file.

    Args:
        size: the projector's picture, px; may be left out when the file has it.

    Raises:
        InputError: with every fault of the file.
    """
    text = read_text(path)
    if not re.search(r"^\s*['\"]?chalkbeam['\"]?\s*:", text, re.MULTILINE):
        text = text.rstrip() + f"\nchalkbeam: {FORMAT_VERSION}\n"  # written by hand, at the table
    data = dict(parse_yaml(text, str(path)))
    beside = Path(path).with_name("crosses.yaml")
    if data.get("crosses") is None and beside.is_file() and beside != Path(path):
        shown = parse_yaml(read_text(beside), str(beside))  # what was projected, if it lies here
        if isinstance(shown.get("crosses"), Mapping):
            data = {"size": shown.get("size"), **data, "crosses": shown["crosses"]}
    return readings_from(data, str(path), size)


def readings_from(
    data: Mapping[str, Any], where: str, size: tuple[int, int] | None = None
) -> Readings:
    """`load_readings` on plain data.

    Raises:
        InputError: with every fault.
    """
    top = Reader(data, file=where).only(
        ("chalkbeam", "size", "unit", "crosses", "distances_mm", "distances")
    )
    own = top.get("size")
    if own is not None:
        if not (
            isinstance(own, list)
            and len(own) == 2
            and all(type(n) is int and 0 < n <= 32768 for n in own)
        ):
            top.note("size", f"is {short(own)}.", "Write it as [1920, 1080].", own)
        elif size is not None and tuple(own) != tuple(size):
            top.note(
                "size",
                f"the crosses were made for {own[0]}x{own[1]}, --size says {size[0]}x{size[1]}.",
                "Show the crosses at the projector's own resolution and give that one.",
            )
            top.done()  # no cross is where it should be: one fault says it
        else:
            size = (own[0], own[1])
    elif size is None:
        top.note("size", "is missing.", "Give --size, such as 1920x1080.")
    unit = top.word("unit", ("mm", "cm", "in"))
    if top.has("crosses") or size is None:
        crosses = _crosses(top.sub("crosses"), size)
    else:
        crosses = _crosses(top.inner("crosses", _default_crosses(size, data)), size)
    readings: list[tuple[Pair, float]] = []
    for key, default in (("distances_mm", "mm"), ("distances", unit)):
        if not top.has(key):
            continue
        if not isinstance(top.get(key), Mapping):
            top.note(key, "must be lines such as 'A-B: 1123'.", got=top.get(key))
            continue
        rows = top.sub(key)
        rows.unit = default
        for name in rows.data:
            readings += _reading(rows, name, crosses)
    if not readings and not top.faults:
        top.note("distances_mm", "holds no reading.", "Write lines such as 'A-B: 1123'.")
    top.done()
    assert size is not None
    written = {**dict(top.get("distances", {})), **dict(top.get("distances_mm", {}))}.values()
    inches = unit == "in" or any(isinstance(v, str) and v.rstrip().endswith("in") for v in written)
    return Readings(size, crosses, tuple(readings), "in" if inches else "mm")


def _default_crosses(size: tuple[int, int], data: Mapping[str, Any]) -> dict[str, list[int]]:
    """The crosses as `crosses_for` lays them out: six, the picture's default, or nine.

    Four lie elsewhere than the first four of six, so they are never guessed.
    """
    named = "".join(
        str(pair).upper()
        for key in ("distances_mm", "distances")
        if isinstance(data.get(key), Mapping)
        for pair in data[key]
    )
    letters = [c for c in named if "A" <= c <= "I"]
    last = ord(max(letters, default="F")) - ord("A") + 1
    count = 6 if last <= 6 else 9
    return {k: list(v) for k, v in crosses_for(size, count).items()}


def _crosses(rows: Reader, size: tuple[int, int] | None) -> dict[str, tuple[float, float]]:
    crosses: dict[str, tuple[float, float]] = {}
    if not rows.data:
        rows.note("", "is missing.", "Copy it from the crosses.yaml that lies beside the picture.")
    for name in rows.data:
        key = str(name)
        place = rows.numbers(key, (2,), "[x, y] in projector px", rows.data[name])
        if place is None:
            continue
        x, y = place
        if size and not (-0.5 <= x <= size[0] - 0.5 and -0.5 <= y <= size[1] - 0.5):
            rows.note(key, f"[{x:g}, {y:g}] lies outside the picture of {size[0]}x{size[1]}.")
        else:
            crosses[key] = (x, y)
    return crosses


def _reading(rows: Reader, name: Any, crosses: Mapping[str, Any]) -> list[tuple[Pair, float]]:
    key, value = str(name)[:60], rows.data[name]
    parts = [p for p in re.split(r"\s*[-–—_]\s*|\s+(?:to\s+)?", key.strip()) if p]
    if len(parts) == 1 and len(parts[0]) == 2:
        parts = list(parts[0])
    folded = {k.upper(): k for k in crosses}
    ends = [folded.get(p.upper(), p) for p in parts]
    if len(ends) != 2 or ends[0] == ends[1]:
        rows.note(key, "is no pair of crosses.", "Write it as A-B.")
        return []
    missing = [e for e in ends if e not in crosses]
    if missing and crosses:
        rows.note(key, f"there is no cross {missing[0]}.", f"Known: {', '.join(sorted(crosses))}.")
        return []
    out: list[tuple[Pair, float]] = []
    least = 0.0 if rows.key == "distances_mm" else _LEAST_BARE_MM  # whose name says the unit
    for one in value if isinstance(value, list) else [value]:
        if one is None or (isinstance(one, str) and not one.strip()):
            continue  # a pair that could not be measured
        try:
            mm = typed_length(one, "", least, 10_000.0, rows.unit)
        except InputError as error:
            fault = error.faults[0]
            how = fault.remedy if "did you mean" in fault.what else ""
            rows.note(key, fault.what, how or "Write 1123, '112.3 cm' or '44 1/4 in'.", one)
            continue
        if not 5.0 <= mm <= 30_000.0:
            rows.note(
                key,
                f"{mm:g} mm is no distance on a table.",
                "Plain numbers are mm; for others write the unit.",
                one,
            )
            continue
        out.append(((ends[0], ends[1]), mm))
    return out

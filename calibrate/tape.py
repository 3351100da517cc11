"""The tape measure's way: lettered crosses, distances between them, and no camera.

The projector shows crosses at known pixels; she measures from cross to cross. One projector model
is fitted to all readings at once. Every reading beyond what is needed checks the others, so a
misread one can be named. What a tape cannot see (the lens, with few crosses) is held by priors and
told in the expected error.
"""

from __future__ import annotations

import contextlib
import itertools
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate.calibration import (
    Calibration,
    ProjectorModel,
    now,
    slug,
    store_folder,
    without_rigid,
)
from configs.errors import Fault, InputError, Refusal, short
from configs.files import FORMAT_VERSION, dump_yaml, parse_yaml, read_text, read_yaml, write_atomic
from configs.reader import Reader
from configs.units import parse_length

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Pair = tuple[str, str]

COUNTS = (4, 6, 9)

# Greatest error of a tape, mm, a + b · metres begun (EU 2014/32 annex X); a dressmaker's tape
# carries no class: common practice, no source, retires it at 3 mm in 1.5 m.
TAPE_CLASSES: dict[str, tuple[float, float]] = {
    "I": (0.1, 0.1),
    "II": (0.3, 0.2),
    "III": (0.6, 0.4),
    "none": (0.6, 1.5),
}
_READING_MM = 0.6  # one reading: eye, hand and the nearest millimetre; before the readings speak
_READING_WEIGHT = 6.0  # as many readings' worth of trust in that
_PRIOR_K1 = 0.005  # radial distortion at the picture's corner; 0.5 % is common, no source
_PRIOR_K2 = 0.001
_PRIOR_CENTRE = 0.08  # lens centre from the picture's middle, half diagonals
_SUSPECT = 4.0  # standardised surplus past which a reading is not chance
_LIMIT_RMS_MM = 3.0  # readings that agree no better than this calibrate nothing
_SIX = (0.25, 0.15)  # of the picture's length and width: the fifth cross, the sixth opposite
_NINE = 0.25
_BEAM_MM = (200.0, 6000.0)  # no projector over a table shows less or more
_LIMIT_DOUBT_MM = 4.0
_SPARE = 6  # readings beyond the need, with which one wrong one can be told from another
_MOST_STRETCH = 2.0  # longest over shortest side of a dot: 1 / cos of the ray's angle, 60°
_MOST_TAPER = 4.0  # largest over smallest dot of the picture
_FLOOR_MM = 0.05
_SEEN = 12  # of the projector's parameters; no tape sees the tangential terms
_SHAPE_FREEDOMS = 5  # of a homography, once place and turn of the table frame are chosen


# -- the crosses ------------------------------------------------------------------------------


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
    lines: dict[str, float | list[float]] = {}
    for (a, b), mm in readings:
        value = round(float(mm), 3)
        earlier = lines.get(f"{a}-{b}")
        if earlier is None:
            lines[f"{a}-{b}"] = value
        else:
            lines[f"{a}-{b}"] = [*(earlier if isinstance(earlier, list) else [earlier]), value]
    rows = dump_yaml({"distances_mm": lines}) if lines else "distances_mm: {}\n"
    return crosses_text(size, crosses) + rows


# -- readings under way: kept at once, until a calibration made of them is taken ----------------


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
    rows = dump_yaml({"distances_mm": dict(typed)}) if typed else "distances_mm: {}\n"
    write_atomic(path, crosses_text(size, crosses) + rows)
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


# -- the readings -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Readings:
    """What was measured: ``crosses`` letter → (x, y) px, and each reading as (pair, mm)."""

    size: tuple[int, int]
    crosses: Mapping[str, tuple[float, float]]
    readings: tuple[tuple[Pair, float], ...]


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
    return Readings(size, crosses, tuple(readings))


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
        place = rows.numbers_of(key, rows.data[name], (2,), "[x, y] in projector px")
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
    for one in value if isinstance(value, list) else [value]:
        if one is None or (isinstance(one, str) and not one.strip()):
            continue  # a pair that could not be measured
        try:
            mm = parse_length(one, rows.unit)
        except InputError as error:
            rows.note(key, error.faults[0].what, "Write 1123, '112.3 cm' or '44 1/4 in'.", one)
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


# -- the solve --------------------------------------------------------------------------------


@dataclass(frozen=True)
class TapeResult:
    """A calibration by tape, and what each reading says of the others.

    ``fitted_mm``: the distance that the fit gives for each reading; ``surplus_mm``: how much
    longer it reads than all *other* readings explain (nan where nothing else checks it);
    ``left_out``: indices of readings that were not used; ``reading_mm``: the deviation of one
    reading, as the readings themselves tell it.
    """

    calibration: Calibration
    readings: tuple[tuple[Pair, float], ...]
    fitted_mm: Array
    surplus_mm: Array
    left_out: tuple[int, ...]
    reading_mm: float
    warnings: tuple[str, ...]

    @property
    def worst(self) -> int | None:
        """Index of the reading that the others explain least; None when nothing checks any."""
        if not np.isfinite(self.surplus_mm).any():
            return None
        return int(np.nanargmax(np.abs(self.surplus_mm)))

    def words(self, index: int) -> str:
        """One reading against the rest, as a sentence."""
        (a, b), surplus = self.readings[index][0], float(self.surplus_mm[index])
        if not math.isfinite(surplus):
            return f"{a}–{b} is checked by no other reading."
        way = "longer" if surplus > 0 else "shorter"
        digits = 0 if abs(surplus) >= 3 else 1
        return f"{a}–{b} reads {abs(surplus):.{digits}f} mm {way} than the rest can explain."


def solve_tape(data: Readings, tape: str = "none", display: str = "") -> TapeResult:
    """Fit the projector to distances between its crosses.

    Least squares over homography, k1, k2 and lens centre, with priors on the lens; a reading that
    the others contradict is left out when there are enough others, and always named.

    Args:
        data: crosses and readings.
        tape: class of the tape, a key of `TAPE_CLASSES`; sets how sure the scale is.
        display: name of the display, for the record.

    Raises:
        Refusal: too few readings (``undetermined``), or readings that contradict each other and
            do not tell which of them is wrong (``readings-disagree``).
    """
    crosses = dict(data.crosses)
    used = sorted({k for pair, _ in data.readings for k in pair})
    _check_determined(data, used)
    ends = np.array([[used.index(a), used.index(b)] for (a, b), _ in data.readings])
    px = np.array([crosses[k] for k in used])
    read = np.array([mm for _, mm in data.readings])
    keep = np.ones(len(read), bool)
    start = _start(data.size, px, ends, read)
    fit = _Fit(data.size, px, ends, read)
    vector = fit.solve(start, keep)
    left_out: list[int] = []
    while True:
        residual, surplus, scaled = fit.judge(vector, keep)
        if np.abs(scaled[keep]).max() <= _SUSPECT:
            break
        # a gross misreading pulls its neighbours along, so each is tried without
        worst, vector = fit.without_one(start, keep)
        residual, surplus, scaled = fit.judge(vector, keep & (np.arange(len(read)) != worst))
        spare = int(keep.sum()) - _SHAPE_FREEDOMS - 1
        if spare < _SPARE or len(left_out) >= max(1, len(read) // 6):
            a, b = data.readings[worst][0]
            told = surplus if math.isfinite(surplus[worst]) else residual
            raise Refusal(
                "readings-disagree",
                f"the readings contradict each other; likeliest {_words(a, b, float(told[worst]))}",
                "Measure that pair again, and any other you are not sure of; the tape straight, "
                "flat and from middle to middle.",
                data={"pair": f"{a}-{b}", "surplus_mm": float(told[worst])},
            )
        left_out.append(worst)
        keep[worst] = False
    rms = float(np.sqrt(np.mean(residual[keep] ** 2)))
    freedom = max(0.0, float(keep.sum()) - fit.used_freedom(vector, keep))
    sigma2 = (_READING_WEIGHT * _READING_MM**2 + float(np.sum(residual[keep] ** 2))) / (
        _READING_WEIGHT + freedom
    )
    sigma = math.sqrt(sigma2)
    if rms > _LIMIT_RMS_MM:
        told = np.where(np.isfinite(surplus), surplus, residual)
        worst = int(np.argmax(np.abs(told)))
        a, b = data.readings[worst][0]
        raise Refusal(
            "readings-disagree",
            f"the readings agree only to {rms:.1f} mm (rms); {_words(a, b, float(told[worst]))}",
            "Is the table flat, the tape straight, the picture unscaled? Measure again.",
            data={"rms_mm": rms},
        )
    model = _in_own_frame(ProjectorModel.from_vector(data.size, vector))
    faults = model.faults() or _implausible(model)
    if faults:
        raise Refusal(
            "no-projector",
            f"no projector throws these distances: {faults[0]}",
            "Check that each reading stands at the right pair of letters.",
        )
    model_fit = _Fit(data.size, px, ends, read, sigma)
    covariance = without_rigid(model, model_fit.covariance(model.vector()[:_SEEN], keep))
    constant, per_metre = TAPE_CLASSES[tape]
    calibration = Calibration(
        model,
        covariance,
        "tape",
        now(),
        display=display,
        rms_px=rms / model.mm_per_px(),
        floor_mm=_FLOOR_MM,
        # a greatest error is taken as the half width of an even spread
        scale_doubt=per_metre * 1e-3 / math.sqrt(3),
        facts={
            "crosses": len(used),
            "readings": len(read),
            "left_out": len(left_out),
            "rms_mm": rms,
            "reading_mm": sigma,
            "freedom": _READING_WEIGHT + freedom,
            "tape_class": tape,
        },
    )
    summary = calibration.summary()
    wide, doubt = summary["beam_width_mm"], summary["rms_mm"]
    if not _BEAM_MM[0] <= wide <= _BEAM_MM[1]:
        raise Refusal(
            "beam-size",
            f"by these readings the whole picture would be {wide:.0f} mm wide on the table.",
            "Check their unit: 'distances_mm' holds millimetres; for others write '63.1 cm', or "
            "'unit: cm' and 'distances:'.",
            data={"beam_width_mm": wide},
        )
    if doubt > _LIMIT_DOUBT_MM:
        raise Refusal(
            "undetermined",
            f"these pairs fix the picture on the table only to {doubt:.0f} mm.",
            f"Measure diagonals too.{_not_measured(data)}",
            data={"expected_mm": doubt},
        )
    result = TapeResult(
        calibration,
        data.readings,
        read - residual,
        surplus,
        tuple(left_out),
        sigma,
        (),
    )
    warnings = [f"{result.words(i)} It was left out; measure it again." for i in left_out]
    if len(used) < 6:
        warnings.append(
            f"{len(used)} crosses do not see the lens: between them lines may be bent by a "
            "millimetre or so. Six or nine crosses show it."
        )
    if freedom < 1.5:
        warnings.append(
            "Hardly a reading checks another: a misread one would not show. Measure more pairs."
        )
    if sigma > 1.2:
        warnings.append(
            f"The readings agree to about {sigma:.1f} mm each; a steady hand and a flat tape reach 0.5 mm."
        )
    if constant + per_metre > 1.5:
        warnings.append(
            "A tape without a class may itself be off by a millimetre or two in a metre, and no "
            "reading shows it: compare it with a steel rule."
        )
    return TapeResult(
        calibration,
        data.readings,
        result.fitted_mm,
        surplus,
        tuple(left_out),
        sigma,
        tuple(warnings),
    )


def against_the_rest(data: Readings) -> str:
    """What the last reading says against all earlier ones: a sentence when they contradict, or ''.

    For entry one by one at the table, where a misread pair is best read again at once.
    """
    earlier = Readings(data.size, data.crosses, data.readings[:-1])
    if len(earlier.readings) <= _SHAPE_FREEDOMS + 1:
        return ""
    try:
        _check_determined(earlier, sorted({k for pair, _ in earlier.readings for k in pair}))
    except Refusal:
        return ""
    used = sorted({k for pair, _ in data.readings for k in pair})
    ends = np.array([[used.index(a), used.index(b)] for (a, b), _ in data.readings])
    px = np.array([data.crosses[k] for k in used])
    read = np.array([mm for _, mm in data.readings])
    keep = np.ones(len(read), bool)
    keep[-1] = False
    fit = _Fit(data.size, px, ends, read)
    vector = fit.solve(_start(data.size, px, ends, read), keep)
    _, surplus, scaled = fit.judge(vector, keep)
    if abs(scaled[-1]) <= _SUSPECT:
        return ""
    (a, b), _ = data.readings[-1]
    return _words(a, b, float(surplus[-1]))


def _words(a: str, b: str, surplus: float) -> str:
    way = "longer" if surplus > 0 else "shorter"
    return f"{a}–{b} reads {abs(surplus):.0f} mm {way} than the rest can explain."


def _not_measured(data: Readings) -> str:
    measured = {frozenset(pair) for pair, _ in data.readings}
    missing = [f"{a}–{b}" for a, b in pairs_of(data.crosses) if frozenset((a, b)) not in measured]
    return f" Not yet measured: {', '.join(missing[:12])}." if missing else ""


def _check_determined(data: Readings, used: Sequence[str]) -> None:
    measured = {frozenset(pair) for pair, _ in data.readings}
    told = _not_measured(data)
    if len(used) < 4 or len(measured) < _SHAPE_FREEDOMS:
        raise Refusal(
            "undetermined",
            f"{len(measured)} pairs of {len(used)} crosses do not fix the picture on the table.",
            f"At least four crosses with five distances between them are needed.{told}",
            data={"crosses": len(used), "pairs": len(measured)},
        )
    px = np.array([data.crosses[k] for k in used])
    ends = np.array([[used.index(a), used.index(b)] for (a, b), _ in data.readings])
    read = np.array([mm for _, mm in data.readings])
    fit = _Fit(data.size, px, ends, read)
    vector = _start(data.size, px, ends, read).vector()[:_SEEN]
    # the shape's five freedoms, seen at a plain start: the pattern of pairs decides, not the numbers
    singular = np.linalg.svd(fit.rows(vector)[1][:, :8], compute_uv=False)
    if len(singular) < _SHAPE_FREEDOMS or singular[_SHAPE_FREEDOMS - 1] < 2e-3 * singular[0]:
        raise Refusal(
            "undetermined",
            "these pairs leave the crosses free to move against each other.",
            f"Measure diagonals too.{told}",
            data={"crosses": len(used), "pairs": len(measured)},
        )


def _start(size: tuple[int, int], px: Array, ends: NDArray[Any], read: Array) -> ProjectorModel:
    """A picture without keystone or lens, of the size that the readings say; y away from her."""
    apart = np.linalg.norm(px[ends[:, 0]] - px[ends[:, 1]], axis=1)
    per_mm = float(np.median(apart / read))
    mx, my = (size[0] - 1) / 2, (size[1] - 1) / 2
    matrix = np.array([[per_mm, 0, mx], [0, -per_mm, my], [0, 0, 1.0]])
    return ProjectorModel(size, matrix, np.array([mx, my]))


def _implausible(model: ProjectorModel) -> list[str]:
    """What no projector over a table does: rays flatter than 30° to it, one end four times the other."""
    w, h = model.size
    ends = np.array([(0, 0), (w - 1, 0), (w - 1, h - 1), (0, h - 1), (w / 2, h / 2)], float)
    _, slope, _ = model.jacobians(model.to_table(ends))
    stretch = np.linalg.svd(slope, compute_uv=False)
    if float((stretch[:, 0] / stretch[:, 1]).max()) > _MOST_STRETCH:
        return ["its dots would be stretched as by no tilt that a table allows."]
    dots = np.sqrt(np.abs(np.linalg.det(slope)))
    if float(dots.max() / dots.min()) > _MOST_TAPER:
        return ["one end of its picture would be far larger than the other."]
    return []


def _in_own_frame(model: ProjectorModel) -> ProjectorModel:
    """Origin under the picture's middle, x along its middle row to the right."""
    w, h = model.size
    middle, right = model.to_table([[(w - 1) / 2, (h - 1) / 2], [w - 1.0, (h - 1) / 2]])
    along = (right - middle) / np.linalg.norm(right - middle)
    turn = np.array([[along[0], along[1], 0], [-along[1], along[0], 0], [0, 0, 1.0]])
    turn[:2, 2] = -turn[:2, :2] @ middle
    return model.moved(turn)


class _Fit:
    """Readings and priors as rows of one least squares over the first 12 of `PARAMETERS`."""

    def __init__(
        self,
        size: tuple[int, int],
        px: Array,
        ends: NDArray[Any],
        read: Array,
        sigma_mm: float = _READING_MM,
    ) -> None:
        self.size, self.px, self.ends, self.read, self.sigma = size, px, ends, read, sigma_mm
        self._last: dict[bytes, tuple[Array, Array]] = {}

    def _crosses(self, vector: Array) -> tuple[Array, Array]:
        """Where the crosses lie, (N, 2) mm, and how they move with the parameters, (N, 2, 12)."""
        key = vector.tobytes()  # readings, gauge and the minimiser ask for the same place
        if key not in self._last:
            model = ProjectorModel.from_vector(self.size, vector)
            table = model.to_table(self.px)
            self._last = {key: (table, model.table_jacobian(table)[:, :, :_SEEN])}
        return self._last[key]

    def rows(self, vector: Array) -> tuple[Array, Array]:
        """Residuals (read − fitted) / sigma, and the derivatives of the fitted, (N,) and (N, 12)."""
        table, move = self._crosses(vector)
        step = table[self.ends[:, 0]] - table[self.ends[:, 1]]
        far = np.linalg.norm(step, axis=1)
        slope = np.einsum(
            "ni,nij->nj", step / far[:, None], move[self.ends[:, 0]] - move[self.ends[:, 1]]
        )
        return (self.read - far) / self.sigma, slope / self.sigma

    def _priors(self, vector: Array) -> tuple[Array, Array]:
        width = np.array([_PRIOR_K1, _PRIOR_K2, _PRIOR_CENTRE, _PRIOR_CENTRE])
        rows = np.zeros((4, 12))
        rows[np.arange(4), np.arange(8, 12)] = 1 / width
        return -vector[8:_SEEN] / width, rows

    def _gauge(self, vector: Array) -> tuple[Array, Array]:
        """Three rows that hold the table frame: the middle of the crosses, and the first row's turn."""
        table, move = self._crosses(vector)
        middle = table.mean(axis=0)
        arm = (self.px - self.px.mean(axis=0)) * (1, -1) / np.linalg.norm(np.ptp(self.px, axis=0))
        turn = float(np.sum(arm[:, 0] * table[:, 1] - arm[:, 1] * table[:, 0]))
        slope = np.einsum("n,nj->j", arm[:, 0], move[:, 1]) - np.einsum(
            "n,nj->j", arm[:, 1], move[:, 0]
        )
        return -np.array([*middle, turn]), np.vstack([move.mean(axis=0), slope])

    def without_one(
        self, start: ProjectorModel | Array, keep: NDArray[np.bool_]
    ) -> tuple[int, Array]:
        """The reading without which the others agree best, and the parameters then."""
        tried = []
        for index in np.flatnonzero(keep).tolist():
            rest = keep.copy()
            rest[index] = False
            vector = self.solve(start, rest, 25)
            cost = float(
                np.sum(self.rows(vector)[0][rest] ** 2) + np.sum(self._priors(vector)[0] ** 2)
            )
            tried.append((cost, int(index), vector))
        _, index, vector = min(tried, key=lambda one: one[0])
        rest = keep.copy()
        rest[index] = False
        return index, self.solve(vector, rest)

    def solve(
        self, start: ProjectorModel | Array, keep: NDArray[np.bool_], evaluations: int = 200
    ) -> Array:
        """Parameters of least squares, by damped Gauss-Newton (Levenberg-Marquardt)."""
        from scipy.optimize import least_squares

        first = start.vector()[:_SEEN] if isinstance(start, ProjectorModel) else start

        def parts(vector: Array) -> tuple[Array, Array]:
            with np.errstate(all="ignore"):
                read, slope = self.rows(vector)
                prior, prior_rows = self._priors(vector)
                gauge, gauge_rows = self._gauge(vector)
            missed = np.concatenate([read[keep], prior, gauge])
            slopes = np.vstack([slope[keep], prior_rows, gauge_rows])
            return np.nan_to_num(missed, nan=1e6), np.nan_to_num(slopes)

        def residual(vector: Array) -> Array:
            return parts(vector)[0]

        def jacobian(vector: Array) -> Array:
            return -parts(vector)[1]

        found = least_squares(
            residual,
            first,
            jac=jacobian,
            method="lm"
            if int(keep.sum()) >= _SHAPE_FREEDOMS
            else "trf",  # MINPACK's needs the rows
            xtol=1e-11,
            ftol=1e-11,
            max_nfev=evaluations,
        )
        return np.asarray(found.x)

    def covariance(self, vector: Array, keep: NDArray[np.bool_]) -> Array:
        """(12, 12) of the parameters, the frame held by the gauge rows."""
        _, slope = self.rows(vector)
        rows = np.vstack([slope[keep], self._priors(vector)[1], self._gauge(vector)[1]])
        return np.asarray(np.linalg.pinv(rows.T @ rows))

    def used_freedom(self, vector: Array, keep: NDArray[np.bool_]) -> float:
        """How many readings' worth the fit takes for itself."""
        _, slope = self.rows(vector)
        return float(
            np.einsum("ij,jk,ik->", slope[keep], self.covariance(vector, keep), slope[keep])
        )

    def judge(self, vector: Array, keep: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
        """Each reading against all others: residual and surplus in mm, surplus in deviations.

        With ``g`` the doubt of what the fit predicts for a reading (in readings): for a reading
        in the fit the residual is ``r = (1 - g)`` of the surplus (linear theory), for one left
        out it is the surplus itself.
        """
        residual, slope = self.rows(vector)
        doubt = np.einsum("ij,jk,ik->i", slope, self.covariance(vector, keep), slope)
        free = np.where(keep, 1 - doubt, 1.0)
        spread = np.where(keep, np.maximum(1 - doubt, 0.0), 1 + doubt)
        checked = free > 0.02
        surplus = np.where(checked, residual / np.where(checked, free, 1.0), np.nan) * self.sigma
        scaled = np.where(checked, residual / np.sqrt(np.where(checked, spread, 1.0)), 0.0)
        return residual * self.sigma, surplus, scaled

"""What comes next: the one place that decides it, for the end of every command.

Below `commands/places`, which says it once the command is done. It looks only at what stands in her
files: whether the measures are there, cloth, a lay, a calibration. Nothing is drafted for it.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from configs.errors import ChalkbeamError
from configs.files import read_yaml
from configs.units import INCH_UNITS

_MOST_FILES = 200  # of a folder; past them nobody looks for a docket by opening files


def after(command: str, given: Mapping[str, Any], code: int) -> str:
    """The next sensible command line, as it is typed; '' where there is none to tell.

    Args:
        command: its words, ``calibrate photo``.
        given: its arguments and options, by the names of its parameters.
        code: how it ended: 0, or 1 where a check did not pass or an answer is missing.
    """
    if rule := _RULES.get(command):
        return rule(given, code)
    done = None if code else _RULES_DONE.get(command)
    return done(given) if done else ""


def of_docket(path: Path) -> str:
    """What this garment needs next: measures, cloth, a lay, a calibration, or the table."""
    data = _read(path)
    if missing := _measures_missing(path, data):
        return missing
    if data.get("cloth") is None:
        return _line("print", path, "--paper", "a4", "--out", path.with_suffix(".pdf"))
    if not data.get("lay"):
        return _line("lay", path)
    return _line("project", path) if _calibrated() else _line("calibrate")


def of_folder(folder: Path, *, only_laid: bool = False) -> str:
    """The same for the docket of a folder that was changed last; a new one where there is none."""
    found = [p for p in _yaml_files(folder) if "garment" in _read(p)]
    laid = [p for p in found if _read(p).get("lay")] if only_laid else []
    return of_docket((laid or found)[0]) if found else _line("new")


def _line(*words: str | Path) -> str:
    names = (f"./{w}" if isinstance(w, Path) and str(w).startswith("-") else str(w) for w in words)
    return shlex.join(["chalkbeam", *names])  # a name with a dash in front is no option


def _read(path: Path) -> Mapping[str, Any]:
    """What stands in a YAML file; nothing where it cannot be read: whoever opens it says why."""
    try:
        data = read_yaml(path)
    except ChalkbeamError:
        return {}
    return data if isinstance(data, Mapping) else {}


def _yaml_files(folder: Path) -> list[Path]:
    """Those of a folder, the one changed last first."""
    try:
        found = [p for p in folder.iterdir() if p.suffix in (".yaml", ".yml") and p.is_file()]
        return sorted(found, key=lambda p: -p.stat().st_mtime)[:_MOST_FILES]
    except OSError:
        return []


def unit_here(folder: Path) -> str:
    """'in' where the file of ours that was changed last in a folder is in inches, else 'mm'.

    A docket that names no unit, with cloth in metric lengths, is told in cm, and so is what is beside it.
    """
    from drafting.docket.telling import is_metric

    for data in map(_read, _yaml_files(folder)):
        if data.get("unit"):
            return "in" if str(data["unit"]) in INCH_UNITS else "mm"
        if is_metric(data.get("cloth")):
            return "mm"
    return "mm"


def _measures_missing(path: Path, data: Mapping[str, Any]) -> str:
    """The command that takes what the block needs and the named file has not; '' when all is there."""
    named, garment = data.get("measurements"), data.get("garment")
    if not isinstance(named, str) or not isinstance(garment, Mapping):
        return ""
    file = path.parent / named
    body = _read(file)
    needs, have = needs_of(garment), body.get("measurements")
    if isinstance(have, Mapping) and (set(needs) <= set(have) or body.get("since")):
        return ""
    return _line("measure", file, *_of_blocks(_blocks_of(garment))) if needs else ""


def _blocks_of(garment: Mapping[str, Any]) -> list[str]:
    """The blocks that a docket's garment names and that there are: its own, and what is sewn to it."""
    from drafting import blocks

    parts = garment.get("with")
    rows = [garment, *(parts if isinstance(parts, list) else ())]
    named = [str(row.get("block")) for row in rows if isinstance(row, Mapping)]
    return list(dict.fromkeys(n for n in named if n in blocks.names()))


def needs_of(garment: Mapping[str, Any]) -> tuple[str, ...]:
    """The measures that a docket's garment needs, each once, in the order in which they are taken."""
    from drafting import blocks

    return tuple(dict.fromkeys(k for n in _blocks_of(garment) for k in blocks.get(n).needs))


def _calibrated() -> bool:
    from calibrate.store import kept

    return bool(kept())


def drafted_folder(docket: Path) -> Path:
    """The folder that is proposed for a docket's drafted pieces."""
    return docket.with_name(f"{docket.stem}-pieces")


def _of_blocks(names: Iterable[str]) -> list[str]:
    return [w for name in names for w in ("--block", name)]


def _shown_on(given: Mapping[str, Any]) -> list[str]:
    display = given.get("display")  # a number where it was shown, of a photo the projector's name
    return ["--display", str(display)] if isinstance(display, int) else []


def _after_measure(given: Mapping[str, Any], code: int) -> str:
    out: Path = given["out"]
    if code:
        return _line("measure", out, *_of_blocks(given["blocks"]))
    for path in _yaml_files(out.parent):
        named = _read(path).get("measurements")
        if isinstance(named, str) and (path.parent / named).resolve() == out.resolve():
            return _line("draft", path, "--out", drafted_folder(path))
    return _line("new")


def _after_new(given: Mapping[str, Any], code: int) -> str:
    out = given.get("written") or given.get("out")
    if code or out is None:
        return _line("new", *([given["out"]] if given.get("out") else []))
    line = of_docket(out)
    answers = given.get("answers") or {}
    if line.startswith(_line("measure")):  # what she has answered is not asked again
        told = [(f"--{k}", str(answers[k])) for k in ("unit", "wearer") if answers.get(k)]
        line = " ".join([line, shlex.join(w for pair in told for w in pair)]).rstrip()
    return line


def _after_docket(given: Mapping[str, Any]) -> str:
    docket = given.get("docket")
    return "" if docket is None or given.get("dry_run") else of_docket(docket)


def _after_calibrating(given: Mapping[str, Any], code: int) -> str:
    where = _shown_on(given)
    if code:
        return _line("calibrate", *where)
    line = of_folder(Path(), only_laid=True)
    return " ".join([line, *where]) if line.startswith(_line("project")) else line


def _after_leading(given: Mapping[str, Any], code: int) -> str:
    return _after_calibrating(given, code) if given.get("calibrated") else ""


def _after_pattern(given: Mapping[str, Any]) -> str:
    bars = "7 3/32 in,9 27/32 in" if unit_here(Path()) == "in" else "180,250"
    return _line("calibrate", "photo", "photo.jpg", "--size", _size(given),
                 "--bars", bars, "--out", "calibration.yaml")  # fmt: skip


def _after_cards(_: Mapping[str, Any]) -> str:
    return _line("calibrate", "pattern", "--size", "1920x1080", "--beam-width", "1200",
                 "--out", "pattern.png")  # fmt: skip


def _after_crosses(given: Mapping[str, Any]) -> str:
    return _line("calibrate", "tape", given.get("form") or "distances.yaml", "--size",
                 _size(given), "--out", "calibration.yaml")  # fmt: skip


def _after_cloth(given: Mapping[str, Any]) -> str:
    if given.get("into"):
        return _line("lay", given["into"])
    if given.get("light"):
        return _line("cloth", "remnant.jpg", "--out", "cloth.yaml")
    return of_folder(Path())


def _after_table(given: Mapping[str, Any]) -> str:
    data = _read(given["docket"])
    lay, traced = data.get("lay") or [], data.get("traced") or []
    done = lay and len(traced) >= len(lay)
    return _line("new") if done else _line("project", given["docket"], *_shown_on(given))


def _after_guide(given: Mapping[str, Any]) -> str:
    return _line("new") if given.get("name") or given.get("out") else _line("guide", "measuring")


def _size(given: Mapping[str, Any]) -> str:
    width, height = given["size"]
    return f"{width}x{height}"


# what comes after a command however it ended, and after one that did all
_RULES: Mapping[str, Callable[[Mapping[str, Any], int], str]] = {
    "new": _after_new,
    "measure": _after_measure,
    "calibrate photo": _after_calibrating,
    "calibrate live": _after_calibrating,
    "calibrate tape": _after_calibrating,
    "calibrate lead": _after_leading,
    "calibrate check": _after_calibrating,
}
_RULES_DONE: Mapping[str, Callable[[Mapping[str, Any]], str]] = {
    "demo": lambda _: _line("new"),
    "blocks": lambda _: _line("new"),
    "draft": _after_docket,
    "lay": _after_docket,
    "base": lambda given: _line("wardrobe", given["out"].parent),
    "wardrobe": lambda given: of_folder(given["folder"]),
    "calibrate cards": _after_cards,
    "calibrate pattern": _after_pattern,
    "calibrate crosses": _after_crosses,
    "cloth": _after_cloth,
    "project": _after_table,
    "frame": _after_docket,
    "print": lambda _: _line("guide", "toile"),
    "guide": _after_guide,
    "export": _after_docket,
    "import": _after_docket,
}

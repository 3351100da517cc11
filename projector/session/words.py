"""Words: what the strip, the help page and the question say, read off the state."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from drafting.folding import FACE_WORDS
from drafting.placement import Array
from projector.picture.buttons import Button
from projector.picture.on_table import copy_of, light_words
from projector.picture.stage import PieceState
from projector.session.judged import OVERLAPS
from projector.session.keynames import printed
from projector.session.registry import ACTIONS
from projector.session.rows import MODE_WORDS

if TYPE_CHECKING:
    from drafting.placement import Placement
    from projector.picture.strip import Strip
    from projector.session.registry import Row
    from projector.session.rules import Work
    from projector.session.state import State


ALL_TRACED = "All traced. Turn the room light up before you cut."
LINES_WORDS = {
    "both": "cutting and sewing line",
    "cutting": "cutting line",
    "sewing": "sewing line",
}


def things(count: int, what: str = "thing") -> str:
    """``1 overlap``, ``2 overlaps``."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def named(key: str) -> str:
    """A copy's name for people: ``front``, ``sleeve 2``."""
    name, _, copy = key.rpartition("/")
    name = name.replace("-", " ")
    return name if copy == "1" else f"{name} {copy}"


def trouble_words(state: State) -> str:
    """What is wrong with the lay, counted by kind: ``2 overlaps, 1 off the cloth``."""
    counts: dict[str, int] = {}
    for said in state.judged.own.values():
        for trouble in said:
            kind = trouble.rstrip("0123456789.° ")  # an angle is no kind of its own
            counts[kind] = counts.get(kind, 0) + 1
    pairs = list(state.judged.pairs.values())
    for trouble in pairs:
        if trouble != OVERLAPS:
            counts[trouble] = counts.get(trouble, 0) + 1
    words = [f"{n} {kind}" for kind, n in counts.items()]
    if OVERLAPS in pairs:
        words.insert(0, things(pairs.count(OVERLAPS), "overlap"))
    return ", ".join(words)


def out_of_light(state: State) -> str:
    """What reaches out of the light, and what to do."""
    unlit = [state.stage.unlit(p) for p in state.work.placed()]
    if not any(unlit):
        return ""
    bays, centre = (state.key_words(a) for a in ("bays", "centre"))
    way = f"in the middle all are lit [{centre}]" if state.held else f"trace in bays [{bays}]"
    return light_words(unlit, way)


def truth(state: State) -> str:
    """How true the light is."""
    return state.truth + (", when it was made" if state.unchecked else "")


def chalk(state: State) -> str:
    """What of the lay is on the cloth in chalk; empty when nothing is."""
    traced = sum(1 for p in state.work.placed() if p.key in state.work.traced)
    if traced:
        return f"{things(traced, 'piece')} {'is' if traced == 1 else 'are'} traced"
    bays = state.settings().get("bays")
    if isinstance(bays, dict) and bays.get("chalked"):
        return "crosses are chalked"
    return "you are tracing" if state.mode == "trace" and state.current is not None else ""


def difference(before: Work, after: Work) -> str:
    """What one step of the work did, in words: ``front moved``, ``the mark of sleeve 2``."""
    old = {p.key: p for p in before.lay}
    new = {p.key: p for p in after.lay}
    changed = [k for k in (*new, *(k for k in old if k not in new)) if old.get(k) != new.get(k)]
    marks = sorted(set(before.traced) ^ set(after.traced))
    if before.view != after.view and not changed:
        return "how the cloth lies" if before.view.side == after.view.side else "your side"
    if len(changed) > 1:
        return f"{len(changed)} pieces laid anew"
    if not changed:
        return f"the mark of {named(marks[0])}" if len(marks) == 1 else f"{len(marks)} marks"
    a, b = old.get(changed[0]), new.get(changed[0])
    name = named(changed[0])
    if a is None or b is None:
        return f"{name} laid"
    if a.aside != b.aside:
        return f"{name} put aside" if b.aside else f"{name} brought back"
    if a.locked != b.locked:
        return f"{name} locked" if b.locked else f"{name} freed"
    if a.mirrored != b.mirrored and a.turn_deg == b.turn_deg:
        return f"{name} turned over"
    return f"{name} turned" if a.turn_deg != b.turn_deg else f"{name} moved"


# -- the strip -------------------------------------------------------------------------------------


def lines(state: State) -> tuple[str, ...]:
    """The strip's words: what is said, or the figures; all in her unit."""
    return tuple(map(state.in_her_unit, _lines(state)))


def _lines(state: State) -> tuple[str, ...]:
    if state.message.text:
        return tuple(state.message.text.split("\n"))
    if state.tool is not None:
        return (*state.tool.says(state).split("\n"), truth(state))
    out = [state.not_saved] if state.not_saved else []
    plan = state.plan
    if plan is not None:
        out.append(plan.told)
        if plan.best is not None:
            used = state.length(round(plan.best.used_mm))
            out.append(f"plan: {used}, {100 * plan.best.share:.0f} %")
    if state.mode == "trace":
        return (*out, *_tracing(state))
    return (*out, *_arranging(state))


def _tracing(state: State) -> Iterable[str]:
    placed = state.work.placed()
    done = sum(1 for p in placed if p.key in state.work.traced)
    current = state.current
    yield named(current) if current else "all traced"
    yield f"{done} of {len(placed)} traced"
    yield truth(state)
    if state.judged.count:
        yield f"{trouble_words(state)}: look at 'arrange'"
    if words := out_of_light(state):
        yield words
    yield LINES_WORDS[state.stage.look.lines]


def _arranging(state: State) -> Iterable[str]:
    figures = state.rules.figures(state.work.lay, state.loose)
    cut = f"used {state.length(round(figures.used_mm))}"
    yield cut + (f", {100 * figures.share:.0f} %" if figures.share else "")
    if math.isfinite(figures.left_mm):
        left = round(figures.left_mm)
        yield state.length(abs(left)) + (" left" if left >= 0 else " too long")
    yield trouble_words(state) or "nothing overlaps"
    cloth = state.docket.cloth
    if cloth is not None and cloth.folded:
        yield FACE_WORDS[cloth.face]
    if words := out_of_light(state):
        yield words
    yield truth(state)
    if waiting := sum(1 for p in state.work.lay if p.aside):
        yield f"{waiting} aside"
    p = state.work.of(state.chosen)
    if p is not None and not p.aside:
        for gap, to in state.rules.gaps(p, state.work.lay):
            if not state.judged.pairs.keys().isdisjoint({(p.key, to), (to, p.key)}):
                continue  # that is trouble, and told
            yield f"{state.length(round(gap))} to {named(to) if '/' in to else to}"
    if p is not None and abs(state.rules.tilt(p)) >= 0.05:
        yield f"{p.piece.replace('-', ' ')}: {abs(state.rules.tilt(p)):.1f}° off grain"


def short_lines(state: State) -> tuple[str, ...]:
    """What the handle has room for: what is said, or where she is and what is wrong."""
    if state.message.text:
        return tuple(state.message.text.split("\n"))
    if state.tool is not None:
        return tuple(state.tool.says(state).split("\n"))
    words = lines(state)[:2]
    return (*words, trouble_words(state)) if state.judged.count else words


def lines_for(state: State, strip: Strip | None) -> tuple[str, ...]:
    """The words for a strip as large as it is."""
    if strip is None:
        return ()
    if not state.strip and state.page != "question":  # hidden: what is amiss, and nothing else
        return (state.not_saved,)
    return short_lines(state) if strip.small else lines(state)


def buttons(state: State, names: Iterable[str], row: Row) -> list[Button]:
    """Buttons of a row as they are printed."""
    mode_words = MODE_WORDS.get(state.mode, {})
    on = {"check": state.checking_at is not None}
    on |= {"help": state.page == "help", "more": state.page == "all"}
    return [
        Button(
            name,
            (row.words or {}).get(name) or mode_words.get(name) or ACTIONS[name].words,
            state.key_words(name),
            on=on.get(name, False),
        )
        for name in names
    ]


# -- pages -----------------------------------------------------------------------------------------


def help_rows(state: State) -> list[tuple[str, str]]:
    """(keys, what they do) of every action that counts here."""
    return [
        (
            "  ".join(printed(k) for k in state.keys.by_action.get(a.name, a.keys)[:2]),
            state.in_her_unit(a.help),
        )
        for a in ACTIONS.values()
        if state.mode in a.modes
    ]


HELP_FOOT = (
    "Press on a piece to pick it, drag to move, drag with the second button to tilt.",
    "Never look into the lens. Close the blade guard after every cut.",
)


def question_rows(state: State) -> list[tuple[str, str]]:
    """What may be answered to a calibration that is in doubt."""
    return [
        ("any key", "go on with it"),
        (state.key_words("check"), "check it: lay a ruler on a square"),
        (state.key_words("calibrate"), "calibrate anew"),
    ]


# -- the pieces ------------------------------------------------------------------------------------


def shown(state: State, p: Placement) -> PieceState:
    """How one copy is to be shown."""
    notes: list[str] = []
    if p.locked:
        notes.append("locked")
    if p.key in state.work.traced:
        notes.append("traced")
    cloth, lay, rules = state.docket.cloth, state.work.lay, state.rules
    copy = copy_of(state.docket, lay, p, on_fold=rules.on_fold(p))
    if cloth and cloth.folded and not rules.on_fold(p):
        zone = rules.zone_of(p)
        which = "lower" if p.lower else "upper"
        one = f"{which} layer only" if zone is None or zone.layers == 2 else "one layer"
        notes.append("both layers" if rules.layers(p) == 2 else one)
    if p.mirrored and not rules.on_fold(p):
        notes.append("turned over")
    other = state.tool.shows(p.key) if state.tool is not None else None
    if other is not None:
        return PieceState(other[0], (*notes, *other[1]), copy=copy)
    if state.mode == "trace":
        emphasis = "bright" if p.key == state.current else "faint"
        return PieceState(emphasis, tuple(notes), copy=copy)
    chosen = p.key == state.chosen
    return PieceState("plain", tuple(notes), state.judged.of(p.key), chosen, copy)


def labels_on_table(state: State) -> list[Array]:
    """Where the words of lit pieces stand: boxes (4, 2) table mm, upright to her."""
    read = state.stage.read
    out = []
    for p in state.work.placed():
        if state.stage.unlit(p) == "wholly":
            continue
        if strokes := state.stage.words_of(p, shown(state, p)):
            seen = np.concatenate(strokes) @ read
            (x0, y0), (x1, y1) = seen.min(axis=0) - 3.0, seen.max(axis=0) + 3.0
            out.append(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) @ read.T)
    return out

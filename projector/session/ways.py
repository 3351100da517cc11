"""Ways of showing and of lying: look, pages, strip, check square, the whole lay, leaving."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from drafting.placement import Array
from projector import height
from projector.picture import signs
from projector.picture import strip as strips
from projector.picture.look import INKS, LINES
from projector.picture.on_table import used_box
from projector.picture.view import View, default_view
from projector.session.registry import Step, following
from projector.session.rows import groups_of
from projector.session.state import State
from projector.session.tracing import arrange, drop, off_chalk
from projector.session.words import LINES_WORDS, chalk, labels_on_table

_SQUARE = "100 mm each way, corner to corner 141.4 mm"


# -- the look --------------------------------------------------------------------------------------


def lines(state: State, large: bool) -> State:
    """Both lines, the cutting line, the sewing line."""
    look = state.stage.look
    name = following(LINES, look.lines)
    said = LINES_WORDS[name].capitalize() + ("." if name == "both" else " only.")
    return state.looks(replace(look, lines=name)).tell(said)


def ink(state: State, large: bool) -> State:
    """The next ink."""
    look = state.stage.look
    return state.looks(replace(look, ink=following(INKS, look.ink)))


def weight(factor: float) -> Step:
    """Wider or thinner lines."""

    def step(state: State, large: bool) -> State:
        look = state.stage.look
        made = min(4.0, max(0.4, look.weight * factor))
        return state.looks(replace(look, weight=round(made, 3)))

    return step


# -- pages and the strip ---------------------------------------------------------------------------


def page(name: str) -> Step:
    """A page opened: ``dark`` or ``light``."""
    return lambda state, large: state.but(page=name)


def help_page(state: State, large: bool) -> State:
    """The help page; the next one where it is long; closed after the last."""
    if state.page != "help":
        return state.but(page="help", help_from=0)
    if state.shown.next_help:  # a small beam: there is another page
        return state.but(help_from=state.shown.next_help)
    return state.but(page="")


def strip(state: State, large: bool) -> State:
    """The strip hidden or shown."""
    return state.but(strip=not state.strip)


def more(state: State, large: bool) -> State:
    """The page of everything; its next part where it is long; closed after the last."""
    if state.page != "all":
        return state.but(page="all", board_from=0, board_focus=0)
    if state.shown.next_row:
        return state.but(board_from=state.shown.next_row, board_focus=0)
    return state.but(page="")


def to_button(state: State, by: int) -> State:
    """On the page of everything: another button marked; past the last the next part, and round."""
    at, count = state.board_focus + by, len(state.shown.pads)
    if at < 0:
        return state.but(board_focus=max(count - 1, 0))
    if at < count:
        return state.but(board_focus=at)
    return state.but(board_from=state.shown.next_row, board_focus=0)


def to_group(state: State, by: int) -> State:
    """On the page of everything: the first button of another group marked."""
    names = list(state.shown.pads)
    firsts = [names.index(g[0]) for g in groups_of(state).values() if g[0] in names]
    if by > 0:
        at = next((i for i in firsts if i > state.board_focus), len(names))
    else:
        at = max((i for i in firsts if i < state.board_focus), default=0)
    return to_button(state, at - state.board_focus)


def marked(state: State) -> str:
    """The action whose button is marked on the page of everything; empty when there is none."""
    names = list(state.shown.pads)
    return names[state.board_focus] if state.board_focus < len(names) else ""


def check(state: State, large: bool) -> State:
    """The check square, in a free place near the pointer; or away."""
    if state.checking_at is not None:
        return state.but(checking_at=None)
    at = state.pointer_mm if state.pointer_mm is not None else state.stage.middle_mm
    near, strip_ = np.asarray(at, dtype=np.float64), _strips_room(state)
    corner = signs.check_corner(state.stage, near, [*strip_, *labels_on_table(state)])
    if signs.check_covers(state.stage, corner, strip_):  # no place is free of words
        corner = signs.check_corner(state.stage, near, strip_)
    size = "4 in each way, corner to corner 5 21/32 in" if state.inches else _SQUARE
    ruler = f"Lay a ruler on it: {size}. Drag it where you like."
    notes = height.notes(state.docket, state.calibration)
    return state.but(checking_at=corner, unchecked=False).tell("\n".join([ruler, *notes]), 12.0)


def _strips_room(state: State) -> list[Array]:
    """What the strip may cover as it grows, (4, 2) table mm each."""
    strip_ = state.shown.strip
    if strip_ is None:
        return []
    return [strip_.ground_mm if strip_.small else strips.strip_room(state.stage, far=strip_.far)]


# -- the whole lay ---------------------------------------------------------------------------------


def _asked_first(state: State, action: str, view: View) -> State:
    """The whole lay elsewhere; with chalk on the cloth only when she asks for it twice."""
    on_cloth = chalk(state)
    if on_cloth:
        key = state.key_words(action)
        text = f"{on_cloth}: this takes the light off the chalk\n[{key}] again: do it"
        state, sure = state.ask_twice(action, text)
        if not sure:
            return state
    state = state.change(replace(state.work, view=view))
    return off_chalk(state) if on_cloth else state


def flip_cloth(state: State, large: bool) -> State:
    """The cloth lies the other way up: mirrored about the middle of what lies on it."""
    view = state.work.view
    box = used_box(state.stage.faces, state.work.placed()) or (0.0, 0.0, 0.0, 0.0)
    middle = np.array([0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])])
    flipped = replace(view, mirror=not view.mirror)
    a, b = view.table_from_cloth, flipped.table_from_cloth
    shift = a[:2, :2] @ middle - b[:2, :2] @ middle
    at = (view.at[0] + float(shift[0]), view.at[1] + float(shift[1]))
    return _asked_first(state, "flip-cloth", replace(flipped, at=at))


def turn_cloth(state: State, large: bool) -> State:
    """The cloth runs the other way over the table: a quarter turn about the beam's middle."""
    view = state.work.view
    mx, my = (float(v) for v in state.stage.middle_mm)
    dx, dy = view.at[0] - mx, view.at[1] - my
    turn = math.remainder(view.turn_deg + 90.0, 360.0)
    return _asked_first(state, "turn-cloth", replace(view, turn_deg=turn, at=(mx - dy, my + dx)))


def centre(state: State, large: bool) -> State:
    """The lay back in the middle of the beam."""
    box = used_box(state.stage.faces, state.work.placed())
    if box is None:
        return state
    view = default_view(state.stage.lens.beam_mm, box, side=state.work.view.side)
    return _asked_first(state, "centre", view)


# -- leaving ---------------------------------------------------------------------------------------


def leave(state: State, large: bool) -> State:
    """Close what is open, the uppermost first; back to arrange; then, asked for twice, leave."""
    if state.page:
        return state.but(page="")
    if state.checking_at is not None:
        return state.but(checking_at=None)
    if state.plan is not None:
        return drop(state, large)
    if state.chosen is not None:
        return state.but(chosen=None)
    if state.mode == "trace":
        return arrange(state, large)
    return leave_if_sure(state)


def leave_if_sure(state: State) -> State:
    """Leave when she has asked for it twice."""
    key = state.key_words("leave")
    text = f"[{key}] once more leaves the table; everything is saved."
    state, sure = state.ask_twice("leave", text)
    return quit_table(state, False) if sure else state


def quit_table(state: State, large: bool) -> State:
    """Leave."""
    return state.but(running=False)


def calibrate(state: State, large: bool) -> State:
    """Leave for first light; the command comes back to the docket afterwards."""
    return state.but(anew=True, running=False)

"""Every state in which the table can stand, by name: for pictures of them, and for tests of all of them."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import yaml
from rigs_bays import dress
from table_rig import crowd, docket, projector, single_cloth

from configs import shipped
from drafting.docket import Docket
from projector.first_light.light import FirstLight
from projector.session.planning import Found
from projector.session.sitting import Sitting
from projector.session.state import Plan

# the beam's width mm at each size of the picture: a small projector hangs low
WIDTHS = {(1280, 720): 1000.0, (1920, 1080): 1300.0, (3840, 2160): 1700.0}
_SHAPED = [
    {"piece": "front", "copy": 1, "at": [620, 0], "turn": 0, "mirrored": True},
    {"piece": "back", "copy": 1, "at": [20, 0], "turn": 0, "mirrored": True},
]


@dataclass(frozen=True)
class Rig:
    """Size of the picture px, the beam's width mm, and a folder for what needs files."""

    size: tuple[int, int]
    folder: Path

    def table(self, made: Docket | None = None, *actions: str, **more: Any) -> Sitting:
        """A sitting after some actions."""
        width = more.pop("width_mm", WIDTHS[self.size])
        sitting = Sitting(made or docket(), projector(self.size, width, **more))
        for action in actions:
            if action in ("more", "help"):
                sitting.frame()
            sitting.do(action)
        return sitting

    def light(self, *keys: str, **more: Any) -> FirstLight:
        """First light after some keys."""
        unit = more.pop("unit", "cm")
        made = FirstLight(
            replace(docket(), unit=unit), self.size, "display 1", [Path("evening-tops")], **more
        )
        for key in keys:
            made.key(key)
        return made

    def shaped(self, *actions: str) -> Sitting:
        """The shipped top on the table, in the hand of the shaping tool."""
        text = shipped("dockets", "rehearsal-top.yaml").read_text()
        there = str(shipped("measurements", "alto-3.yaml"))
        text = text.replace("../measurements/alto-3.yaml", there)
        path = self.folder / "top.yaml"
        path.write_text(text + "lay: " + str(yaml.safe_dump(_SHAPED, default_flow_style=True)))
        return self.table(Docket.load(path), "shape", *actions, width_mm=1300.0)

    def dress(self) -> Sitting:
        """A dress longer than the beam."""
        if not (self.folder / "dress.yaml").exists():
            made = self.folder / "made"
            made.mkdir(exist_ok=True)
            dress(made)
            shutil.copy(made / "dress.yaml", self.folder)
        sitting = Sitting(
            Docket.load(self.folder / "dress.yaml"), projector(self.size, WIDTHS[self.size])
        )
        sitting.frame()
        sitting.do("trace")
        return sitting


def _middle(s: Sitting, key: str) -> tuple[float, float]:
    p = s.state.work.of(key)
    assert p is not None
    at = s.state.rules.outline(p)
    a = s.state.work.view.table_from_cloth
    spot = a[:2, :2] @ (0.5 * (at.min(axis=0) + at.max(axis=0))) + a[:2, 2]
    x, y = s.state.calibration.to_projector(spot[None])[0]
    return float(x), float(y)


def _dragged(s: Sitting, key: str, dx: float, dy: float, *, up: bool = False) -> Sitting:
    x, y = _middle(s, key)
    s.pointer("move", x, y)
    s.pointer("down", x, y)
    for share in (0.3, 0.7, 1.0):
        s.pointer("move", x + share * dx * s.state.calibration.size[0] / 1920,
                  y + share * dy * s.state.calibration.size[0] / 1920)  # fmt: skip
        s.frame()
    if up:
        s.pointer("up", x + dx, y + dy)
    return s


def _found(light: FirstLight) -> FirstLight:
    light.found(projector(light.size, WIDTHS[light.size]))
    return light


def _marked(light: FirstLight) -> FirstLight:
    for name in ("page down", "page down"):
        light.key(name)
    return light


def _traced(s: Sitting, count: int) -> Sitting:
    s.do("trace")
    for _ in range(count):
        s.do("go-on")
    return s


def _planned(s: Sitting) -> Sitting:
    best = Found(s.state.work.lay, 1234.0, 0.62)
    s.state = s.state.but(plan=Plan((), best, "planned"))
    return s


def _not_saved(s: Sitting, *, hidden: bool) -> Sitting:
    if hidden:
        s.do("strip")
    s.state = s.state.but(not_saved="NOT SAVED: top.yaml: no room is left on the disk")
    return s


def _asked(s: Sitting) -> Sitting:
    s.ask(["This calibration is 3 days old.", "A projector that was touched lies elsewhere."])
    return s


def _turned_pages(s: Sitting, action: str, times: int) -> Sitting:
    for _ in range(times):
        s.do(action)
        s.frame()
    return s


def _edge(s: Sitting, piece: str, edge: str) -> None:
    points = s.state.docket.pieces()[piece].edges[edge].points
    p = next(p for p in s.state.work.placed() if p.piece == piece)
    a = s.state.stage.table_from_piece(p)
    spot = a[:2, :2] @ points[len(points) // 2] + a[:2, 2]
    x, y = s.state.stage.calibration.to_projector(spot[None])[0]
    s.pointer("down", float(x), float(y))
    s.pointer("up", float(x), float(y))
    s.frame()


def _pointing(s: Sitting, edge: str) -> Sitting:
    _edge(s, "front", edge)
    return s


def _pulled(s: Sitting, key: str, by: float) -> Sitting:
    tool: Any = s.state.tool
    at = [g.key for g in tool.grips].index(key)
    start = tool.on_table(s.state, tool.grips[at])
    a = s.state.stage.table_from_piece(tool.placement(s.state, tool.grips[at]))[:2, :2]
    way = a @ (tool.grips[at].way / np.hypot(*tool.grips[at].way))
    for kind, mm in (("down", 0.0), ("move", by / 2), ("move", by)):
        x, y = s.state.stage.calibration.to_projector((start + mm * way)[None])[0]
        s.pointer(kind, float(x), float(y))
        s.frame()
    return s


def _at(s: Sitting, x: float, y: float) -> Sitting:
    """The pointer at a share of the picture's width and height."""
    w, h = s.state.calibration.size
    s.pointer("move", x * w, y * h)
    return s


def _pressed(s: Sitting, x: float, y: float) -> Sitting:
    w, h = s.state.calibration.size
    for kind in ("move", "down", "up"):
        s.pointer(kind, x * w, y * h)
    return s


def _over(s: Sitting) -> Sitting:
    return _dragged(s, "sleeve/1", -200.0, 30.0, up=True)


def _crossed(s: Sitting) -> Sitting:
    """In the second bay, the first cross pointed at."""
    s.do("next-bay")
    tool: Any = s.state.tool
    a = s.state.work.view.table_from_cloth
    spot = a[:2, :2] @ np.array(tool.walk.next_cross.at) + a[:2, 2]
    x, y = s.state.calibration.to_projector(spot[None])[0]
    for kind in ("move", "down", "up"):
        s.pointer(kind, float(x) + 3.0, float(y) + 2.0)
    return s


STATES: dict[str, Callable[[Rig], Any]] = {
    "light-start": lambda r: r.light(),
    "light-start-from-the-lay": lambda r: r.light(in_use=True, may_look=True),
    "light-marked": lambda r: _marked(r.light()),
    "light-photo": lambda r: r.light("1"),
    "light-pattern": lambda r: r.light("1", "space"),
    "light-tape": lambda r: r.light("3", *"612.5", "return", *"11"),
    "light-tape-inches": lambda r: r.light("3", *"44", "space", *"1/4", unit="in"),
    "light-bars": lambda r: r.light("r", *"180.2", "return", *"25"),
    "light-found": lambda r: _found(r.light()),
    "bare": lambda r: r.table(),
    "single-cloth": lambda r: r.table(single_cloth()),
    "selected": lambda r: r.table(single_cloth(), "next", "next"),
    "drag": lambda r: _dragged(r.table(single_cloth()), "sleeve/1", 140.0, 90.0),
    "trouble": lambda r: _over(r.table(single_cloth())),
    "locked-and-aside": lambda r: r.table(
        single_cloth(), "next", "lock", "next", "aside", "next", "turn-over"
    ),
    "tracing": lambda r: _traced(r.table(single_cloth()), 1),
    "all-traced": lambda r: _traced(r.table(single_cloth()), 4),
    "tracing-36": lambda r: _traced(r.table(crowd()), 5),
    "tracing-36-turned": lambda r: _traced(r.table(crowd("turned")), 2),
    "arranging-36": lambda r: r.table(crowd(), "next"),
    "help": lambda r: r.table(None, "help"),
    "help-tracing": lambda r: r.table(None, "trace", "help"),
    "all": lambda r: r.table(None, "more"),
    "all-marked": lambda r: _turned_pages(r.table(None, "more"), "go-on", 7),
    "all-tracing": lambda r: r.table(None, "trace", "more"),
    "question": lambda r: _asked(r.table()),
    "bays": lambda r: r.dress(),
    "bays-chalk": lambda r: _turned_pages(r.dress(), "next-bay", 1),
    "bays-point": lambda r: _crossed(r.dress()),
    "align": lambda r: _at(r.table(single_cloth(), "align"), 0.4, 0.5),
    "align-half": lambda r: _pressed(r.table(single_cloth(), "align"), 0.4, 0.5),
    "nudge": lambda r: r.table(single_cloth(), "next", "nudge"),
    "height": lambda r: r.table(single_cloth(), "height"),
    "height-lens": lambda r: r.table(single_cloth(), "height", "away", "next", "next", "away"),
    "shape": lambda r: r.shaped(),
    "shape-pull": lambda r: _pulled(r.shaped(), "style.length", -60.0),
    "shape-neck": lambda r: _pulled(r.shaped(), "style.front_neck_depth", 40.0),
    "shape-cut": lambda r: _pointing(r.shaped("cut-here"), "armhole"),
    "shape-spread": lambda r: _pointing(r.shaped("spread-here"), "hem"),
    "shape-dart": lambda r: r.shaped("dart-here"),
    "check": lambda r: _turned_pages(_at(r.table(single_cloth()), 0.7, 0.3), "check", 1),
    "check-inches": lambda r: r.table(replace(docket(), unit="in"), "check"),
    "hidden": lambda r: r.table(None, "strip"),
    "hidden-not-saved": lambda r: _not_saved(r.table(), hidden=True),
    "not-saved": lambda r: _not_saved(r.table(), hidden=False),
    "dark": lambda r: r.table(None, "blank"),
    "light": lambda r: r.table(None, "work-light"),
    "plan": lambda r: _planned(r.table(single_cloth())),
    "side-far": lambda r: r.table(single_cloth(), "side", "side"),
    "side-left": lambda r: r.table(single_cloth(), "side"),
    "mirrored": lambda r: r.table(single_cloth(), "flip-cloth"),
    "turned": lambda r: r.table(single_cloth(), "turn-cloth"),
    "left-hand": lambda r: r.table(single_cloth(), "hand"),
    "dark-ink": lambda r: r.table(single_cloth(table={"ink": "dark"}), "next"),
}  # fmt: skip
NO_STRIP = {"dark", "light", "hidden"}  # by her own wish; any key or press brings it back


def made(name: str, rig: Rig) -> Any:
    """The table, or first light, in a state; its picture whole."""
    shown = STATES[name](rig)
    shown.repaint()
    shown.frame()
    return shown

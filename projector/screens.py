"""Screens: what an output of the machine really shows now, asked of the X server itself.

Below `app`. SDL reads an X server's outputs once, when it starts, and hears neither of a mode that
is changed nor of an output that is switched off; the picture is then cropped or scaled and no
calibration holds. So the output that the beam stands on is followed on a connection of our own,
which costs nothing until the server says that something has changed. Windows and macOS tell SDL.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

_UPRIGHT = 1  # RandR's rotation without a turn or a reflection


@dataclass(frozen=True)
class Place:
    """Where an output shows its part of the desktop: ``at`` and ``size`` px, ``turned`` or mirrored."""

    at: tuple[int, int]
    size: tuple[int, int]
    turned: bool = False


@dataclass(eq=False)
class Watched:
    """An output followed: `look` whenever you like.

    ``name``: as the server calls it; ``first``: its place when the beam was opened on it.
    """

    name: str
    first: Place
    _display: Any = field(repr=False)
    _now: Place | None = field(default=None, repr=False)

    def look(self) -> Place | None:
        """Where it is now; None when it is off or unplugged."""
        if self._display.pending_events():
            while self._display.pending_events():
                self._display.next_event()
            self._now = dict(_outputs(self._display)).get(self.name)
        return self._now

    def number(self) -> int | None:
        """Its number as SDL counts them now (the primary first); None when it is off."""
        names = [name for name, _ in _outputs(self._display)]
        return names.index(self.name) if self.name in names else None

    def close(self) -> None:
        """Give the connection back."""
        self._display.close()


def watched(number: int, sizes: Sequence[tuple[int, int]]) -> Watched | None:
    """Follow the output with SDL's number; None where there is no X server with RandR.

    Args:
        number: of the display.
        sizes: of all displays px, in SDL's order; when the server's are others, it is not followed.
    """
    from Xlib import display, error

    try:
        opened = display.Display()
    except (error.DisplayError, error.XError, error.ConnectionClosedError, OSError):
        return None
    try:
        found = _outputs(opened) if opened.has_extension("RANDR") else []
        if [place.size for _, place in found] == [tuple(s) for s in sizes]:
            from Xlib.ext import randr

            opened.screen().root.xrandr_select_input(
                randr.RRScreenChangeNotifyMask
                | randr.RRCrtcChangeNotifyMask
                | randr.RROutputChangeNotifyMask
            )
            opened.sync()
            name, place = found[number]
            return Watched(name, place, opened, place)
    except (error.XError, error.ConnectionClosedError, OSError):
        pass
    opened.close()
    return None


def _outputs(display: Any) -> list[tuple[str, Place]]:
    """The outputs that are on, the primary first, then in the server's order, as SDL has them."""
    root = display.screen().root
    held = root.xrandr_get_screen_resources_current()
    primary = root.xrandr_get_output_primary().output
    out = []
    for output in sorted(held.outputs, key=lambda o: o != primary):
        info = display.xrandr_get_output_info(output, held.config_timestamp)
        if not info.crtc:
            continue
        c = display.xrandr_get_crtc_info(info.crtc, held.config_timestamp)
        if c.mode:
            name = info.name.decode() if isinstance(info.name, bytes) else str(info.name)
            place = Place((c.x, c.y), (c.width, c.height), c.rotation != _UPRIGHT)
            out.append((name, place))
    return out

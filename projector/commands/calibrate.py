"""``chalkbeam calibrate …``: the group of the calibration commands."""

from __future__ import annotations

import click

from projector.cli import CALIBRATE_COMMANDS, LazyGroup


@click.command(cls=LazyGroup, table=CALIBRATE_COMMANDS, alone="lead")
def calibrate() -> None:
    """Find out how the projector sees the table.

    Without a word more it leads through it, on the table itself.
    With a phone or webcam: cards (print once), then photo or live.
    With a tape measure only: crosses, then tape. Later: check.
    """

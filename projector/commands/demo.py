"""``chalkbeam demo``: the whole job on the virtual table."""

from __future__ import annotations

from pathlib import Path

import click

from configs import shipped
from projector.commands.command_line import CommandLine, json_switch, option
from projector.commands.places import OUT_FOLDER
from projector.console import print_json, print_table


class DemoCommand(CommandLine):
    """The whole job on the virtual table, pictures and figures in a folder.

    Drafts a top for alto-3, lays it on folded cloth, photographs marker cards on a virtual table,
    solves the calibration from that photo, projects the lay back on to the table and measures there
    how far each cutting line lies from the draft. Only the devices are virtual.
    """

    out: Path = option(
        "Folder for the pictures and figures.", OUT_FOLDER, default=Path("chalkbeam-demo")
    )
    seed: int = option(
        "Another number: another table, projector and phone.", click.IntRange(0, 10**6), default=3
    )
    as_json: bool = json_switch()

    def run(self) -> None:
        from projector.demo import run

        outcome = run(
            self.out,
            shipped(),
            seed=self.seed,
            say=(lambda _: None) if self.as_json else click.echo,
        )
        if self.as_json:
            print_json(outcome.report)
            return
        true = outcome.trueness
        px = true.mm_per_px
        print_table(
            "\nCutting lines on the virtual table, against the draft",
            ["", "mm", "projector px"],
            [
                ["rms", f"{true.rms_mm:.3f}", f"{true.rms_mm / px:.2f}"],
                ["95 % within", f"{true.p95_mm:.3f}", f"{true.p95_mm / px:.2f}"],
                ["largest", f"{true.max_mm:.3f}", f"{true.max_mm / px:.2f}"],
            ],
        )
        click.echo(
            f"{len(true.errors_mm)} places measured; one projector pixel is {px:.2f} mm there; "
            f"{outcome.report['seconds']['whole']:.0f} s in all."
        )
        click.echo(
            f"Look at {self.out / 'table.png'}, {self.out / 'photo.jpg'}, {self.out / 'lay.png'}."
        )
        docket, calibration = self.out / "docket.yaml", self.out / "calibration.yaml"
        click.echo(
            "The same docket on a display (moving pieces; true only on the table it was solved for):\n"
            f"  chalkbeam project {docket} --calibration {calibration} --window"
        )

"""The one console command, ``chalkbeam``.

Commands are named here with one help line each and loaded when called, so that ``--help``
loads neither OpenCV nor pygame nor scipy. The one place that turns errors into exit codes.
"""

from __future__ import annotations

import io
import os
import sys
from importlib import import_module
from typing import cast

import click

# command → its help line; its module is called as it is, and its class
_COMMANDS = {
    "demo": "The whole job on the virtual table: pictures and figures in a folder.",
    "new": "Begin a garment by question and answer; also 'chalkbeam' alone.",
    "blocks": "What can be drafted, from which measurements, in which styles.",
    "measure": "Take measurements, guided, one at a time.",
    "base": "Keep a fitted draft as her own base, which garments refer to.",
    "wardrobe": "Every docket of a folder in one look; what is out of date.",
    "draft": "Draft a docket's pieces: SVG, truing report, step pictures.",
    "lay": "Plan how the pieces lie on the cloth so that little is wasted.",
    "calibrate": "Find out how the projector sees the table.",
    "cloth": "Find the cloth on the table in a photo: outline, holes, flaws.",
    "project": "Show the lay on the cloth; move, trace, cut.",
    "frame": "Write exactly what the projector would show to a picture.",
    "print": "Print the pieces at true scale, tiled: when there is no projector.",
    "export": "Write the pieces as SVG or DXF.",
    "import": "Take outlines from an SVG or DXF file into a docket.",
    "guide": "The guide, a page at a time, or as a PDF to print.",
}

# subcommand of calibrate → the same
CALIBRATE_COMMANDS = {
    "lead": "Be led through it; also 'chalkbeam calibrate' alone.",
    "cards": "Print these marker cards once and cut them out.",
    "pattern": "The picture to project while the photo is taken.",
    "photo": "Solve from one photo, or several.",
    "live": "Show the pattern, grab camera frames, solve, save.",
    "crosses": "The numbered crosses for the tape measure.",
    "tape": "Solve from distances taken with a tape measure.",
    "check": "Is the calibration still true? By how much not?",
}
_MODULES = {  # where they are called otherwise
    "print": "print_",
    "import": "import_",
    "pattern": "calibrate_cards",
    "crosses": "calibrate_tape",
    **{name: f"calibrate_{name}" for name in ("lead", "cards", "photo", "live", "tape", "check")},
}


class LazyGroup(click.Group):
    """A group whose commands are imported only when they are called.

    ``alone``: the command that runs when none is named.
    """

    def __init__(self, *args: object, table: dict[str, str], alone: str, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]  # handed through to click
        self.table, self.alone = table, alone

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """As click does; without a word, or with one of its options alone, it is ``alone``."""
        first = args[0].partition("=")[0] if args else ""
        own = {o for p in self.get_params(ctx) for o in p.opts}
        if first.startswith("-") and first not in own:
            command = self.get_command(ctx, self.alone)
            known = {o for p in command.params for o in p.opts} if command is not None else set()
            args = [self.alone, *args] if first in known else args
        return super().parse_args(ctx, args or [self.alone])

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job, not of the alphabet."""
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command's module and hand over what click runs."""
        if cmd_name not in self.table:
            return None
        if cmd_name == "calibrate":
            return calibrate
        module = import_module(f"projector.commands.{_MODULES.get(cmd_name, cmd_name)}")
        command = getattr(module, f"{cmd_name.capitalize()}Command").command
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does, naming the nearest command when there is none of that name."""
        if args and args[0] not in self.table:
            from configs.reader import nearest

            hint = nearest(args[0], self.table)
            ctx.fail(f"There is no command '{args[0]}'. {hint}".rstrip())
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Help lines from the table, without importing anything."""
        with formatter.section("Commands"):
            formatter.write_dl(list(self.table.items()))


@click.command(cls=LazyGroup, table=CALIBRATE_COMMANDS, alone="lead")
def calibrate() -> None:
    """Find out how the projector sees the table.

    Without a word more it leads through it, on the table itself.
    With a phone or webcam: cards (print once), then photo or live.
    With a tape measure only: crosses, then tape. Later: check.
    """


@click.command(
    cls=LazyGroup,
    table=_COMMANDS,
    alone="new",
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(
    package_name="chalkbeam",
    message="chalkbeam %(version)s",
    help="Print the version and leave.",
)
def cli() -> None:
    """From a tape measure to a true line on cloth.

    Draft a garment from body measurements, lay it on the cloth that you have, find out how
    the projector over your table sees that table, and trace the outlines that it throws.

    'chalkbeam' alone asks what you want to make; 'chalkbeam demo' shows the whole job. Never look into the projector's lens.
    """


def _typed(words: list[str]) -> tuple[str, click.Command]:
    """The command that was meant, ``chalkbeam calibrate photo``, as far as there is one."""
    path, command = "chalkbeam", cast("click.Command", cli)
    for word in words:
        inner = (
            command.get_command(click.Context(command), word)
            if isinstance(command, LazyGroup)
            else None
        )
        if inner is None:
            break
        path, command = f"{path} {word}", inner
    return path, command


def main(argv: list[str] | None = None) -> int:
    """Run a command line.

    Exit codes: 0 done, 1 a check did not pass, 2 something to be put right, 3 a fault of ours.
    """
    for stream in (sys.stdout, sys.stderr):  # a file name may hold what the terminal cannot show
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # our matrices are small: threads
        os.environ.setdefault(name, "1")  # of BLAS only get in each other's way
    try:
        result = cli.main(args=argv, prog_name="chalkbeam", standalone_mode=False)
    except click.ClickException as error:
        from projector.commands.support import explain_usage

        click.echo(explain_usage(error, *_typed(sys.argv[1:] if argv is None else argv)), err=True)
        code = 2
    except click.exceptions.Abort:
        click.echo("Stopped. What was saved stays saved.", err=True)
        code = 130
    except BrokenPipeError:
        sys.stderr.close()  # the reader of our output has gone; nothing more can be said
        code = 0
    except Exception as error:
        from projector.commands.support import explain, own_fault

        text = explain(error)
        click.echo(text if text is not None else own_fault(error), err=True)
        code = 2 if text is not None else 3
    else:
        code = result if isinstance(result, int) else 0
    if argv is None:
        sys.exit(code)
    return code

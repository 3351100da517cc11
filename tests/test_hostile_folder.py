"""A folder with anybody's files beside the docket: none of them runs, none is taken as a setting."""

from __future__ import annotations

import importlib.metadata
import os
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest
from dockets import write_top

CHALKBEAM = Path(sysconfig.get_path("scripts")) / "chalkbeam"


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A docket, and beside it a file of every name that could be imported, and settings for all."""
    folder = tmp_path_factory.mktemp("hostile")
    marker = folder / "RAN"
    names = {*sys.stdlib_module_names, *importlib.metadata.packages_distributions()}
    names |= {"sitecustomize", "usercustomize", "configs", "drafting", "calibrate", "projector"}
    text = f"open({str(marker)!r}, 'a').write(__name__ + ' ')\n"
    for name in names:
        if name.isidentifier():
            (folder / f"{name}.py").write_text(text)
    assert {"multiprocessing", "numpy", "ezdxf", "projector"} <= names
    for name in ("ezdxf.ini", "matplotlibrc", "setup.cfg", ".pdbrc", "fpdf.ini", "pyvenv.cfg"):
        (folder / name).write_text("no section, no key\n")
    write_top(folder)
    return folder


def run(folder: Path, args: list[str]) -> str:
    """A process in that folder; what it printed, once it has ended well and nothing of the folder ran."""
    home = {"CHALKBEAM_HOME": str(folder / "home")}
    env = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")} | home
    done = subprocess.run(args, cwd=folder, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert not (folder / "RAN").exists(), (folder / "RAN").read_text()
    return done.stdout


@pytest.mark.parametrize(
    "line",
    [
        "draft top.yaml --out drafted",
        "lay top.yaml --seconds 1.5 --no-compare",
        "print top.yaml --paper a4 --out top.pdf",
        "calibrate pattern --size 640x360 --out pattern.png",
    ],
)
def test_commands_run_nothing_from_the_folder(line: str, hostile: Path) -> None:
    """The command does its work; no file of the folder is imported, no setting breaks it."""
    run(hostile, [str(CHALKBEAM), *line.split()])


def test_drawings_go_out_and_come_in(hostile: Path) -> None:
    """DXF and SVG are written and read though settings for the DXF library lie there."""
    for name in ("pieces.dxf", "pieces.svg"):
        run(hostile, [str(CHALKBEAM), "export", "top.yaml", "--out", name])
        assert "front" in run(hostile, [str(CHALKBEAM), "import", name])


def test_a_plan_at_the_table_runs_nothing_from_the_folder(hostile: Path, tmp_path: Path) -> None:
    """The planner's process, its workers and the queue's helper start away from the folder; a plan comes."""
    script = tmp_path / "table.py"
    script.write_text(
        "import time\n"
        "from pathlib import Path\n"
        "from drafting.docket import Docket\n"
        "from projector.session.planning import Planning\n"
        "if __name__ == '__main__':\n"
        "    run = Planning(Docket.load(Path('top.yaml')), (), seconds=1.0)\n"
        "    run.start()\n"
        "    while not run.done:\n"
        "        run.poll()\n"
        "        time.sleep(0.05)\n"
        "    run.stop()\n"
        "    print(run.fault, len(run.best.lay))\n"
    )
    assert run(hostile, [sys.executable, str(script)]).split() == ["2"]

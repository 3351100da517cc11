"""Pictures of every state of the table: as light on black, and as it looks on four cloths.

Run by hand: ``python tests/bench/screens_table.py FOLDER [--size 1920x1080] [--state NAME] [--cloth]
[--sheets]``. The states are those of `tests/projector/states.py`. On a cloth the projector's light adds
to the room's, and the cloth reflects both: ``reflectance × (room + light)``, all linear, with the room at
18 % of the projector's white and its black at 1/1500 of it. ``--sheets``: small ones, twelve to a picture.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "projector"))

import cv2
import numpy as np
from numpy.typing import NDArray
from states import STATES, WIDTHS, Rig, made

from calibrate.simulate.surfaces import TILE_PX_PER_MM, tile_of

Image = NDArray[np.uint8]
ROOM, BLACK = 0.18, 1.0 / 1500.0
GAMMA = 2.2
CLOTHS = ("dark", "mid", "white", "printed")


def cloth(name: str, size: tuple[int, int], width_mm: float) -> NDArray[np.float32]:
    """(H, W, 3) reflectance of a cloth that fills the beam. From memory: black wool some 5 %, white
    cotton some 85; the print is in three colours, 60 mm from repeat to repeat."""
    w, h = size
    mm = width_mm / w
    y, x = np.mgrid[0:h, 0:w].astype(np.float32) * np.float32(mm)
    surface = {"dark": "dark cloth", "mid": "cloth", "white": "white sheet", "printed": "cloth"}
    tile = tile_of(surface[name])[4:-4, 4:-4]
    n = len(tile)
    base = tile[(y * TILE_PX_PER_MM).astype(int) % n, (x * TILE_PX_PER_MM).astype(int) % n]
    if name == "printed":
        base = base / base.mean(axis=(0, 1)) * np.array([0.70, 0.62, 0.42], np.float32)
        for colour, shift, r in (((0.12, 0.18, 0.35), 0.0, 14.0), ((0.55, 0.10, 0.12), 30.0, 9.0)):
            for dx, dy in ((0.0, 0.0), (30.0, 30.0)):
                away = np.hypot((x + dx + shift) % 60 - 30, (y + dy) % 60 - 30)
                base = np.where((away < r)[..., None], np.array(colour, np.float32), base)
    return np.asarray(base, dtype=np.float32)


def on_cloth(frame: Image, reflectance: NDArray[np.float32]) -> Image:
    """The picture as an eye that has grown used to the room sees it, (H, W, 3) uint8."""
    light = BLACK + (1 - BLACK) * (frame.astype(np.float32) / 255.0) ** GAMMA
    seen = reflectance * (ROOM + light)
    white = max(float(np.quantile(seen, 0.9995)), 1e-3)  # an eye grows used to what is lightest
    return np.asarray(np.clip(seen / white, 0, 1) ** (1 / GAMMA) * 255 + 0.5, dtype=np.uint8)


def rgb(canvas: NDArray[np.uint32]) -> Image:
    """(H, W, 3) of a canvas."""
    return np.stack([(canvas >> k & 255).astype(np.uint8) for k in (16, 8, 0)], axis=2)


def write(path: Path, image: Image) -> None:
    """As a PNG."""
    path.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(path), image[:, :, ::-1])


def sheets(folder: Path, pictures: list[tuple[str, Image]]) -> None:
    """Twelve small ones to a picture, with their names."""
    for n in range(0, len(pictures), 12):
        cells = []
        for name, image in pictures[n : n + 12]:
            small = cv2.resize(image, (640, 360), interpolation=cv2.INTER_AREA)
            small = cv2.copyMakeBorder(small, 22, 2, 2, 2, cv2.BORDER_CONSTANT, value=(60, 60, 60))
            cv2.putText(small, name, (6, 16), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (255, 255, 255), 1)
            cells.append(small)
        while len(cells) % 3:
            cells.append(np.zeros_like(cells[0]))
        rows = [np.hstack(cells[i : i + 3]) for i in range(0, len(cells), 3)]
        write(folder / f"sheet-{n // 12 + 1}.png", np.vstack(rows))


def main() -> None:
    """All states, or those asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--size", action="append", help="1920x1080; may be given again")
    parser.add_argument("--state", action="append", choices=list(STATES))
    parser.add_argument("--cloth", action="store_true", help="on the four cloths too")
    parser.add_argument("--sheets", action="store_true")
    asked = parser.parse_args()
    given = asked.size or [f"{w}x{h}" for w, h in WIDTHS]
    for text in given:
        w, h = (int(v) for v in text.split("x"))
        pictures: list[tuple[str, Image]] = []
        cloths = {c: cloth(c, (w, h), WIDTHS[w, h]) for c in CLOTHS} if asked.cloth else {}
        for name in asked.state or STATES:
            with tempfile.TemporaryDirectory() as where:
                os.environ["CHALKBEAM_HOME"] = where
                shown = made(name, Rig((w, h), Path(where)))
                frame = rgb(shown.canvas)
                if hasattr(shown, "close"):
                    shown.close()
            pictures.append((name, frame))
            write(asked.folder / text / f"{name}.png", frame)
            for c, reflectance in cloths.items():
                seen = on_cloth(frame, reflectance)
                pictures.append((f"{name} on {c}", seen))
                write(asked.folder / text / f"{name}-{c}.png", seen)
        if asked.sheets:
            sheets(asked.folder / text, pictures)
        print(f"{text}: {len(pictures)} pictures in {asked.folder / text}")


if __name__ == "__main__":
    main()

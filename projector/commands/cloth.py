"""``chalkbeam cloth``: from a photo of the cloth on the table to a file that the lay is planned on."""

from __future__ import annotations

import contextlib
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from projector.commands.lengths import LENGTH_MM
from projector.commands.places import FILE, JSON_OPTION, Command, Place
from projector.output import CLOTH, DOCKET, PICTURE, look_over, write, write_picture

if TYPE_CHECKING:
    from calibrate.calibration import Calibration
    from calibrate.cloth_scan import ClothScan, TableView
    from calibrate.detect import Image
    from drafting import Docket
    from drafting.cloth import Cloth


@click.command(cls=Command)
@click.argument("photo", required=False, type=FILE)
@click.option(
    "--calibration", "calibration_file", type=FILE,
    help="The table's calibration; without it, the newest in the store.",
)  # fmt: skip
@click.option(
    "--out", type=Place(CLOTH, beside={".png": PICTURE}),
    help="Where to write the cloth: cloth.yaml",
)  # fmt: skip
@click.option(
    "--into", type=Place(DOCKET, edited=lambda given: given["light"] is None), metavar="DOCKET.yaml",
    help="Also make it the docket's cloth, lying where it was seen.",
)  # fmt: skip
@click.option(
    "--keep-off", type=LENGTH_MM, default=3.0, show_default=True, metavar="LENGTH",
    help="Leave this much along the edge, holes and flaws: raw edges fray and curl.",
)  # fmt: skip
@click.option(
    "--grain", type=click.FloatRange(-360, 360), metavar="DEGREES",
    help="The cloth's length, counter-clockwise from the table's right.",
)  # fmt: skip
@click.option(
    "--grain-side", type=click.IntRange(1), metavar="N",
    help="The straight side that follows the length, as the picture numbers them.",
)  # fmt: skip
@click.option(
    "--light", type=Place(PICTURE), metavar="FILE.png",
    help="Write the light to show while the photo is taken, and leave.",
)  # fmt: skip
@click.option("--size", metavar="WxH", help="The projector's own resolution, with --light.")
@click.option("--live", is_flag=True, help="No photo: show the light and look with a camera.")
@click.option("--camera", default=0, show_default=True, help="Which camera, with --live.")
@click.option("--display", type=int, help="Which display the projector is, with --live.")
@JSON_OPTION
def cloth(
    photo: Path | None,
    calibration_file: Path | None,
    out: Path | None,
    into: Path | None,
    keep_off: float,
    grain: float | None,
    grain_side: int | None,
    light: Path | None,
    size: str | None,
    live: bool,
    camera: int,
    display: int | None,
    as_json: bool,
) -> None:
    """Find the cloth that lies on the table: outline, holes, flaws.

    Smooth it flat on something of another colour. Show the light of '--light' and keep the cloth
    inside its white; or leave the printed cards taped where they lay at the calibration; or lay
    them loose beside the cloth (its size is true then, its place not known). Bare table must show
    all round. The picture written beside the file numbers the straight sides.
    """
    from calibrate.calibration import Calibration, newest
    from calibrate.calibration import told as told_of
    from calibrate.cloth_scan import scan, view_of
    from configs.errors import Fault, InputError

    calibration = Calibration.load(calibration_file) if calibration_file else newest()
    if light is not None:
        _write_light(light, size, calibration)
        return
    if size is not None:
        raise InputError(Fault("--size", "goes with --light.", "Leave it out."))
    if (photo is None) == (not live):
        raise InputError(
            Fault(
                "cloth", "needs a PHOTO, or --live to look with a camera.", "Give one of the two."
            )
        )
    if out is None and into is None:
        raise InputError(
            Fault("cloth", "does not know where to write.", "Give --out cloth.yaml, or --into.")
        )
    if not 0 <= keep_off <= 100:
        raise InputError(Fault("--keep-off", f"{keep_off:g} mm is no rim.", "3 mm is usual."))
    if grain is not None and grain_side is not None:
        raise InputError(Fault("--grain", "and --grain-side say the same.", "Give one of the two."))
    beside = _beside(out, into)
    look_over([], [("", beside, PICTURE, False)])
    picture, name = _picture(photo, calibration, camera, display)
    view = view_of(picture, calibration, name)
    found = scan(picture, view, grain_deg=grain, grain_side=grain_side, name=name)
    data, place, told = _as_cloth(found, view, keep_off, name)
    written = _write(found, data, place, (out, into, beside), view.placed)
    if as_json:
        from calibrate.cloth_scan import as_data
        from projector.console import print_json

        print_json(
            {
                **as_data(found, view),
                "cloth": data,
                "table_from_cloth": {"turn_deg": place[0], "at_mm": place[1]},
                "notes": [*view.notes, *found.notes, *told],
                "written": [str(p) for p in written],
            }
        )
        return
    if calibration_file is None and calibration is not None:
        click.echo(f"By the newest calibration in the store: {told_of(calibration)}.")
    for line in _sentences(found, view, data):
        click.echo(line)
    for line in (*view.notes, *found.notes, *told):
        click.echo(f"Note: {line}")
    click.echo("Written: " + ", ".join(str(p) for p in written))


def _write_light(path: Path, size: str | None, calibration: Calibration | None) -> None:
    from calibrate.cloth_scan import scan_light
    from calibrate.pattern import parse_size
    from configs.errors import Fault, InputError

    if size is None and calibration is None:
        raise InputError(
            Fault("--light", "needs the projector's resolution.", "Give --size 1920x1080.")
        )
    wanted = parse_size(size) if size is not None else calibration.size  # type: ignore[union-attr]
    write_picture(path, scan_light(wanted).image())
    click.echo(
        f"Written: {path}. Show it full screen on the projector, lay the cloth flat inside the "
        "white, and photograph all four chequered corners. Never look into the lens."
    )


def _picture(
    photo: Path | None, calibration: Calibration | None, camera: int, display: int | None
) -> tuple[Image, str]:
    import numpy as np

    from calibrate.photo import read_photo
    from configs.errors import Fault, InputError

    if photo is not None:
        return read_photo(photo), str(photo)
    if calibration is None:
        raise InputError(
            Fault("--calibration", "is missing, and the store is empty.", "Calibrate first.")
        )
    from calibrate.camera import DeviceSource, mean_frame
    from calibrate.cloth_scan import scan_light
    from projector.app import Beam

    with DeviceSource.open(camera) as source, Beam.open(display, calibration.size) as beam:
        light = scan_light(calibration.size).image()
        beam.show(np.repeat(light[..., None], 3, axis=2))
        beam.wait(source.settle_seconds)
        for _ in range(source.stale):
            source.read()
        return mean_frame(source, 30), source.name


def _as_cloth(
    found: ClothScan, view: TableView, keep_off: float, name: str
) -> tuple[dict[str, Any], tuple[float, tuple[float, float]], list[str]]:
    """The cloth's keys in its own frame, (turn, place) of that frame on the table, what to say.

    Cloth frame: x along the length, its lowest corner at the origin.
    """
    import numpy as np

    from configs.errors import Fault, InputError
    from drafting.cloth import kept_off

    c, s = math.cos(found.grain_rad), math.sin(found.grain_rad)
    turned = np.array([[c, s], [-s, c]])
    low = (found.outline @ turned.T).min(axis=0)
    at = turned.T @ low

    def own(ring: Any) -> list[list[float]]:
        return [[round(float(x), 1), round(float(y), 1)] for x, y in ring @ turned.T - low]

    try:
        outline, holes, lost = kept_off(own(found.outline), [own(h) for h in found.holes], keep_off)
        flaws = [kept_off(own(f), [], -keep_off)[0] for f in found.flaws]
    except ValueError as error:
        raise InputError(
            Fault(name, f"nothing is left of the cloth inside {keep_off:g} mm.", "Keep off less.")
        ) from error
    data: dict[str, Any] = {"unit": "mm", "outline": outline}
    if holes:
        data["holes"] = holes
    if flaws:
        data["flaws"] = flaws
    told = []
    if lost > 1.0:
        told.append(
            f"Keeping off the edge cuts the cloth in parts; {lost / 100:.0f} cm² of small ones "
            "are left out."
        )
    return data, (math.degrees(found.grain_rad), (float(at[0]), float(at[1]))), told


def _beside(out: Path | None, into: Path | None) -> Path:
    """Where the picture that numbers the sides goes."""
    return out.with_suffix(".png") if out is not None else into.with_suffix(".cloth.png")  # type: ignore[union-attr]  # one is named


def _into(
    docket: Docket, data: dict[str, Any], place: tuple[float, tuple[float, float]] | None
) -> tuple[Cloth, Docket]:
    """The docket with the cloth found, and that cloth: what a photo cannot see stays.

    ``place``: where it lies on the table, where that is known.
    """
    from drafting.cloth import Cloth

    keep = docket.cloth.to_dict() if docket.cloth is not None else {}
    for key in ("width", "length", "fold", "selvedge", "outline", "holes", "flaws"):
        keep.pop(key, None)  # nap, repeat, price and the like stay
    made = Cloth.from_dict({**keep, **data}, where=f"{docket.path}: cloth")
    table = dict(docket.table or {})
    if place is not None:
        at = [round(v, 4) for v in place[1]]
        lies = {"turn": round(place[0], 6), "at": at, "mirror": False}
        table["view"] = {**(table.get("view") or {}), **lies}
    return made, docket.replace(cloth=made, table=table)


def _write(
    found: ClothScan,
    data: dict[str, Any],
    place: tuple[float, tuple[float, float]],
    places: tuple[Path | None, Path | None, Path],
    placed: bool,
) -> list[Path]:
    """The cloth file, the docket and the picture; every one whole or not at all."""
    from calibrate.cloth_scan import picture
    from configs.files import FORMAT_VERSION, dump_yaml
    from drafting.cloth import Cloth
    from projector.commands.places import taken
    from projector.hold import alone
    from projector.journal import with_noted

    out, into, beside = places
    made = Cloth.from_dict(data, where="the cloth found")
    written = []
    with contextlib.ExitStack() as stack:
        docket: Docket | None = None
        if into is not None:
            taken([into], alone=True)
            stack.enter_context(alone(into))
            made, docket = _into(with_noted(into).docket, data, place if placed else None)
        if out is not None:
            note = f"found on the table; length {place[0]:.1f}° from the table's right"
            cloth = {"chalkbeam": FORMAT_VERSION, **made.to_dict(), "note": note}
            write(out, dump_yaml(cloth), CLOTH)
            written.append(out)
        if docket is not None:
            written.append(docket.save())
    write_picture(beside, picture(found))
    return [*written, beside]


def _sentences(found: ClothScan, view: TableView, data: dict[str, Any]) -> list[str]:
    import numpy as np

    along = np.array(data["outline"])
    span = np.ptp(along, axis=0) / 10
    holes, flaws = len(found.holes), len(found.flaws)
    by = {
        "longest side": "its longest straight side",
        "longest way": "its longest way, no side being straight",
        "given": "the angle that you gave",
    }.get(found.grain_by, f"side {found.grain_by.split()[-1]} of the picture")
    seen = {
        "light": "the projected light",
        "taped cards": "the taped cards",
        "loose cards": "loose cards (its place on the table is not known)",
    }[view.by]
    return [
        f"Cloth of {span[0]:.1f} × {span[1]:.1f} cm (along × across), "
        f"{found.area_mm2 / 1e6:.2f} m², {_count(holes, 'hole')}, {_count(flaws, 'flaw')}; "
        f"measured by {seen}, edge true to about {max(0.5, 3 * found.doubt_mm):.1f} mm.",
        f"Its length is taken along {by}, {math.degrees(found.grain_rad):.1f}° from the table's "
        "right. If that is not the grain: --grain-side N, numbers in the picture.",
    ]


def _count(number: int, word: str) -> str:
    return f"no {word}" if number == 0 else f"{number} {word}{'s' if number > 1 else ''}"

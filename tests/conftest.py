"""Every test has a store of its own: none writes into the calibrations kept on this machine.

And which tests make the daily round (``pytest -m quick``): whole files, but for those that render
photos, plan lays, start programs or try many inputs; of these a few stand for the rest.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

# as the commands have it: for matrices as small as ours threads cost more than they bring
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")


@pytest.fixture(scope="session", autouse=True)
def _own_home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Calibrations and settings of this session live in a temporary folder."""
    before = os.environ.get("CHALKBEAM_HOME")
    os.environ["CHALKBEAM_HOME"] = str(tmp_path_factory.mktemp("home"))
    yield
    if before is None:
        os.environ.pop("CHALKBEAM_HOME", None)
    else:
        os.environ["CHALKBEAM_HOME"] = before


_SLOW = {
    "calibrate": "photos_together solve photo cloth_scan camera tape simulate drift real_photographs rigs",
    "projector": "lay_command hostile_files app bays_table measure cloth_command journal_commands one_input every_state "
    "new sketches guided_tape lay_labels lay_cloths window xorg shape pointer_ways exchange frame_command bays table clock two_hands",
    "drafting": "layers strips export_dxf dress figures lay steps cut_size intake_hostile base necklines faces_of_cloth draft_command "
    "skirts set_in_sleeve fitted_bodice folds mending cuffs inside measured travels straight_skirt "
    "same_geometry printed_sums export_pdf intake_svg any_block body_passes style slips round_trip "
    "wardrobe_sheet collars fronts bust_shaping elbow_dart waist_facings hip_yoke facing_in_one",
    "": "words one_unit said_once next_commands journey api hostile_folder output_places readme_commands readme",
}
# one or two of each for all of them: the solver, a lay, the table's files, a garment, the way in
_FOR_ALL = {
    "test_homography_agrees_with_scikit_image", "test_camera_lens_agrees_with_opencv",
    "test_a_lens_off_its_axis_is_found", "test_no_seconds_is_a_plan_all_the_same",
    "test_the_same_photo_under_another_name_counts_once", "test_the_toy_drafts",
}  # fmt: skip


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what is quick."""
    here = Path(__file__).parent
    slow = {here / f / f"test_{n}.py" for f, names in _SLOW.items() for n in names.split()}
    gone = sorted(str(p.relative_to(here)) for p in slow if not p.is_file())
    if gone:  # renamed, a slow file would be quick without a word
        raise pytest.UsageError(f"tests/conftest.py names files that are not there: {gone}")
    longest = ["test_readme_commands.py", "test_journey.py"]
    items.sort(  # what takes long begins first, so that no worker is left with it at the end
        key=lambda i: (i.path.name not in longest, i.path not in slow)
    )
    for item in items:
        if item.path not in slow or item.name.partition("[")[0] in _FOR_ALL:
            item.add_marker("quick")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """A file's tests on one worker: what they share (a photo, a plan) is made once, not once each."""
    from xdist.scheduler import LoadFileScheduling

    config.option.loadscopereorder = False
    return LoadFileScheduling(config, log)

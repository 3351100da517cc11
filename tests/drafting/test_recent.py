"""What was drafted last is recalled, for the very same recipe alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from configs import shipped
from configs.errors import DraftError
from drafting import Docket
from drafting.docket.recent import _KEPT, recalled

GALA = Docket.load(shipped("styles", "gala-dress.yaml"))


def with_style(docket: Docket, part: int | None, **style: object) -> Docket:
    """The docket with options of its bodice (None), or of a part."""
    garment = dict(docket.garment or {})
    if part is None:
        garment["style"] = {**garment["style"], **style}
    else:
        parts = [dict(p) for p in garment["with"]]
        parts[part] = {**parts[part], "style": {**parts[part]["style"], **style}}
        garment["with"] = parts
    return docket.replace(garment=garment)


def test_a_skirt_pulled_leaves_the_bodice_as_it_is() -> None:
    """The same pieces, not equal ones: nothing of the bodice was drafted again."""
    before = GALA.pieces()
    after = with_style(GALA, 1, length="800 mm").pieces()
    assert after["sleeve"] is before["sleeve"] and after["back"] is not None
    assert after["skirt front"] is not before["skirt front"]
    height = [np.ptp(p["skirt front"].sewing_line[:, 1]) for p in (before, after)]
    assert height[1] != pytest.approx(height[0], abs=1.0)


@pytest.mark.parametrize("part", [None, 0, 1])
def test_what_is_recalled_is_what_is_drafted(part: int | None) -> None:
    """After any change of style, of the scissors or the body, all is as drafted from nothing."""
    from drafting.docket import recent

    ease = {None: {"bust_ease": "120 mm"}, 0: {"length": "long"}, 1: {"length": "calf"}}[part]
    assert GALA.measurements is not None
    garment = dict(GALA.garment or {})
    garment["changes"] = [{**garment["changes"][0], "short": "3 cm"}]
    values = {**GALA.measurements.values, "bust_girth": 1000.0}
    dockets = [
        GALA,
        with_style(GALA, part, **ease),
        GALA.replace(garment=garment),
        GALA.replace(measurements=replace(GALA.measurements, values=values)),
    ]
    warm = [d.replace(title="again").pieces() for d in dockets]
    for docket, pieces in zip(dockets, warm, strict=True):
        recent._recent.clear()
        fresh = docket.replace(title="anew").pieces()
        assert list(fresh) == list(pieces)
        for name, piece in fresh.items():
            assert np.array_equal(piece.sewing_line, pieces[name].sewing_line), name
            assert piece.notches == pieces[name].notches


def test_refusals_are_not_kept_and_few_are_held() -> None:
    """Asked again it is refused again; what is long ago is let go; 1 and True are two recipes."""
    made = [0]

    def refuses() -> int:
        made[0] += 1
        raise DraftError("no")

    thing = object()
    for _ in range(2):
        with pytest.raises(DraftError):
            recalled(refuses, (thing,), "refused")
    assert made == [2]
    for k in range(2 * _KEPT):
        assert recalled(lambda k=k: k, (thing,), k) == k  # type: ignore[misc]
    assert recalled(lambda: "new", (thing,), 0) == "new"
    assert recalled(lambda: "other", (thing,), 2 * _KEPT - 1) == 2 * _KEPT - 1
    assert recalled(lambda: "one", (thing,), 1.5, 1) == "one"
    assert recalled(lambda: "true", (thing,), 1.5, True) == "true"

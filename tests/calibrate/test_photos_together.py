"""Several photos of one calibration: what was moved in between is said, not averaged away."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from test_solve import SPOTS, TRUE, error_mm
from test_solve import photo as whole_photo

from calibrate.detect import Detections
from calibrate.solve import solve
from configs.errors import Refusal

SIDE = {"tilt": 0.35, "azimuth": 0.6}


def photo(*args: Any, **more: Any) -> Detections:
    """A photo of which every eighth corner was found: what is asked here does not hang on more."""
    seen = whole_photo(*args, **more)
    assert seen.pattern is not None
    cards = {i: c.pick(np.arange(0, len(c), 8)) for i, c in seen.cards.items()}
    return replace(seen, cards=cards, pattern=seen.pattern.pick(np.arange(0, len(seen.pattern), 8)))


def pushed(x_mm: float, y_mm: float):  # type: ignore[no-untyped-def]
    """The true projector with its light pushed over the table."""
    return TRUE.moved(np.array([[1, 0, x_mm], [0, 1, y_mm], [0, 0, 1.0]]))


def named(detections, name: str):  # type: ignore[no-untyped-def]
    return replace(detections, name=name)


@pytest.mark.parametrize(("x", "y", "cards"), [(6.0, 3.0, 3), (-1.5, 0.5, 4), (0.0, 30.0, 3)])
def test_a_projector_touched_between_two_photos_is_refused(x: float, y: float, cards: int) -> None:
    """Three or four cards still, light moved by 1.6 to 30 mm: refused, both photos named, the
    distance told."""
    there = tuple(range(cards))
    views = [
        named(photo(1, cards=there), "first.jpg"),
        named(photo(2, cards=there, true=pushed(x, y), **SIDE), "second.jpg"),
    ]
    with pytest.raises(Refusal, match="projector was touched") as refused:
        solve(views, bars_mm=(180, 250))
    assert refused.value.code == "photos-disagree"
    assert "first.jpg" in str(refused.value) and "second.jpg" in str(refused.value)
    assert f"{np.hypot(x, y):.0f} mm" in str(refused.value)


def test_a_photo_of_another_table_among_three_is_named() -> None:
    """Two photos agree, the third shows cards that lie elsewhere: it is the one that is named."""
    elsewhere = tuple((x * 0.8, y * 0.9, a + 0.2) for x, y, a in SPOTS)
    views = [
        named(photo(1), "a.jpg"),
        named(photo(2, **SIDE), "b.jpg"),
        named(photo(3, spots=elsewhere), "c.jpg"),
    ]
    with pytest.raises(Refusal) as refused:
        solve(views, bars_mm=(180, 250))
    assert refused.value.code == "photos-disagree"
    assert "c.jpg" in str(refused.value)


def test_one_card_moved_between_two_photos_is_left_out_and_said() -> None:
    """The card that lies 10 mm elsewhere in the second photo is called moved, not bent, and the rest is as true as ever."""
    other = list(SPOTS)
    other[2] = (other[2][0] + 10, other[2][1], other[2][2])
    solution = solve([photo(1), photo(2, spots=tuple(other), **SIDE)], bars_mm=(180, 250))
    assert solution.named == (2,)
    assert any("moved by 10 mm" in n for n in solution.notes)
    assert error_mm(solution.calibration).max() < 0.3


def test_photos_that_agree_and_raised_cards_are_not_accused() -> None:
    """The same table from two sides, flat or with every card a millimetre high, is solved."""
    for heights in ((0, 0, 0, 0), (1, 1, 1, 1)):
        views = [photo(1, heights=heights), photo(2, heights=heights, **SIDE)]
        solution = solve(views, bars_mm=(180, 250))
        assert error_mm(solution.calibration).max() < 0.5


def copy_of(seen, name: str, turned: bool = False, smaller: float = 1.0):  # type: ignore[no-untyped-def]
    """The corners as a copy of the photo shows them: turned by a quarter, made smaller."""

    def moved(found):  # type: ignore[no-untyped-def]
        px = (found.px + 0.5) * smaller - 0.5
        if turned:
            px = np.column_stack([seen.size[1] * smaller - 1 - px[:, 1], px[:, 0]])
        rng = np.random.default_rng(5)
        noise = rng.normal(0, 0.3, px.shape) * found.sigma[:, None]  # of saving it anew
        return replace(found, px=px + noise, sigma=found.sigma * smaller)

    w, h = (round(n * smaller) for n in (seen.size[::-1] if turned else seen.size))
    cards = {i: moved(c) for i, c in seen.cards.items()}
    return replace(seen, name=name, size=(w, h), cards=cards, pattern=moved(seen.pattern))


def test_a_photo_given_twice_counts_once() -> None:
    """The same photo, or a copy under another name, tells no more than it did, and that is said."""
    one = named(photo(1), "a.jpg")
    alone = solve([one], bars_mm=(180, 250))
    grid = alone.calibration.model.grid_mm()
    copies = [
        (one, "a.jpg was given twice: counted once"),
        (copy_of(one, "b.jpg"), "b.jpg shows the same as a.jpg"),
        (copy_of(one, "b.jpg", turned=True), "b.jpg shows the same as a.jpg"),
        (copy_of(one, "b.jpg", smaller=0.5), "b.jpg shows the same as a.jpg"),
    ]
    for again, told in copies:
        both = solve([one, again], bars_mm=(180, 250))
        assert any(told in n for n in both.notes)
        assert both.calibration.facts["photos"] == 1 and both.order == (0,)
        assert np.allclose(
            both.calibration.expected_error_mm(grid), alone.calibration.expected_error_mm(grid)
        )


def test_a_photo_from_a_little_further_on_counts() -> None:
    """A phone held a few degrees elsewhere is another photo: nothing is said, the doubt is less."""
    one = named(photo(1), "a.jpg")
    two = named(photo(2, tilt=0.33, azimuth=-1.15), "b.jpg")
    both = solve([one, two, named(one, "c.jpg")], bars_mm=(180, 250))
    assert both.calibration.facts["photos"] == 2 and sorted(both.order) == [0, 1]
    assert [n for n in both.notes if "counted once" in n] == [
        "c.jpg shows the same as a.jpg, from the very same place: counted once. A photo from "
        "another side would make it truer."
    ]
    alone = solve([one], bars_mm=(180, 250)).calibration
    grid = alone.model.grid_mm()
    assert (
        both.calibration.expected_error_mm(grid).mean() < 0.9 * alone.expected_error_mm(grid).mean()
    )

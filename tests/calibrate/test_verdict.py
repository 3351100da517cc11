"""What a fit is worth: each refusal and each name at half and at twice its threshold.

Cameras and beams are plain ones whose numbers can be worked out by hand. Where a verdict weighs fits
against each other, the fits are given (how well the cards agree with all, without one, with a
stretched print, with raised cards); that real fits end there is shown on corners in `test_solve`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest

from calibrate import verdict
from calibrate.bundle import CardView, Fit, PhotoView, State
from calibrate.calibration import Calibration, CardPlace
from calibrate.model import COUNT, CameraModel, ProjectorModel
from calibrate.plane import place
from calibrate.verdict import (
    Solution,
    Verdict,
    check_trust,
    disagree,
    few_cards,
    judge,
    moved_between,
    odd_photo,
    print_mended,
    strayed_mm,
)
from configs.errors import Refusal

SIZE = (1920, 1080)
CAMERA = CameraModel((4000, 3000), np.array([0.8, 0, 0, 0, -0.8, 0, 0, 0, *[0.0] * 7]))  # 4 px a mm
GRID = np.stack(np.meshgrid(np.arange(5) * 20.0 - 40, np.arange(5) * 20.0 - 40), axis=2).reshape(-1, 2)  # fmt: skip
PLACES = {0: (-300.0, 200.0, 0.0), 1: (300.0, 200.0, 0.4), 2: (-300.0, -200.0, 0.0), 3: (300.0, -200.0, 1.0)}  # fmt: skip


def beam(grow: float = 0.0, shift: tuple[float, float] = (0.0, 0.0)) -> ProjectorModel:
    """A beam of 0.6 mm a pixel over the frame's origin, grown by a share, moved by mm."""
    s = 1 / 0.6 / (1 + grow)
    x, y = shift
    matrix = np.array([[s, 0, 959.5 - s * x], [0, -s, 539.5 + s * y], [0, 0, 1.0]])
    return ProjectorModel(SIZE, matrix, np.array([959.5, 539.5]))


def seen(places: Mapping[int, tuple[float, float, float]] | None = None, pattern: int = 3) -> PhotoView:  # fmt: skip
    """A photo of cards of 25 corners at these places, with some corners of the pattern."""
    cards = {
        i: CardView(GRID, CAMERA.to_px(place(GRID, p)), np.full(25, 0.05))
        for i, p in (PLACES if places is None else places).items()
    }
    zeros = np.zeros((pattern, 2))
    return PhotoView((4000, 3000), cards, zeros, zeros, np.full(pattern, 0.05))


def moved(**by: tuple[float, float]) -> dict[int, tuple[float, float, float]]:
    """The cards' places with some of them moved by mm: c1=(3, 0)."""
    out = dict(PLACES)
    for name, (x, y) in by.items():
        i = int(name[1:])
        out[i] = (PLACES[i][0] + x, PLACES[i][1] + y, PLACES[i][2])
    return out


def calibration(**changes: Any) -> Calibration:
    """One that says where the cards lay."""
    cards = tuple(CardPlace(i, (x, y), t) for i, (x, y, t) in PLACES.items())
    return Calibration(beam(), np.zeros((COUNT, COUNT)), "photo", "2026-11-02", cards=cards, **changes)  # fmt: skip


# -- several photos ------------------------------------------------------------------------------------


def solved(*photos: PhotoView, raised: Mapping[int, float] | None = None) -> Solution:
    """A solution that knows the cards where `PLACES` has them."""
    cameras = (CAMERA,) * len(photos)
    return Solution(calibration(), cameras, photos, {}, (), (), raised=raised or {})


@pytest.mark.parametrize(("by", "told"), [(0.2, False), (0.8, True)])
def test_a_photo_that_lies_beside_the_others(by: float, told: bool) -> None:
    """Its cards 0.2 mm beside where the others have them are let pass, 0.8 mm name the photo."""
    aside = seen(moved(c0=(by, 0), c1=(0, by), c2=(-by, 0), c3=(0, -by)))
    assert odd_photo(solved(seen(), aside)) == (1 if told else None)
    assert odd_photo(solved(aside, seen(), seen())) == (0 if told else None)
    assert odd_photo(solved(aside)) is None  # alone there is nothing to lie beside


def test_one_moved_card_makes_no_odd_photo() -> None:
    """The median of its cards counts; cards left out of the fit do not, raised ones by less."""
    one = seen(moved(c1=(9, 0)))
    assert odd_photo(solved(seen(), one)) is None
    extra = {**PLACES, 7: (9.0, 9.0, 0.0), 8: (99.0, 9.0, 0.0)}
    assert odd_photo(solved(seen(), seen(extra))) is None
    assert odd_photo(solved(seen(), seen({7: (9.0, 9.0, 0.0)}))) is None
    high = seen(moved(c0=(0.6, 0), c1=(0.6, 0), c2=(0.6, 0), c3=(0.6, 0)))
    assert odd_photo(solved(seen(), high)) == 1
    assert odd_photo(solved(seen(), high, raised=dict.fromkeys(PLACES, 1.0))) is None


def test_how_far_a_card_strayed() -> None:
    """The largest distance between where photos have its middle; 0 of one seen once or never."""
    photos = [seen(), seen(moved(c1=(3, 0))), seen(moved(c1=(0, 4)))]
    assert strayed_mm(1, photos, [CAMERA] * 3) == pytest.approx(5.0)
    assert strayed_mm(0, photos, [CAMERA] * 3) == pytest.approx(0.0, abs=1e-6)
    assert strayed_mm(1, photos[1:2], [CAMERA]) == 0.0
    assert strayed_mm(9, photos, [CAMERA] * 3) == 0.0


@pytest.fixture
def between(monkeypatch: pytest.MonkeyPatch) -> Any:
    """`moved_between` with each photo's own fit given: the camera, and the beam where it is said."""

    def told(one: PhotoView, two: PhotoView, beams: tuple[Any, Any] = (beam(), beam())) -> str:
        def staged(photos: list[PhotoView], size: tuple[int, int]) -> State:
            found = beams[0] if photos[0] is one else beams[1]
            if isinstance(found, Refusal):
                raise found
            return State([CAMERA], {}, found)

        monkeypatch.setattr(verdict, "staged", staged)
        return moved_between(one, two, SIZE)

    return told


def test_what_was_moved_between_two_photos(between: Any) -> None:
    """One card, two, all, two pairs apart, the light: each in words; half a millimetre is nothing."""
    assert between(seen(), seen()) == ""
    for by, told in ((0.5, ""), (2.0, "Card 1 lies about 2 mm elsewhere in the second.")):
        assert between(seen(), seen(moved(c1=(by, by)))) == told
        assert between(seen(moved(c1=(by, by))), seen()) == told
    two = between(seen(), seen(moved(c0=(-9, 9), c1=(8, 8))))
    assert two.startswith("Cards 0 and 1 lie about")
    every = moved(c0=(-9, 9), c1=(8, 8), c2=(-7, -7), c3=(6, -6))
    assert between(seen(), seen(every)).startswith("The cards lie about")
    pairs = between(seen(), seen(moved(c0=(-5, 0), c2=(-5, 0))))
    assert pairs == "Not all cards lie where they lay."
    nearly = between(seen(), seen(moved(c0=(-0.5, 0), c2=(-0.5, 0))))
    assert nearly == ""
    for by, told in ((0.5, False), (2.0, True)):
        light = between(seen(), seen(), (beam(), beam(shift=(0.0, by))))
        assert light.startswith("The light lies about 2 mm elsewhere among the cards") is told
        assert bool(light) is told
    together = moved(c0=(4, 3), c1=(4, 3), c2=(4, 3), c3=(4, 3))
    assert "about 5 mm" in between(seen(), seen(together))
    assert between(seen(), seen(together), (beam(), beam(shift=(4.0, 3.0)))) == ""


def test_photos_that_cannot_be_compared(between: Any) -> None:
    """Too few cards or no fit of its own: nothing is told; other cards, or no light: that they are."""
    few = seen({0: PLACES[0], 1: (320.0, 230.0, 0.4)})
    assert between(few, seen()) == between(seen(), few) == ""
    three = seen({i: PLACES[i] for i in (0, 1, 2)})
    assert between(three, seen(moved(c1=(3, 3)))).startswith("Card 1")
    gone = Refusal("few-corners", "no.", "no.")
    assert between(seen(), seen(), (beam(), gone)) == ""
    others = seen({i + 4: p for i, p in PLACES.items()})
    assert between(seen(), others) == "They show other cards."
    one = seen({3: PLACES[3], 5: PLACES[0], 6: PLACES[1]})
    assert between(seen(), one) == "They show other cards."
    assert between(seen(), seen(), (None, beam())) == "They show other cards."
    assert between(seen(), seen(), (beam(), None)) == "They show other cards."
    two = seen({2: PLACES[2], 3: PLACES[3], 6: PLACES[1]})
    assert between(seen(), two) == ""


def test_refusals_name_what_they_refuse() -> None:
    """The photos that disagree; how many cards there are, none, one or two."""
    refusal = disagree("a.jpg", "b.jpg", "Card 1 lies elsewhere.")
    assert (refusal.code, refusal.data) == ("photos-disagree", {"photos": ["a.jpg", "b.jpg"]})
    assert "a.jpg and b.jpg do not show one and the same table. Card 1" in str(refusal)
    assert few_cards([], []).code == "no-cards"
    for ids, told in (([4], "only one card can be read (card 4)"), ([4, 7], "only two cards can be read (card 4, card 7)")):  # fmt: skip
        refusal = few_cards(ids, [])
        assert refusal.code == "few-cards" and refusal.data == {"cards": ids}
        assert told in str(refusal)


def test_a_stretched_print_is_put_right_in_the_corners() -> None:
    """Every card's corners grow along x over along y by as much; without a stretch nothing changes."""
    photo = seen()
    assert print_mended(photo, 0.0) is photo
    mended = print_mended(photo, 0.01)
    for i in PLACES:
        grown = mended.cards[i].corners_mm / np.where(GRID == 0, 1.0, GRID)
        x, y = grown[GRID[:, 0] != 0, 0], grown[GRID[:, 1] != 0, 1]
        assert x.mean() / y.mean() == pytest.approx(1.01, abs=1e-4)
        np.testing.assert_array_equal(mended.cards[i].corners_px, photo.cards[i].corners_px)


# -- can it be trusted -----------------------------------------------------------------------------------


def trust(
    places: Mapping[int, tuple[float, float, float]], floor_mm: float = 0.1
) -> Refusal | None:
    """The refusal, if there is one, for cards at these places."""
    state = State([CAMERA], {i: np.array(p) for i, p in places.items()}, beam())
    try:
        check_trust(calibration(floor_mm=floor_mm), state, [seen(places)], beam())
    except Refusal as refusal:
        return refusal
    return None


@pytest.mark.parametrize(("share", "refused"), [(0.075, True), (0.30, False)])
def test_cards_must_span_the_light(share: float, refused: bool) -> None:
    """Cards over 7.5 % of the light are refused as lying in one place, over 30 % are not."""
    from calibrate.cards import card

    wide, high = np.ptp(card(0).outline_mm(), axis=0)
    across = math.sqrt(share * 1152.0 * 648.0)  # a square of this share of the light
    x, y = (across - wide) / 2, (across - high) / 2
    spots = {i: (sx * x, sy * y, 0.0) for i, (sx, sy) in enumerate([(-1, 1), (1, 1), (-1, -1), (1, -1)])}  # fmt: skip
    refusal = trust(spots)
    assert (refusal is not None) is refused
    if refusal is not None:
        assert refusal.code == "cards-together"
        assert refusal.data["share"] == pytest.approx(share, rel=0.01)


def test_cards_outside_the_light_span_no_more_than_it() -> None:
    """What of a card lies beside the light does not count."""
    far = {0: (-5000.0, 20.0, 0.0), 1: (-5200.0, 20.0, 0.0), 2: (-5000.0, -60.0, 0.0)}
    refusal = trust(far)
    assert refusal is not None and refusal.code == "cards-together"
    assert trust({0: (-2000, 2000, 0.0), 1: (2000, 2000, 0.0), 2: (-2000, -2000, 0.0), 3: (2000, -2000, 0.0)}) is None  # fmt: skip


@pytest.mark.parametrize(("error", "refused"), [(0.5, False), (2.0, True)])
def test_an_error_of_a_millimetre_is_too_much(error: float, refused: bool) -> None:
    """Half a millimetre somewhere in the light is let pass, two are refused with their number."""
    refusal = trust(PLACES, error)
    assert (refusal is not None) is refused
    if refusal is not None:
        assert (refusal.code, refusal.data["max_mm"]) == ("too-uncertain", pytest.approx(2.0))


# -- fits that are given -----------------------------------------------------------------------------------


@dataclass
class Fits:
    """How fits end: rms over sigma of the cards, with all, without each card, with the print freed.

    ``grown``: by what share the beam differs without a card; ``lift``: (level, heights, doubt in mm)
    with the heights freed.
    """

    whole: float = 1.0
    without: Mapping[int, float] = field(default_factory=dict)
    fresh: Mapping[int, float] = field(default_factory=dict)
    stretched: tuple[float, float] = (1.0, 0.0)
    grown: float = 0.001
    lift: tuple[float, Mapping[int, float], float] | None = None
    asked: list[Any] = field(default_factory=list)

    def end(self, photos: Any, state: State) -> tuple[State, float]:
        """Where a fit from this state ends."""
        if state.heights is not None:
            level, heights, _ = self.lift or (self.whole, dict.fromkeys(state.heights, 0.0), 1.0)
            self.asked.append((dict(state.heights), state.held))
            done = replace(state, heights=dict(heights) if self.lift else dict(state.heights))
            return replace(done, projector=beam(self.grown)), level
        if state.stretch is not None:
            return replace(state, stretch=self.stretched[1]), self.stretched[0]
        gone = set(PLACES) - {i for p in photos for i in p.cards}
        if not gone:
            return state, self.whole
        (i,) = gone
        begun_anew = state.poses.get("fresh")  # type: ignore[call-overload]  # marked by `staged` below
        assert begun_anew is not None or i not in state.poses
        levels = self.fresh if begun_anew is not None and i in self.fresh else self.without
        return replace(state, projector=beam(self.grown)), levels.get(i, self.whole)


@dataclass
class Joint:
    """In place of `Bundle`: the photos, and where heights stand in the covariance."""

    photos: Any
    state: State
    unit: float
    heights_at: int = 0
    eyes_at: int = 4


def given(monkeypatch: pytest.MonkeyPatch, fits: Fits, photos: list[PhotoView] | None = None, bars: bool = False) -> Verdict:  # fmt: skip
    """The verdict on these fits."""
    photos = photos or [seen()]
    start = State([CAMERA] * len(photos), {i: np.array(p) for i, p in PLACES.items()}, beam())

    def minimise(joint: Joint, state: State, stage: str, **how: Any) -> Fit:
        done, level = fits.end(joint.photos, state)
        parts = [
            np.concatenate(
                [np.full(2 * 25 * len(p.cards), level), np.full(2 * len(p.pattern_px), 99.0)]
            )
            for p in joint.photos
        ]
        doubt = fits.lift[2] if fits.lift else 1.0
        return Fit(done, np.concatenate(parts), np.diag(np.full(9, doubt**2)), 0.0)

    def staged(these: Any, size: tuple[int, int]) -> State:
        assert size == SIZE
        return replace(start, poses={**start.poses, "fresh": np.zeros(3)})

    monkeypatch.setattr(verdict, "Bundle", Joint)
    monkeypatch.setattr(verdict, "minimise", minimise)
    monkeypatch.setattr(verdict, "staged", staged)
    monkeypatch.setattr(verdict, "eye_of", lambda camera: np.array([0.0, 0.0, 1000.0]))
    return judge(photos, start, bars)


def test_cards_that_agree_are_let_be(monkeypatch: pytest.MonkeyPatch) -> None:
    """All corners off by their noise: nothing named, nothing told, the fit as it was."""
    found = given(monkeypatch, Fits())
    assert (found.named, found.stretch, found.notes, dict(found.raised)) == ((), 0.0, (), {})
    assert not found.spread.any()


# of 200 coordinates 50 are one card's: without it 150 remain at level 1, so it alone adds
# 200 level² − 150, over its 50: 1.0 at level 1, 2.0 at √1.25, 4.0 at √1.75
@pytest.mark.parametrize("photos", [1, 2])
@pytest.mark.parametrize(("square", "named"), [(1.0, ()), (1.5, (2,)), (1.75, (2,))])
def test_a_card_that_adds_twice_its_share_is_named(monkeypatch: pytest.MonkeyPatch, square: float, named: tuple[int, ...], photos: int) -> None:  # fmt: skip
    """A card that adds as much as the others is let be; one that adds four times as much is left out."""
    level = math.sqrt(square)
    fits = Fits(level, {0: level, 1: level, 2: 1.0, 3: level})
    found = given(monkeypatch, fits, [seen()] * photos)
    assert found.named == named
    if named:
        assert found.state.projector is not None
        assert found.state.projector.mm_per_px() > beam().mm_per_px()  # the fit without it
        (note,) = found.notes
        assert note.startswith("Card 2 does not lie flat") and "0.66 mm" in note  # 661 mm × 0.001


def test_no_card_is_named_where_another_would_do_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    """Chi square over noise must tell the likeliest from the next by 25, of 150 coordinates."""
    for square, named in ((1.083, ()), (1.12, ()), (1.333, (2,))):
        fits = Fits(1.4, {0: 1.4, 1: math.sqrt(square), 2: 1.0, 3: 1.4})
        assert given(monkeypatch, fits).named == named
    wild = Fits(math.sqrt(3.0), {0: 1.8, 1: math.sqrt(2.16), 2: math.sqrt(2.0), 3: 1.8})
    assert given(monkeypatch, wild).named == ()


def test_a_card_like_the_others_is_not_named_however_they_do(monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    """Leaving one out changes nothing, leaving the others out makes it worse: none is to blame."""
    assert given(monkeypatch, Fits(1.0, {0: 1.5, 1: 1.5, 2: 1.0, 3: 1.5})).named == ()
    assert given(monkeypatch, Fits(2.0, {0: 3.0, 1: 3.0, 2: 2.0, 3: 3.0})).named == ()


def test_the_only_card_of_a_photo_cannot_be_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without it a photo would show none."""
    fits = Fits(1.4, {0: 1.4, 1: 1.4, 2: 1.0, 3: 1.4})
    assert given(monkeypatch, fits, [seen(), seen({2: PLACES[2]})]).named == ()


def test_a_card_that_changes_nothing_is_not_worth_a_word(monkeypatch: pytest.MonkeyPatch) -> None:
    """0.06 mm of light by its absence is let be, 0.24 mm is told."""
    for shift, named in ((0.06, ()), (0.24, (2,))):
        fits = Fits(1.4, {0: 1.4, 1: 1.4, 2: 1.0, 3: 1.4}, grown=shift / 661.0)
        found = given(monkeypatch, fits)
        assert found.named == named and bool(found.notes) == bool(named)


def test_a_noisy_card_is_not_a_bent_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a card adds is set against the noise of its own corners, where that is larger."""
    rng = np.random.default_rng(0)
    photo = seen()
    wild = photo.cards[2]
    wild = replace(wild, corners_px=wild.corners_px + rng.normal(0, 0.12, (25, 2)))
    fits = Fits(1.4, {0: 1.4, 1: 1.4, 2: 1.0, 3: 1.4})
    assert given(monkeypatch, fits, [replace(photo, cards={**photo.cards, 2: wild})]).named == ()
    assert given(monkeypatch, fits, [photo]).named == (2,)


def test_three_cards_name_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of three cards none can be left out: two would carry nothing."""
    three = {i: PLACES[i] for i in (0, 1, 2)}
    photo = seen(three)
    start = State([CAMERA], {i: np.array(p) for i, p in three.items()}, beam())
    calls = []

    def minimise(joint: Joint, state: State, stage: str, **how: Any) -> Fit:
        calls.append(sorted(joint.photos[0].cards))
        return Fit(state, np.full(2 * 75 + 6, 1.0), np.zeros((9, 9)), 0.0)

    monkeypatch.setattr(verdict, "Bundle", Joint)
    monkeypatch.setattr(verdict, "minimise", minimise)
    monkeypatch.setattr(verdict, "eye_of", lambda camera: np.array([0.0, 0.0, 1000.0]))
    assert judge([photo], start, False).named == ()
    assert all(c == [0, 1, 2] for c in calls)


def test_a_bad_start_is_tried_once_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a bad card had drawn the fit astray, the fit from the start counts if it is better."""
    level = 1.4
    stuck = dict.fromkeys(PLACES, level)
    assert given(monkeypatch, Fits(level, stuck)).named == ()
    assert given(monkeypatch, Fits(level, stuck, fresh={2: 1.0})).named == (2,)
    assert given(monkeypatch, Fits(level, {**stuck, 2: 1.0}, fresh={2: 1.39})).named == (2,)


@pytest.mark.parametrize(("drop", "told"), [(15.0, False), (60.0, True)])
def test_a_stretched_print_is_told_from_noise(monkeypatch: pytest.MonkeyPatch, drop: float, told: bool) -> None:  # fmt: skip
    """Freeing it must lower chi square by 30: by 15 it is let be, by 60 put right and told."""
    fits = Fits(math.sqrt(1.0 + drop / 200), stretched=(1.0, 0.004))
    found = given(monkeypatch, fits)
    assert found.stretch == (0.004 if told else 0.0)
    assert ("0.40 % wider" in " ".join(found.notes)) is told
    noisy = Fits(2.0 * fits.whole, stretched=(2.0, 0.004))  # all twice as noisy: the same
    assert given(monkeypatch, noisy).stretch == found.stretch
    assert found.state.stretch is None


@pytest.mark.parametrize(
    ("stretch", "bars", "put_right", "told"),
    [
        (1e-4, False, False, False), (2.5e-4, False, True, False), (1e-3, False, True, True),
        (-1e-3, False, True, True), (1e-3, True, True, False), (4e-3, True, True, True), (2.5e-3, True, True, True),
    ],
)  # fmt: skip
def test_how_much_stretch_is_told(monkeypatch: pytest.MonkeyPatch, stretch: float, bars: bool, put_right: bool, told: bool) -> None:  # fmt: skip
    """Half of each limit and twice: 0.05 % without the bars, 0.2 % with them, under 0.02 % nothing."""
    found = given(monkeypatch, Fits(1.3, stretched=(1.0, stretch)), bars=bars)
    assert found.stretch == (stretch if put_right else 0.0)
    assert bool(found.notes) is told
    if told:
        assert ("taller" if stretch < 0 else "wider") in found.notes[0]
        assert ("--bars" in found.notes[0]) is not bars


def test_bars_that_contradict_the_cards_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half of 0.5 % is told, twice of it refused; without bars read it is only told."""
    with pytest.raises(Refusal) as caught:
        given(monkeypatch, Fits(1.3, stretched=(1.0, -0.01)), bars=True)
    assert (caught.value.code, caught.value.data) == ("bars-contradicted", {"stretch": -0.01})
    assert given(monkeypatch, Fits(1.3, stretched=(1.0, -0.01)), bars=False).stretch == -0.01


def test_a_print_is_blamed_only_where_it_explains_as_much_as_a_card(monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    """Freed to 1.2 of the best card's level it may be the print; to 1.3 it is the card."""
    without = {0: 1.5, 1: 1.5, 2: 1.0, 3: 1.5}
    assert given(monkeypatch, Fits(1.5, without, stretched=(1.2, 0.004))).stretch == 0.004
    found = given(monkeypatch, Fits(1.5, without, stretched=(1.3, 0.004)))
    assert (found.stretch, found.named) == (0.0, (2,))
    # much better than with all is enough, however well a card does
    found = given(monkeypatch, Fits(2.0, {**without, 2: 1.0}, stretched=(1.4, 0.004)))
    assert found.stretch == 0.004


@pytest.mark.parametrize(("level", "told"), [(1.2, False), (3.4, True)])
def test_cards_that_contradict_each_other_are_told(monkeypatch: pytest.MonkeyPatch, level: float, told: bool) -> None:  # fmt: skip
    """None alone to blame: a level somewhat over 1 is let be, twice 1.7 is told with its doubt."""
    found = given(monkeypatch, Fits(level, dict.fromkeys(PLACES, level), grown=0.0005))
    assert found.named == ()
    assert bool(found.notes) is told and bool(found.spread.any()) is told
    if told:
        assert "contradict each other by up to 0.33 mm" in found.notes[0]


@pytest.mark.parametrize(
    ("level", "off", "grown", "refused"),
    [(4.0, 1.0, 0.0005, False), (16.0, 1.0, 0.0005, True), (16.0, 0.06, 0.0005, False),
     (3.4, 1.0, 1.0 / 661, False), (3.4, 1.0, 4.0 / 661, True)],
)  # fmt: skip
def test_cards_that_contradict_each_other_too_much(monkeypatch: pytest.MonkeyPatch, level: float, off: float, grown: float, refused: bool) -> None:  # fmt: skip
    """Refused at sixteen times the noise, where a card is off within itself, or at 4 mm between fits."""
    photo = seen()
    view = photo.cards[3]
    shifted = view.corners_px + 4.0 * off * np.array([1.0, 0.0])  # 4 px a mm
    photos = [replace(photo, cards={**photo.cards, 3: replace(view, corners_px=shifted)})]
    fits = Fits(level, dict.fromkeys(PLACES, level), grown=grown)
    if not refused:
        assert "card 3 fits worst" in given(monkeypatch, fits, photos).notes[0]
        return
    with pytest.raises(Refusal) as caught:
        given(monkeypatch, fits, photos)
    assert caught.value.code == "not-flat"
    assert caught.value.data["card_3_mm"] == pytest.approx(off)
    assert caught.value.data["card_0_mm"] == pytest.approx(0.0, abs=1e-6)
    assert f"card 3 is out by {off:.2f} mm" in str(caught.value)


def test_the_doubt_of_contradicting_cards_is_the_jackknifes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Four answers that each differ by d from the whole spread 4 · (3/4) d² on their parameters."""
    found = given(monkeypatch, Fits(3.4, dict.fromkeys(PLACES, 3.4), grown=0.0005))
    d = beam(0.0005).vector() - beam().vector()
    i = int(np.argmax(np.abs(d)))
    assert found.spread[i, i] == pytest.approx(3 * d[i] ** 2, rel=1e-3)


# -- raised cards ------------------------------------------------------------------------------------------

HIGH = {0: 0.05, 1: 1.05, 2: 0.05, 3: 0.05}


@pytest.mark.parametrize(("drop", "told"), [(20.0, False), (80.0, True)])
def test_raised_cards_are_told_from_noise(monkeypatch: pytest.MonkeyPatch, drop: float, told: bool) -> None:  # fmt: skip
    """The heights must lower chi square by 40: by 20 they are let be, by 80 told and reckoned with."""
    fits = Fits(math.sqrt(1 + drop / 200), lift=(1.0, HIGH, 1.0))
    found = given(monkeypatch, fits)
    assert dict(found.raised) == ({1: pytest.approx(1.05)} if told else {})
    noisy = replace(fits, whole=1.6 * fits.whole, lift=(1.6, HIGH, 1.0))
    assert bool(given(monkeypatch, noisy).raised) is told
    if told:
        assert found.notes[0].startswith("Card 1 lies about 1.1 mm above the table")
        assert "up to 0.7 mm" in found.notes[0]
        assert found.state.projector is not None
        assert found.state.projector.mm_per_px() > beam().mm_per_px()


def test_a_card_lower_than_a_fifth_of_a_millimetre_lies_on_the_table(monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    """0.1 mm is not told, 0.4 mm is; of all cards alike it is said of all."""
    for high, told in (({0: 0.0, 1: 0.1, 2: 0.0, 3: 0.0}, {}), ({0: 0.0, 1: 0.4, 2: 0.4, 3: 0.0}, {1: 0.4, 2: 0.4})):  # fmt: skip
        assert dict(given(monkeypatch, Fits(1.5, lift=(1.0, high, 1.0))).raised) == told
    every = given(monkeypatch, Fits(1.5, lift=(1.0, dict.fromkeys(PLACES, 0.5), 1.0)))
    assert every.notes[0].startswith("All cards lie about 0.5 mm")


def test_nothing_else_may_explain_it_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    """A card or the print that explains as much goes before; and what is left must be noise."""
    card_2 = {0: 1.5, 1: 1.5, 2: 1.0, 3: 1.5}
    assert given(monkeypatch, Fits(1.5, card_2, lift=(0.95, HIGH, 1.0))).named == (2,)
    assert dict(given(monkeypatch, Fits(1.5, card_2, lift=(0.8, HIGH, 1.0))).raised) == {1: 1.05}
    print_ = Fits(1.5, stretched=(1.0, 0.004), lift=(0.95, HIGH, 1.0))
    assert given(monkeypatch, print_).stretch == 0.004
    assert given(monkeypatch, replace(print_, lift=(0.8, HIGH, 1.0))).stretch == 0.0
    # a card whose absence would change nothing explains nothing
    small = Fits(1.5, card_2, lift=(0.95, HIGH, 1.0), grown=0.06 / 661)
    assert dict(given(monkeypatch, small).raised) == {1: 1.05}
    for left, told in ((0.85, True), (3.4, False)):
        wild = Fits(9.0, dict.fromkeys(PLACES, 9.0), lift=(left, HIGH, 1.0), grown=0.0005)
        if told:
            assert dict(given(monkeypatch, wild).raised) == {1: 1.05}
        else:
            assert dict(given(monkeypatch, wild).raised) == {}


@pytest.mark.parametrize(
    ("photos", "doubt", "low"), [(1, 0.15, True), (2, 0.15, False), (2, 0.6, True)]
)
def test_where_the_photos_do_not_tell_the_table_the_lowest_card_does(monkeypatch: pytest.MonkeyPatch, photos: int, doubt: float, low: bool) -> None:  # fmt: skip
    """One photo, or several surer than 0.6 mm but not 0.15: the lowest cards are taken to lie on it."""
    high = {0: 0.5, 1: 1.5, 2: 0.5, 3: 0.7}
    fits = Fits(1.5, lift=(1.0, high, doubt))
    given(monkeypatch, fits, [seen()] * photos)
    start, held = fits.asked[-1]
    if low:
        assert start == pytest.approx({0: 0.0, 1: 1.0, 2: 0.0, 3: 0.2})
        assert held == {0: 0.1, 1: 3.0, 2: 0.1, 3: 0.1}
    else:
        assert (start, held) == (high, None)
    assert fits.asked[0] == (dict.fromkeys(PLACES, 0.0), None)

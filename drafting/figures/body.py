"""The body that the measuring figures are drawn on: front, back and side, and where landmarks lie.

Drawn by us, point by point, for a standing person of 1.68 m; mm, x right, y up from the floor,
x = 0 the middle (front, back) or the plumb line through the ear (side, facing right). It shows
where the tape goes and is no model of any one body.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drafting.figures.drawing import Points, smooth

CROWN, BROW, NECK_BACK, NECK_SIDE, NECK_PIT = 1680.0, 1592.0, 1432.0, 1415.0, 1380.0
SHOULDER, ARMPIT, UPPER_CHEST, BUST, UNDER_BUST = 1374.0, 1262.0, 1262.0, 1212.0, 1140.0
WAIST, TAILBONE, HIP, BACK_WIDTH = 1052.0, 905.0, 858.0, 1312.0

_HEAD = [
    (0, 1680), (44, 1669), (71, 1634), (78, 1586), (73, 1538), (60, 1496), (34, 1466), (0, 1456),
]  # fmt: skip
_TRUNK_TO_SHOULDER = [
    (52, 1487), (53, 1455), (63, 1417), (104, 1399), (150, 1386), (172, 1374),
]  # fmt: skip
_ARM_DOWN = [
    (172, 1374), (197, 1349), (211, 1296), (218, 1220), (228, 1130), (240, 1062), (254, 965),
    (268, 868), (276, 818), (290, 775), (297, 722), (286, 672), (272, 668), (264, 705),
    (252, 745), (247, 780), (246, 818), (228, 905), (206, 990), (196, 1062), (184, 1130),
    (168, 1205), (155, 1266),
]  # fmt: skip
_ARM_ON_HIP = [
    (172, 1374), (203, 1356), (236, 1304), (286, 1216), (338, 1124), (349, 1094), (330, 1072),
    (272, 1030), (222, 985), (196, 962), (160, 946), (138, 962), (142, 992), (172, 1016),
    (236, 1066), (284, 1108), (246, 1168), (206, 1222), (155, 1266),
]  # fmt: skip
_TRUNK_DOWN = [
    (155, 1266), (152, 1214), (138, 1142), (122, 1054), (133, 990), (157, 925), (172, 856),
    (172, 785), (160, 690), (140, 560), (118, 462), (114, 405), (118, 330), (98, 205), (76, 98),
    (82, 50), (90, 18), (62, 2), (34, 12), (36, 55), (40, 98), (28, 220), (20, 330), (27, 405),
    (24, 462), (12, 600), (4, 700), (0, 766),
]  # fmt: skip
_PROFILE = [
    (0, 1680), (48, 1668), (82, 1632), (92, 1592), (89, 1568), (99, 1548), (107, 1534),
    (95, 1524), (98, 1510), (93, 1499), (95, 1484), (86, 1464), (62, 1458), (38, 1449),
    (32, 1425), (44, 1380), (70, 1340), (98, 1280), (122, 1212), (112, 1168), (88, 1138),
    (78, 1052), (90, 985), (92, 930), (82, 862), (74, 780), (78, 700), (70, 570), (54, 470),
    (42, 425), (36, 320), (20, 130), (32, 72), (92, 38), (132, 16), (126, 0), (20, 0), (-50, 0),
    (-62, 26), (-46, 82), (-44, 125), (-66, 250), (-70, 345), (-46, 445), (-56, 490), (-76, 600),
    (-92, 715), (-112, 775), (-138, 830), (-142, 872), (-130, 925), (-104, 985), (-78, 1052),
    (-84, 1120), (-104, 1215), (-118, 1290), (-106, 1362), (-80, 1412), (-64, 1432), (-54, 1466),
    (-62, 1505), (-88, 1540), (-100, 1588), (-90, 1640), (-48, 1674),
]  # fmt: skip
_SIDE_ARM = [
    (-10, 1384), (-42, 1358), (-54, 1290), (-36, 1180), (-4, 1092), (28, 1062), (58, 1078),
    (100, 1180), (134, 1262), (152, 1300), (150, 1338), (130, 1346), (112, 1316), (92, 1272),
    (56, 1186), (42, 1152), (44, 1220), (46, 1300), (30, 1362), (-10, 1384),
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class BodyView:
    """One view: ``outlines`` (closed rings, filled) and ``details`` (open lines), model mm."""

    outlines: tuple[Points, ...]
    details: tuple[Points, ...]


def _mirrored(points: Points) -> Points:
    return np.asarray(points * np.array([-1.0, 1.0]))


def _half(left: list[tuple[int, int]] | None = None) -> Points:
    arm = smooth(left or _ARM_DOWN, per=6)
    return np.vstack([smooth(_TRUNK_TO_SHOULDER, per=6), arm[1:], smooth(_TRUNK_DOWN, per=6)[1:]])


def _frontal(bent: bool = False) -> tuple[Points, Points]:
    """Trunk with arms and legs, and the head."""
    right = _half(_ARM_ON_HIP if bent else None)
    left = _half()
    trunk = np.vstack([right, _mirrored(left)[::-1][1:]])
    head = smooth(_HEAD, per=6)
    return trunk, np.vstack([head, _mirrored(head)[::-1][1:-1]])


def front() -> BodyView:
    """Seen from the front, arms hanging."""
    trunk, head = _frontal()
    hair = smooth([(-78, 1580), (-66, 1622), (-24, 1650), (12, 1648), (52, 1630), (78, 1580)])
    bust = smooth([(20, 1176), (52, 1158), (92, 1160), (126, 1184)])
    collar = smooth([(14, 1381), (50, 1388), (104, 1392), (140, 1380)])
    navel = smooth([(-3, 1006), (0, 1000), (3, 1006)])
    details = [hair, navel]
    for line in (bust, collar):
        details += [line, _mirrored(line)]
    return BodyView((trunk, head), tuple(details))


def back(bent: bool = False) -> BodyView:
    """Seen from the back; ``bent``: the right fist on the hip."""
    trunk, head = _frontal(bent)
    nape = smooth([(-60, 1520), (-36, 1498), (0, 1492), (36, 1498), (60, 1520)])
    blade = smooth([(44, 1318), (58, 1272), (88, 1246), (112, 1270)])
    seat = smooth([(8, 800), (46, 776), (92, 782), (128, 806)])
    cleft = np.array([(0.0, 766.0), (0.0, 896.0)])
    knot = smooth([(0, 1640), (34, 1626), (42, 1590), (26, 1556), (0, 1548)])
    details = [nape, cleft, knot, _mirrored(knot)]
    for line in (blade, seat):
        details += [line, _mirrored(line)]
    return BodyView((trunk, head), tuple(details))


def side() -> BodyView:
    """Seen from the side, facing right, the forearm held up out of the way."""
    profile = smooth(_PROFILE, closed=True, per=6)
    arm = smooth(_SIDE_ARM, per=6)
    ear = smooth([(2, 1560), (-12, 1574), (-16, 1556), (-8, 1534), (2, 1528)])
    eye = smooth([(78, 1574), (70, 1577), (64, 1573)])
    hair = smooth([(86, 1622), (52, 1618), (22, 1592), (6, 1588)])
    nape = smooth([(-14, 1530), (-28, 1506), (-60, 1504)])
    return BodyView((profile, arm[:-1]), (ear, eye, hair, nape))

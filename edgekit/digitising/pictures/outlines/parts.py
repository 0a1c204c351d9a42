"""Shank, heel and toe of an outline; the heel, which no outline shows, is asked for."""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.digitising.pictures.profiles import nearest, smoothed
from edgekit.digitising.pictures.targets.calibrating import Scale
from edgekit.errors import BadArgument, Cannot

__all__ = ["EdgeLength", "HeelAt", "Parts", "Side"]

STEP_MM = 0.01  # at which the outline's turning is looked at
SMOOTH_MM = 0.05  # over which it is smoothed: noise below, a toe's radius above
ARC_POINTS = 3.0  # over which it is smoothed before its length is taken
POINTED_MM = 0.12  # a toe that turns within less is a tip, and blurred away
TOE_MM = 1.0  # of outline within which a toe turns most
TURN_FULL = np.radians(115.0)  # of a toe taken as a whole, not one corner of it
TURN_LEAST = np.radians(70.0)  # that a toe turns by: less is a bend


class Side(enum.Enum):
    """An edge, seen from the face's side looking from heel to toe."""

    LEFT = "left"
    RIGHT = "right"


def check_side(side: object) -> None:
    """Refuse what is not a `Side`, such as its text: it would count as the other one."""
    checks.instance("side", side, Side, "Give ek.pictures.Side.LEFT or RIGHT.")


@dataclass(frozen=True, kw_only=True)
class EdgeLength:
    """The heel from the length of one edge, measured along it from the toe's apex.

    Parameters
    ----------
    side : Side
        The edge whose length is known.
    length_mm, sd_mm : float
        Its length, and the standard deviation of that [mm].
    """

    side: Side
    length_mm: float
    sd_mm: float = 0.1

    def __post_init__(self) -> None:
        check_side(self.side)
        checks.keep_numbers(
            self,
            length_mm=checks.positive("length_mm", self.length_mm),
            sd_mm=checks.at_least("sd_mm", self.sd_mm, 0.0),
        )


@dataclass(frozen=True, kw_only=True)
class HeelAt:
    """The heel from a click on or beside the edge.

    Parameters
    ----------
    side : Side
        The edge that was clicked.
    x_px, y_px : float
        Column and row, in pixels of the picture.
    sd_mm : float
        Standard deviation of the place along the edge [mm].
    """

    side: Side
    x_px: float
    y_px: float
    sd_mm: float = 0.1

    def __post_init__(self) -> None:
        check_side(self.side)
        checks.keep_numbers(
            self,
            x_px=checks.finite("x_px", self.x_px),
            y_px=checks.finite("y_px", self.y_px),
            sd_mm=checks.at_least("sd_mm", self.sd_mm, 0.0),
        )


@dataclass(frozen=True, kw_only=True)
class Parts:
    """Where the parts of an outline begin and end, as indices into it.

    Attributes
    ----------
    count : int
        Points of the outline.
    toe : int
        The point next to the apex, where half of the toe's turn is done.
    toe_mm : (float, float)
        Place of the apex [mm].
    cap : (int, int)
        First and last point of the toe's turn.
    pointed : bool
        Whether the tip turns within the blur, so that its end is lost.
    heel : (int, int) or None
        Where the left and the right edge begin, if it was given.
    past_heel_mm : (float, float)
        How far along left and right edge those two points lie past the heel itself, which an
        `EdgeLength` puts between two points [mm].
    heel_sd_mm : float
        Standard deviation of that place [mm].
    """

    count: int
    toe: int
    toe_mm: tuple[float, float]
    cap: tuple[int, int]
    pointed: bool
    heel: tuple[int, int] | None
    past_heel_mm: tuple[float, float]
    heel_sd_mm: float

    def side(self, side: Side, *, toe: bool = True) -> NDArray[np.intp]:
        """Points of one edge, heel to toe, with its half of the toe or without."""
        check_side(side)
        left, right = self._heels()
        ends = (self.toe, self.toe) if toe else self.cap
        if side is Side.LEFT:
            return np.arange(left, ends[0] + 1)
        return np.arange(right, ends[1] - 1, -1)

    @property
    def shank(self) -> NDArray[np.intp]:
        """Points behind the heel on both sides."""
        left, right = self._heels()
        return np.concatenate([np.arange(left), np.arange(right + 1, self.count)])

    def _heels(self) -> tuple[int, int]:
        if self.heel is None:
            raise Cannot(
                "a silhouette has no mark at the heel",
                None,
                "Give outline(..., heel=EdgeLength(...)) or HeelAt(...).",
            )
        return self.heel


def arc_of(points: FloatArray) -> FloatArray:
    """Arc length (N,) along points (N, 2) a pixel apart, smoothed first: noise has length too.

    Smoothing over σ shortens a curve by the share σ²κ²/2 (derived), 1 % at a toe: put back.
    """
    line = smoothed(points, ARC_POINTS)
    second = np.diff(line, 2, axis=0)
    length = np.linalg.norm(np.diff(line, axis=0), axis=1)
    bend = np.linalg.norm(second, axis=1) / (length[1:] * length[:-1])
    lost = (ARC_POINTS * length) ** 2 * np.pad(bend, (0, 1), mode="edge") ** 2 / 2
    return np.concatenate([[0.0], np.cumsum(length * (1 + lost))])


def tell_apart(
    points: FloatArray, heel: EdgeLength | HeelAt | None, scale: Scale, blur_mm: float
) -> tuple[Parts, tuple[str, ...]]:
    """Toe and heel of an outline (N, 2) [mm] from the shank along the left side and back."""
    arc = arc_of(points)
    toe_arc, cap_arc, turned = _toe(points, arc)
    toe = int(np.argmin(np.abs(arc - toe_arc)))
    tip = [np.interp(toe_arc, arc, points[:, k]) for k in (0, 1)]
    cap = tuple(int(np.argmin(np.abs(arc - a))) for a in cap_arc)
    pointed = bool(
        cap_arc[1] - cap_arc[0] < max(POINTED_MM, 6 * blur_mm) and turned > TURN_LEAST / 2
    )
    notes: tuple[str, ...] = ()
    if pointed:
        notes = (
            "The tip is sharper than the blur: its end is lost, and no length to it is given.",
        )
    heels, sd, past = None, 0.0, (0.0, 0.0)
    if heel is None:
        notes += ("No heel was given: shank and edges are not told apart.",)
    else:
        checks.instance("heel", heel, (EdgeLength, HeelAt), "Give an EdgeLength or HeelAt.")
        heels, sd = _heel(points, arc, toe_arc, heel, scale), heel.sd_mm
        past = _past(arc, toe_arc, heel, heels)
    return Parts(
        count=len(points),
        toe=toe,
        toe_mm=(float(tip[0]), float(tip[1])),
        cap=(cap[0], cap[1]),
        pointed=pointed,
        heel=heels,
        past_heel_mm=past,
        heel_sd_mm=sd,
    ), notes


def _toe(points: FloatArray, arc: FloatArray) -> tuple[float, tuple[float, float], float]:
    """Arc [mm] of the apex, where half of the turn is done, of the turn's two ends, and the turn.

    A ground toe is a polygon, of which only one corner may stand out: it is then smoothed more.
    """
    for smooth_mm in (SMOOTH_MM, 2 * SMOOTH_MM, 4 * SMOOTH_MM):
        apex, ends, turn = _turn_at(points, arc, smooth_mm)
        if turn > TURN_FULL:
            break
    if not turn > TURN_LEAST / 2:
        raise Cannot(
            "no toe is to be seen: the outline turns nowhere",
            f"{np.degrees(turn):.0f}°",
            "Show the whole blade with its toe inside the frame.",
        )
    return apex, ends, turn


def _turn_at(
    points: FloatArray, arc: FloatArray, smooth_mm: float
) -> tuple[float, tuple[float, float], float]:
    at = np.arange(0.0, arc[-1], STEP_MM)
    line = np.stack([np.interp(at, arc, points[:, k]) for k in (0, 1)], axis=1)
    line = ndimage.gaussian_filter1d(line, smooth_mm / STEP_MM, axis=0, mode="nearest")
    edge = int(4 * smooth_mm / STEP_MM)
    heading = np.unwrap(np.arctan2(*np.gradient(line, axis=0).T[::-1]))
    bend = -np.gradient(heading, STEP_MM)  # the outline runs clockwise round the steel
    bend[:edge] = bend[len(bend) - edge :] = 0.0
    top = _sharpest(bend)
    start, stop = _ends(bend, top, edge)
    apex, turn = _halved(bend[start:stop], at[start : stop + 1])
    return apex, (float(at[start]), float(at[stop])), turn


def _halved(bend: FloatArray, at: FloatArray) -> tuple[float, float]:
    """Where half of a turn is done [mm], from its bends (N,) at places (N + 1,), and the turn."""
    turn = np.concatenate([[0.0], np.cumsum(np.maximum(bend, 0.0)) * STEP_MM])
    return float(np.interp(turn[-1] / 2, turn, at - STEP_MM / 2)), float(turn[-1])


def _sharpest(bend: FloatArray) -> int:
    """Where it bends most within the stretch that turns most.

    A speck on the edge bends sharply too, but out and back again.
    """
    around = int(TOE_MM / STEP_MM)
    most = int(np.argmax(ndimage.uniform_filter1d(bend, around, mode="constant")))
    first = max(most - around // 2, 0)
    return first + int(np.argmax(bend[first : most + around // 2]))


def _ends(bend: FloatArray, top: int, edge: int) -> tuple[int, int]:
    """First and last place of the toe about `top`, whose bend is smoothed over `edge` places."""
    start, stop = _cap(bend, top, bend[top] / 2, bend[top] / 2)
    if stop - start > 2 * edge:  # a round toe: half-way between its bend and that of each side
        round_ = float(np.median(bend[start:stop]))
        far = [
            bend[max(start - 6 * edge, 0) : max(start - edge, 1)],
            bend[stop + edge : stop + 6 * edge],
        ]
        sides = [float(np.median(part)) if len(part) else 0.0 for part in far]
        start, stop = _cap(bend, top, *((round_ + side) / 2 for side in sides))
    return start, stop


def _cap(bend: FloatArray, top: int, left: float, right: float) -> tuple[int, int]:
    """First and last place about `top` where the outline bends by more than each side's level."""
    before, after = bend[: top + 1] <= left, bend[top:] <= right
    start = top - int(np.argmax(before[::-1])) + 1 if before.any() else 0
    stop = top + int(np.argmax(after)) if after.any() else len(bend) - 1
    return start, stop


def _heel(
    points: FloatArray, arc: FloatArray, toe_arc: float, heel: EdgeLength | HeelAt, scale: Scale
) -> tuple[int, int]:
    """The heel on the side that was named, and straight across from it on the other."""
    toe = int(np.searchsorted(arc, toe_arc))
    left = heel.side is Side.LEFT
    own = np.arange(toe) if left else np.arange(toe, len(points))
    if isinstance(heel, EdgeLength):
        wanted = toe_arc - heel.length_mm if left else toe_arc + heel.length_mm
        if not arc[3] < wanted < arc[-4]:
            raise Cannot(
                "the frame ends before the heel",
                f"{heel.length_mm:g} mm",
                "Show the whole edge and the shank behind it.",
            )
        here = int(np.argmin(np.abs(arc - wanted)))
    else:
        click = scale.to_mm(np.array([heel.x_px, heel.y_px]))
        distance = np.linalg.norm(points[own] - click, axis=1)
        if not distance.min() < 0.3:
            raise BadArgument(
                "the click is not beside that edge",
                (heel.x_px, heel.y_px),
                "Click the heel within 0.3 mm of the edge, in pixels.",
                argument="heel",
            )
        here = int(own[np.argmin(distance)])
    other = np.arange(toe, len(points)) if left else np.arange(toe)
    there = int(other[nearest(cKDTree(points[other]), points[here])[1]])
    return (here, there) if left else (there, here)


def _past(
    arc: FloatArray, toe_arc: float, heel: EdgeLength | HeelAt, heels: tuple[int, int]
) -> tuple[float, float]:
    """How far the heels' points lie past the heel [mm], on the side whose length was given."""
    if isinstance(heel, HeelAt):
        return 0.0, 0.0
    if heel.side is Side.LEFT:
        return float(arc[heels[0]] - toe_arc + heel.length_mm), 0.0
    return 0.0, float(toe_arc + heel.length_mm - arc[heels[1]])

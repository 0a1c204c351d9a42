"""A whole edge through its life, as sections side by side: a judge of use and of sessions.

Nothing here comes from the package. The edge is straight and every section a polygon of
`tests.section_simulation`. Working strokes are laid down one by one; each takes the steel of
Archard's law off the sections that it touches. A session's strokes go over all of the edge and take
the same area off every section, until the edge as a whole passes. Lengths in millimetres, angles in
radians.
"""

from dataclasses import dataclass, field
from functools import cached_property, partial

import numpy as np
from scipy.optimize import brentq

from tests.rolling_plane import smooth_error
from tests.section_simulation import (
    INWARD_MM,
    Section,
    corner_area,
    ground,
    rounded,
)

WORKING_STROKES = 4000  # laid down to learn where the steel goes
# Archard 1953, J Appl Phys 24:981, V = k F s / H, of the strokes that the evidence table assumes:
# k 1e-4, 5 N, 4 mm, 6000 N/mm².
ARCHARD_MM3 = 1e-4 * 5.0 * 4.0 / 6000.0


# --- use ---------------------------------------------------------------------------------------


def on_toe_third(share):
    """Places from heel 0 to toe 1 of working strokes, a share of them on the toe third."""
    toe = round(share * WORKING_STROKES)
    low, high = (np.arange(n) + 0.5 for n in (WORKING_STROKES - toe, toe))
    return np.append(2 / 3 * low / max(len(low), 1), 1 - high / max(toe, 1) / 3)


def evenly():
    """Places of working strokes that fall the same everywhere."""
    return (np.arange(WORKING_STROKES) + 0.5) / WORKING_STROKES


def laid_down(places, bounds, contact):
    """Share (N,) of all strokes' steel that each section between bounds (N + 1,) loses.

    A stroke touches `contact` about its centre, or what there is of it, and wears that evenly.
    """
    shares, length = np.zeros(len(bounds) - 1), bounds[-1]
    for centre in places * length:
        low, high = max(centre - contact / 2, 0), min(centre + contact / 2, length)
        shares += np.diff(np.clip(bounds, low, high)) / (high - low)
    return shares / len(places)


def used(section, area, fresh_radius):
    """The section after use has taken an area off its apex.

    What the last session left of the old apex is still missing, at least a fresh edge's corner.
    """
    corner = corner_area(section.angle)
    missing = max(section.missing, corner * fresh_radius**2)
    return rounded(section, np.sqrt((missing + area) / corner))


# --- the edge ----------------------------------------------------------------------------------


def round_backed(angle, width, thickness, *, chords=40):
    """A curette's new section: the flank runs into a round back that ends `thickness` down, in the
    middle of the width."""
    middle = width / 2

    def gap(radius):  # between the flank and a circle that touches the deepest line
        return middle * np.sin(angle) - (thickness - radius) * np.cos(angle) - radius

    radius = brentq(gap, 0.0, thickness)
    turns = np.linspace(angle, 0.0, chords + 1)  # of the outward normal, from straight down
    back = np.column_stack(
        [middle - radius * np.sin(turns), thickness - radius * (1 - np.cos(turns))]
    )
    corners = np.vstack([[[0, 0], [INWARD_MM, 0], [INWARD_MM, thickness]], back[::-1]])
    return Section(sharp=corners, steel=corners, edge=0.0, angle=angle)


def bounds_of(length, *, heel=2, middle=4, toe=10):
    """Bounds between sections, so many to a third. Those of the outer thirds are narrow about the
    middle of the third, where an edge is dullest whose strokes fall mostly or as often there."""
    heel, toe = (np.linspace(-1, 1, n + 1) for n in (heel, toe))
    heel, toe = (np.sign(out) * np.abs(out) ** 1.6 / 2 for out in (heel, toe))
    even = np.arange(1, middle) / middle
    return length / 3 * np.concatenate([0.5 + heel, 1 + even, 2.5 + toe])


@dataclass(frozen=True, kw_only=True)
class Edge:
    """What all sessions of a life share.

    The blade is a curette's, thicker at the heel by `taper` than at mid-length and thinner at the
    toe. `places` are those of working strokes, `bounds` those between sections. A stroke on the
    stone errs by a tilt of the person, one of its own, and one that changes smoothly along it.
    """

    angle: float = np.radians(75.0)
    width: float = 0.86
    thickness: float = 0.71
    taper: float = 0.0
    bounds: np.ndarray = field(default_factory=lambda: bounds_of(5.65))
    places: np.ndarray = field(default_factory=lambda: on_toe_third(0.75))
    contact: float = 2.0
    working_strokes: float = 45.0
    working_mm3: float = ARCHARD_MM3
    fresh_radius: float = 1.19e-3
    stroke_mm3: float = 1.2e-3
    person: float = 0.0
    stroke_sd: float = 0.0
    within_sd: float = 0.0
    correlation: float = 1.0
    resolution: float = 1e-3
    pass_share: float = 0.98
    strokes_between_looks: int = 2

    @property
    def length(self):
        """Of the edge."""
        return self.bounds[-1]

    @property
    def middles(self):
        """Middle (N,) of each section along the edge."""
        return (self.bounds[1:] + self.bounds[:-1]) / 2

    @property
    def thicknesses(self):
        """Of each section (N,)."""
        return self.thickness * (1 + self.taper * (1 - 2 * self.middles / self.length))

    @property
    def new(self):
        """The sections (N,) of a new blade."""
        make = partial(round_backed, self.angle, self.width)
        return [make(thickness) for thickness in self.thicknesses]

    @property
    def stroke_areas(self):
        """Area (N,) that a stroke on the stone takes off each section: by their thickness, so that
        a stroke without error keeps the outline."""
        return self.stroke_mm3 * self.thicknesses / (self.thicknesses @ np.diff(self.bounds))

    @cached_property
    def worn_areas(self):
        """Area (N,) that one use takes off each section."""
        shares = laid_down(self.places, self.bounds, self.contact)
        return self.working_strokes * self.working_mm3 * shares / np.diff(self.bounds)

    def mean(self, values):
        """Mean along the edge of values (N,) of the sections."""
        return np.average(values, weights=np.diff(self.bounds))

    def thirds(self, values):
        """Means (3,) along its thirds."""
        third = np.digitize(self.middles, self.length * np.array([1, 2]) / 3)
        widths = np.diff(self.bounds) * (third == np.arange(3)[:, None])
        return widths @ values / widths.sum(axis=1)


def tilts(edge, rng):
    """Tilt (N,) of stroke after stroke."""
    while True:
        common = edge.person + edge.stroke_sd * rng.normal()
        along = smooth_error(rng, sd=edge.within_sd, correlation=edge.correlation)
        yield common + along(edge.middles)


def dull_share(edge, sections):
    """Share of the edge whose land is wider than a fresh edge's by more than can be seen."""
    lands = np.array([one.land - 2 * edge.fresh_radius * np.cos(one.angle / 2) for one in sections])
    fine = (np.arange(2000) + 0.5) / 2000 * edge.length
    return np.mean(np.interp(fine, edge.middles, lands - edge.resolution) > 0)


def session(edge, sections, errors, *, strokes_at_most=400):
    """Strokes over the whole edge until it passes: the sections, and how many there were."""
    for strokes in range(strokes_at_most):
        looks = strokes % edge.strokes_between_looks == 0
        if looks and dull_share(edge, sections) <= 1 - edge.pass_share + 1e-9:
            return sections, strokes
        angles = edge.angle + next(errors)
        strikes = zip(sections, angles, edge.stroke_areas, strict=True)
        sections = [ground(*each) for each in strikes]
    raise RuntimeError("the session never ends")


@dataclass(frozen=True, kw_only=True)
class Life:
    """Recession (K, N) and radius (K, N) before it of every session, and its strokes (K,)."""

    recession: np.ndarray
    radius: np.ndarray
    strokes: np.ndarray

    @property
    def sessions(self):
        """How many there were."""
        return len(self.strokes)

    def summary(self, edge):
        """Means over the sessions: width lost and radius at heel, middle and toe [µm], strokes; and
        how many sessions."""
        lost, radius = (
            1000 * edge.thirds(part.mean(axis=0)) for part in (self.recession, self.radius)
        )
        return np.array([*lost, *radius, self.strokes.mean(), self.sessions])


def life(edge, errors, *, lost=0.172):
    """Use and sharpen until `lost` of the width is gone, on average along the edge."""
    sections, before = edge.new, np.zeros(len(edge.middles))
    recession, radius, strokes = [], [], []
    while edge.mean(before) < lost:
        worn = zip(sections, edge.worn_areas, strict=True)
        dull = [used(one, area, edge.fresh_radius) for one, area in worn]
        sections, made = session(edge, dull, errors)
        after = np.array([one.edge for one in sections])
        recession.append(after - before)
        radius.append([one.radius for one in dull])
        strokes.append(made)
        before = after
    return Life(recession=np.array(recession), radius=np.array(radius), strokes=np.array(strokes))

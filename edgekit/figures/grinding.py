"""Pictures of what grinding does: facets, recession along the edges, the flank in section."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.facets import Facets
from edgekit.errors import BadArgument
from edgekit.figures import style
from edgekit.figures.contact import ALONG
from edgekit.figures.words import describe
from edgekit.geometry import vectors as vec
from edgekit.geometry.edge import Edge
from edgekit.grinding.session import EdgeSession, Session
from edgekit.units import UM_PER_MM

__all__ = ["facets", "profile", "recession"]

TRUE: style.Look = {"color": style.TRUE_EDGE, "lw": 1.8}
GROUND: style.Look = {"color": style.GROUND_EDGE, "lw": 1.4, "ls": "--"}
RIDGE: style.Look = {"marker": "^", "mec": style.BLACK, "mew": 0.6}
PLACEMENT: style.Look = {"color": style.BLACK, "ls": "", "marker": "o", "ms": 4}
BARE: style.Look = {"color": style.BLACK, "lw": 4.0, "alpha": 0.55, "solid_capstyle": "butt"}
MAX_SHARE = 0.15  # of the edge's length that a drawn deviation may be before it is left out


def facets(facets: Facets, ax: Axes | None = None, *, exaggeration: float = 20.0) -> Axes:
    """The edge in plan with the polygon that its facets make, its deviation exaggerated.

    Parameters
    ----------
    facets : Facets
        As made by ``ek.facets(edge, ...)``.
    ax : Axes, optional
    exaggeration : float
        Factor on the deviation of the polygon from the true edge; stated in the picture.

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `facets` is not a `Facets`, or `ax` not Axes.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> ek.figures.facets(ek.facets(edge, 8)).get_xlabel()
    'along the blade [mm]'
    """
    checks.instance("facets", facets, Facets, "Take the result of ek.facets.")
    checks.positive("exaggeration", exaggeration, "Give a factor, such as 20.")
    edge = facets.edge
    max_um = MAX_SHARE * edge.length_mm / exaggeration * UM_PER_MM
    arc, off = _polygon(facets)
    drawn = np.where(np.abs(off) <= max_um, off, np.nan)
    beyond = bool(np.isnan(drawn).any())
    bare = facets.depth_um > 0 and facets.untouched_mm > 0
    finding = _facet_words(facets, float(np.nanmin(off)))
    with style.canvas(ax, (6.4, 3.6)) as axes:
        handles = axes.plot(*_plan(edge, arc).T, label="true edge", **TRUE)
        axes.plot(*_plan(edge, arc, exaggeration * drawn / UM_PER_MM).T, **GROUND)
        label = f"ground edge and ridges, deviation × {exaggeration:g}"
        handles.append(Line2D([], [], label=label, **GROUND, **RIDGE))
        placed = _plan(edge, facets.placements_mm)
        handles += axes.plot(*placed.T, label="stone placement", **PLACEMENT)
        _ridges(axes, facets, exaggeration, max_um)
        if bare:
            there = (facets.active < 0)[:, None]
            old = np.where(there, _plan(edge, facets.arc_mm), np.nan)
            handles += axes.plot(*old.T, label="not ground", **BARE)
        # In the empty space above the heel: an edge is convex and falls off there.
        style.legend(axes, "upper left", handles=handles)
        if beyond:
            _mark_beyond(axes, edge, arc, off, max_um)
        axes.margins(0.06)
        axes.set_aspect("equal", adjustable="datalim")
        style.labels(axes, "along the blade [mm]", "across the blade [mm]")
        describe(
            axes,
            title=finding,
            kind="Plan of an edge",
            shown="true edge (solid blue), ground polygon (dashed vermilion), placements (black "
            "dots), ridges (triangles)" + (", not ground (thick grey)" if bare else ""),
            finding=f"{finding}. The deviation is drawn {exaggeration:g} times too large.",
            caption=f"Where it is more than {max_um:.0f} µm the line is left out."
            if beyond
            else "",
        )
    return axes


def _polygon(facets: Facets) -> tuple[FloatArray, FloatArray]:
    """Arc lengths and deviation [µm] of the ground edge, outward, from the one aimed at.

    The ridges' own points are put in, so that tips are sharp. A flat stone cuts a hollow stretch
    deeper than it should: there the deviation is negative.
    """
    ridges = facets.ridges
    off = facets.height_above_facet_um - np.maximum(facets.recession_um - facets.depth_um, 0.0)
    # Neighbours of a ridge that over-cuts know better than its height, which stops at zero.
    keep = ridges.height_above_facet_um > 0
    arc = np.concatenate([facets.arc_mm, ridges.arc_mm[keep]])
    off = np.concatenate([off, ridges.height_above_facet_um[keep]])
    order = np.argsort(arc, kind="stable")
    return arc[order], off[order]


def _facet_words(facets: Facets, deepest_um: float) -> str:
    count, high = len(facets.placements_mm), facets.ridge_um
    if not np.isfinite(high):
        return f"{count} placements: part of the edge is faced by none"
    words = f"{count} placements leave ridges up to {high:.1f} µm"
    return words if deepest_um > -0.05 else f"{words} and cut up to {-deepest_um:.1f} µm too deep"


def _ridges(ax: Axes, facets: Facets, exaggeration: float, max_um: float) -> None:
    """Mark the ridges and name the highest; of several alike, the one nearest to mid-edge."""
    high = facets.ridges.height_above_facet_um
    shown = (high > 0) & (high <= max_um)
    if not shown.any():
        return
    arc, high = facets.ridges.arc_mm[shown], high[shown]
    tips = _plan(facets.edge, arc, exaggeration * high / UM_PER_MM)
    ax.plot(*tips.T, color=style.GROUND_EDGE, ls="", ms=6, **RIDGE)
    alike = high >= 0.95 * high.max()
    k = int(np.argmin(np.where(alike, np.abs(arc - facets.edge.length_mm / 2), np.inf)))
    look: style.Look = {"ha": "center", "color": style.GROUND_EDGE}
    style.note(ax, f"{high[k]:.1f} µm", tuple(tips[k]), (0, 12), **look)


def _axes_of_plan(edge: Edge) -> FloatArray:
    """Directions (2, 3) of the picture: along the blade, and across it with the steel below."""
    middle = edge.frame(np.array(edge.length_mm / 2))
    face = middle.face.value
    along = vec.unit(edge.roll_reference - (edge.roll_reference @ face) * face)
    across = vec.cross(face, along)
    across = across * (-1.0 if across @ middle.inward.value > 0 else 1.0)
    return np.stack([along, across])


def _plan(edge: Edge, arc: FloatArray, outward_mm: FloatArray | float = 0.0) -> FloatArray:
    """Points (S, 2) of the edge in plan [mm], moved out of the steel."""
    here = edge.frame(arc)
    points = here.position - here.inward.value * np.reshape(outward_mm, (-1, 1))
    return np.asarray(points @ _axes_of_plan(edge).T)


def _mark_beyond(ax: Axes, edge: Edge, arc: FloatArray, off_um: FloatArray, max_um: float) -> None:
    """Say where the ground edge is too far off to be drawn."""
    far = np.abs(off_um) > max_um
    k = int(np.argmax(np.where(far, np.abs(off_um), 0.0)))
    size = f"{abs(off_um[k]):.0f} µm {'proud' if off_um[k] > 0 else 'too deep'}"
    if not np.isfinite(off_um[k]):
        size = "faced by no placement"
    place = _plan(edge, arc[k : k + 1])[0]
    line: style.Look = {"arrowstyle": "-", "color": style.GROUND_EDGE, "lw": 0.7}
    look: style.Look = {"ha": "right", "va": "top", "color": style.GROUND_EDGE, "arrowprops": line}
    style.note(ax, f"{size}:\nnot drawn", tuple(place), (-34, -22), **look)


def recession(session: Session, ax: Axes | None = None) -> Axes:
    """How far a session moved each edge inward, with the mean and the deepest loss.

    Parameters
    ----------
    session : Session
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `session` is not a `Session`, or `ax` not Axes.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> done = ek.sharpen(ek.patterns.universal_curette(), ek.methods.held(15.0),
    ...                   dull_radius_um=4.0, rng=np.random.default_rng(1))
    >>> ek.figures.recession(done).get_ylabel()
    'recession along the face [µm]'
    """
    checks.instance("session", session, Session, "Take the result of ek.sharpen.")
    top = max(edge.deepest_recession_um for edge in session.edges.values())
    low = -0.08 * top if top > 0 else -1.0
    name, worst = max(session.edges.items(), key=lambda item: item[1].deepest_recession_um)
    dull = any(not edge.sharp.all() for edge in session.edges.values())
    with style.canvas(ax) as axes:
        labels = [
            label
            for k, (key, edge) in enumerate(session.edges.items())
            for label in _draw_recession(axes, key, edge, k % 2, low)
        ]
        axes.set_ylim(low, 1.08 * top if top > 0 else 1.0)
        axes.set_xlim(0.0, max(edge.arc_mm[-1] for edge in session.edges.values()))
        style.end_labels(axes, labels)
        crosses = "; × marks stations not sharp" if dull else ""
        style.labels(axes, ALONG + crosses, "recession along the face [µm]")
        describe(
            axes,
            title=f"{session.method.name}: edge {name} lost {worst.mean_recession_um:.1f} µm on "
            f"average, {worst.deepest_recession_um:.1f} µm at the deepest",
            kind="Line chart of recession along the edges after one session",
            shown="; ".join(f"edge {n}, with its mean and deepest loss" for n in session.edges)
            + "; crosses where an edge is not sharp",
            finding=" ".join(map(_recession_words, session.edges, session.edges.values()))
            + f" {session.steel_mg:.2f} mg of steel removed.",
        )
    return axes


def _draw_recession(
    ax: Axes, name: str, edge: EdgeSession, row: int, low: float
) -> list[tuple[float, str, str]]:
    """One edge's line, its mean and deepest loss, crosses where it is dull; the labels."""
    colour, dashes = ((style.GROUND_EDGE, "-"), (style.BLACK, "--"))[row]
    ax.plot(edge.arc_mm, edge.recession_um, color=colour, ls=dashes)
    short = style.brief(name, 24)
    levels = {"mean": edge.mean_recession_um, "deepest": edge.deepest_recession_um}
    for level in levels.values():
        ax.axhline(level, color=colour, lw=0.8, ls=(0, (1, 2)))
    dull = edge.arc_mm[~edge.sharp]
    ax.plot(dull, np.full(len(dull), low * (0.4 + 0.3 * row)), "x", color=colour, ms=4)
    return [(level, f"{short}: {what} {level:.1f} µm", colour) for what, level in levels.items()]


def _recession_words(name: str, edge: EdgeSession) -> str:
    return (
        f"Edge {name}: mean loss {edge.mean_recession_um:.1f} µm, deepest "
        f"{edge.deepest_recession_um:.1f} µm, {100 * edge.sharp_fraction:.0f} % of it sharp."
    )


def profile(session: Session, edge_name: str, ax: Axes | None = None) -> Axes:
    """Section through the flank at mid-edge, before a session and after it.

    Parameters
    ----------
    session : Session
    edge_name : str
        A name in ``session.edges``.
    ax : Axes, optional
        Given: the section in true proportion only. Not given: beside it the thickness removed, in
        µm, which is too thin to read off the section.

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    EdgekitError
        Not a session, or it has no such edge.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> done = ek.sharpen(ek.patterns.universal_curette(), ek.methods.held(15.0),
    ...                   dull_radius_um=4.0, rng=np.random.default_rng(1))
    >>> ek.figures.profile(done, "left").get_xlabel()
    'inward of the old edge [mm]'
    """
    checks.instance("session", session, Session, "Take the result of ek.sharpen.")
    checks.instance("edge_name", edge_name, str, f"Choose from {list(session.edges)}.")
    if edge_name not in session.edges:
        raise BadArgument(
            "no such edge", edge_name, f"Choose from {list(session.edges)}.", argument="edge_name"
        )
    checks.instance("ax", ax, (Axes, type(None)), "Give the Axes of a matplotlib figure.")
    edge = session.edges[edge_name]
    k = len(edge.arc_mm) // 2
    before, after = (edge.new_inset_mm[:, k], edge.depth_mm[:, k]), _after(edge, k)
    removed_um = (edge.inset_mm[:, k] - before[0]) * UM_PER_MM
    lost = f"the edge moved in by {edge.recession_um[k]:.1f} µm"
    angle = f"{edge.angle_deg[k]:.1f}°"
    with style.styled():
        panels: list[Axes] = [ax] if ax is not None else style.side_by_side((1.25, 1.0))
        _draw_flank(panels[0], before, after)
        for right in panels[1:]:
            _draw_removed(right, removed_um, before[1], after[1][0] * UM_PER_MM)
        at_right = "; at the right the thickness removed over depth" if ax is None else ""
        describe(
            panels,
            title=f"{session.method.name}, edge {edge_name} at mid-length: {lost}, the angle is "
            f"now {angle}",
            kind="Section through a flank at mid-edge",
            shown=f"before (solid blue), after (dashed vermilion){at_right}",
            finding=f"At mid-length of edge {edge_name} {lost}; the most removed at any depth is "
            f"{removed_um.max():.1f} µm, the internal angle is now {angle}.",
        )
    return panels[0]


def _after(edge: EdgeSession, k: int) -> tuple[FloatArray, FloatArray]:
    """Inset and depth after the session; a honed face lies where the flank is this far in."""
    depth, inset = edge.depth_mm[:, k], edge.inset_mm[:, k]
    recession = edge.recession_um[k] / UM_PER_MM
    honed = abs(inset[0] - recession) > 1e-9
    drop = float(np.interp(recession, inset, depth)) if honed else 0.0
    below = depth > drop
    return np.concatenate([[recession], inset[below]]), np.concatenate([[drop], depth[below]])


def _draw_removed(ax: Axes, removed_um: FloatArray, depth: FloatArray, drop_um: float) -> None:
    """The thickness removed over depth, which is too thin to read off the section."""
    ax.plot(removed_um, depth, color=style.GROUND_EDGE, marker="o", ms=3, clip_on=False)
    ax.set_xlim(0.0, 1.1 * max(float(removed_um.max()), 1.0))
    if drop_um:
        lower = f"flank untouched,\nface {drop_um:.1f} µm lower"
        ax.text(0.5, 0.5, lower, transform=ax.transAxes, ha="center")
    ax.set_xlabel("removed, along the face [µm]")


def _draw_flank(
    ax: Axes, before: tuple[FloatArray, FloatArray], after: tuple[FloatArray, FloatArray]
) -> None:
    """The flank, inset against depth, and between the two what was removed."""
    width = max(1.25 * float(before[0].max()), 0.35)
    ax.fill(
        np.concatenate([before[0], after[0][::-1], [width, width]]),
        np.concatenate([before[1], after[1][::-1], [after[1][0], 0.0]]),
        facecolor=style.VERMILION,
        alpha=0.25,
        edgecolor="none",
    )
    half = len(before[0]) // 2
    for name, (inset, depth), colour, dashes, at, offset, side in (
        ("before", before, style.TRUE_EDGE, "-", half, (-6, -2), "right"),
        ("after", after, style.GROUND_EDGE, "--", half // 2 + 1, (7, 0), "left"),
    ):
        ax.plot([width, *inset], [depth[0], *depth], color=colour, ls=dashes, lw=1.2)
        look: style.Look = {"color": colour, "ha": side, "va": "center"}
        style.note(ax, name, (inset[at], depth[at]), offset, **look)
    ax.set_aspect("equal", adjustable="datalim")
    ax.margins(0.1)
    ax.invert_yaxis()
    style.labels(ax, "inward of the old edge [mm]", "depth below the new face [mm]")

"""Pictures of what grinding does: facets, recession along the edges, the flank in section."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import FloatArray, positive
from edgekit.contact.facets import Facets
from edgekit.errors import EdgekitError
from edgekit.figures import style
from edgekit.figures.contact import ALONG
from edgekit.figures.words import describe
from edgekit.geometry import vectors as vec
from edgekit.geometry.edge import Edge
from edgekit.grinding.session import EdgeSession, Session

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["facets", "profile", "recession"]

UM_PER_MM = 1000.0
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

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> ek.figures.facets(ek.facets(edge, 8)).get_xlabel()
    'along the blade [mm]'
    """
    positive("exaggeration", exaggeration, "Give a factor, such as 20.")
    edge = facets.edge
    max_um = MAX_SHARE * edge.length_mm / exaggeration * UM_PER_MM
    with style.canvas(ax, (6.4, 3.6)) as axes:
        arc, off = _polygon(facets)
        drawn = np.where(np.abs(off) <= max_um, off, np.nan)
        true, ground = _plan(edge, arc, drawn, exaggeration)
        axes.plot(*true.T, color=style.TRUE_EDGE, lw=1.8)
        axes.plot(*ground.T, color=style.GROUND_EDGE, lw=1.4, ls="--")
        axes.plot(*_plan_true(edge, facets.placements_mm).T, "o", color=style.BLACK, ms=4)
        _ridges(axes, facets, edge, exaggeration, max_um)
        left = facets.depth_um > 0 and facets.untouched_mm > 0
        if left:
            bare = np.where((facets.active < 0)[:, None], _plan_true(edge, facets.arc_mm), np.nan)
            axes.plot(*bare.T, color=style.BLACK, lw=4.0, alpha=0.55, solid_capstyle="butt")
        _key(axes, exaggeration, left)
        if np.isnan(drawn).any():
            _mark_beyond(axes, edge, arc, off, max_um)
        axes.margins(0.06)
        axes.set_aspect("equal", adjustable="datalim")
        axes.set_xlabel("along the blade [mm]")
        axes.set_ylabel("across the blade [mm]")
        finding = _facet_words(facets, float(np.nanmin(off)))
        style.title(axes, finding)
        describe(
            axes,
            kind="Plan of an edge",
            shown="true edge (solid blue), ground polygon (dashed vermilion), placements (black "
            "dots), ridges (triangles)" + (", not ground (thick grey)" if left else ""),
            finding=f"{finding}. The deviation is drawn {exaggeration:g} times too large.",
            caption=f"Where it is more than {max_um:.0f} µm the line is left out."
            if np.isnan(drawn).any()
            else "",
        )
    return axes


def _polygon(facets: Facets) -> tuple[FloatArray, FloatArray]:
    """Arc lengths and deviation [µm] of the ground edge, outward, from the one aimed at.

    The ridges' own points are put in, so that tips are sharp. A flat stone cuts a hollow stretch
    deeper than it should: there the deviation is negative.
    """
    deeper = np.maximum(facets.recession_um - facets.depth_um, 0.0)
    arc = np.concatenate([facets.arc_mm, facets.ridges.arc_mm])
    off = np.concatenate(
        [facets.height_above_facet_um - deeper, facets.ridges.height_above_facet_um]
    )
    # Neighbours of a ridge that over-cuts know better than its height, which stops at zero.
    keep = np.concatenate([np.ones(len(deeper), bool), facets.ridges.height_above_facet_um > 0])
    order = np.argsort(arc[keep], kind="stable")
    return arc[keep][order], off[keep][order]


def _facet_words(facets: Facets, deepest_um: float) -> str:
    count, high = len(facets.placements_mm), facets.ridge_um
    if not np.isfinite(high):
        return f"{count} placements: part of the edge is faced by none"
    words = f"{count} placements leave ridges up to {high:.1f} µm"
    return words if deepest_um > -0.05 else f"{words} and cut up to {-deepest_um:.1f} µm too deep"


def _ridges(ax: Axes, facets: Facets, edge: Edge, exaggeration: float, max_um: float) -> None:
    """Mark the ridges and name the highest; of several alike, the one nearest to mid-edge."""
    high = facets.ridges.height_above_facet_um
    shown = (high > 0) & (high <= max_um)
    if not shown.any():
        return
    arc, high = facets.ridges.arc_mm[shown], high[shown]
    tips = _plan(edge, arc, high, exaggeration)[1]
    ax.plot(*tips.T, "^", color=style.GROUND_EDGE, ms=6, mec=style.BLACK, mew=0.6)
    alike = high >= 0.95 * high.max()
    k = int(np.argmin(np.where(alike, np.abs(arc - edge.length_mm / 2), np.inf)))
    ax.annotate(
        f"{high[k]:.1f} µm",
        tuple(tips[k]),
        (0, 12),
        textcoords="offset points",
        ha="center",
        color=style.GROUND_EDGE,
        fontsize=8.5,
    )


def _axes_of_plan(edge: Edge) -> FloatArray:
    """Directions (2, 3) of the picture: along the blade, and across it, out of the steel upwards."""
    middle = edge.frame(np.array(edge.length_mm / 2))
    face = middle.face.value
    along = vec.unit(edge.roll_reference - (edge.roll_reference @ face) * face)
    across = vec.cross(face, along)
    across = across * (-1.0 if across @ middle.inward.value > 0 else 1.0)
    return np.stack([along, across])


def _plan_true(edge: Edge, arc: FloatArray) -> FloatArray:
    return np.asarray(edge.frame(arc).position @ _axes_of_plan(edge).T)


def _plan(
    edge: Edge, arc: FloatArray, height_above_facet_um: FloatArray, exaggeration: float
) -> tuple[FloatArray, FloatArray]:
    """True edge and exaggerated polygon (S, 2) [mm]."""
    here = edge.frame(arc)
    out = -here.inward.value * (exaggeration * height_above_facet_um / UM_PER_MM)[:, None]
    axes = _axes_of_plan(edge).T
    return np.asarray(here.position @ axes), np.asarray((here.position + out) @ axes)


def _mark_beyond(ax: Axes, edge: Edge, arc: FloatArray, off_um: FloatArray, max_um: float) -> None:
    """Say where the ground edge is too far off to be drawn."""
    far = np.abs(off_um) > max_um
    k = int(np.argmax(np.where(far, np.abs(off_um), 0.0)))
    size = f"{abs(off_um[k]):.0f} µm {'proud' if off_um[k] > 0 else 'too deep'}"
    if not np.isfinite(off_um[k]):
        size = "faced by no placement"
    place = _plan_true(edge, arc[k : k + 1])[0]
    ax.annotate(
        f"{size}:\nnot drawn",
        tuple(place),
        (-34, -22),
        textcoords="offset points",
        ha="right",
        va="top",
        color=style.GROUND_EDGE,
        fontsize=8.5,
        arrowprops={"arrowstyle": "-", "color": style.GROUND_EDGE, "lw": 0.7},
    )


def _key(ax: Axes, exaggeration: float, left: bool) -> None:
    """Names of the lines, in the empty space above the heel: an edge is convex and falls off there."""
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], color=style.TRUE_EDGE, lw=1.8, label="true edge"),
        Line2D(
            [],
            [],
            color=style.GROUND_EDGE,
            lw=1.4,
            ls="--",
            marker="^",
            mec=style.BLACK,
            mew=0.6,
            label=f"ground edge and ridges, deviation × {exaggeration:g}",
        ),
        Line2D([], [], color=style.BLACK, ls="", marker="o", ms=4, label="stone placement"),
    ]
    if left:
        handles.append(Line2D([], [], color=style.BLACK, lw=4, alpha=0.55, label="not ground"))
    ax.legend(handles=handles, loc="upper left", frameon=False, fontsize=8.5)


def recession(session: Session, ax: Axes | None = None) -> Axes:
    """How far a session moved each edge inward, with the mean and the deepest loss.

    Parameters
    ----------
    session : Session
    ax : Axes, optional

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> done = ek.sharpen(ek.patterns.universal_curette(), ek.methods.held(15.0),
    ...                   dull_radius_um=4.0, rng=np.random.default_rng(1))
    >>> ek.figures.recession(done).get_ylabel()
    'recession along the face [µm]'
    """
    with style.canvas(ax) as axes:
        labels: list[tuple[float, str, str]] = []
        found: list[str] = []
        styles = ((style.GROUND_EDGE, "-"), (style.BLACK, "--"))
        top = max(e.deepest_recession_um for e in session.edges.values())
        low = -0.08 * top if top > 0 else -1.0
        for k, (name, edge) in enumerate(session.edges.items()):
            colour, dashes = styles[k % 2]
            mean, deepest = edge.mean_recession_um, edge.deepest_recession_um
            axes.plot(edge.arc_mm, edge.recession_um, color=colour, ls=dashes)
            for level in (mean, deepest):
                axes.axhline(level, color=colour, lw=0.8, ls=(0, (1, 2)))
            labels += [
                (mean, f"{name}: mean {mean:.1f} µm", colour),
                (deepest, f"{name}: deepest {deepest:.1f} µm", colour),
            ]
            dull = edge.arc_mm[~edge.sharp]
            axes.plot(dull, np.full(len(dull), low * (0.4 + 0.3 * k)), "x", color=colour, ms=4)
            found.append(
                f"Edge {name}: mean loss {mean:.1f} µm, deepest {deepest:.1f} µm, "
                f"{100 * edge.sharp_fraction:.0f} % of it sharp."
            )
        axes.set_ylim(low, 1.08 * top if top > 0 else 1.0)
        axes.set_xlim(0.0, max(e.arc_mm[-1] for e in session.edges.values()))
        style.end_labels(axes, labels)
        if any(not e.sharp.all() for e in session.edges.values()):
            axes.set_xlabel(f"{ALONG}; × marks stations not sharp")
        else:
            axes.set_xlabel(ALONG)
        axes.set_ylabel("recession along the face [µm]")
        most, worst = max(session.edges.items(), key=lambda item: item[1].deepest_recession_um)
        most = f"edge {most}"
        style.title(
            axes,
            f"{session.method.name}: {most} lost {worst.mean_recession_um:.1f} µm on average, "
            f"{worst.deepest_recession_um:.1f} µm at the deepest",
        )
        describe(
            axes,
            kind="Line chart of recession along the edges after one session",
            shown="; ".join(f"edge {n}, with its mean and deepest loss" for n in session.edges)
            + "; crosses where an edge is not sharp",
            finding=" ".join(found) + f" {session.steel_mg:.2f} mg of steel removed.",
        )
    return axes


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

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> done = ek.sharpen(ek.patterns.universal_curette(), ek.methods.held(15.0),
    ...                   dull_radius_um=4.0, rng=np.random.default_rng(1))
    >>> ek.figures.profile(done, "left").get_xlabel()
    'inward of the old edge [mm]'
    """
    if edge_name not in session.edges:
        raise EdgekitError("no such edge", edge_name, f"Choose from {list(session.edges)}.")
    edge = session.edges[edge_name]
    k = len(edge.arc_mm) // 2
    depth, before = edge.depth_mm[:, k], edge.new_inset_mm[:, k]
    after_depth, after = _after(edge, k)
    removed = (edge.inset_mm[:, k] - before) * UM_PER_MM
    with style.styled():
        left: Axes
        right: Axes | None
        if ax is None:
            left, right = style.new_figure().subplots(1, 2, sharey=True, width_ratios=(1.25, 1.0))
        else:
            left, right = ax, None
        _draw_flank(left, (before, depth), (after, after_depth))
        if right is not None:
            right.plot(removed, depth, color=style.GROUND_EDGE, marker="o", ms=3, clip_on=False)
            right.set_xlim(0.0, 1.1 * max(float(removed.max()), 1.0))
            if drop_um := after_depth[0] * UM_PER_MM:
                right.text(
                    0.5,
                    0.5,
                    f"flank untouched,\nface {drop_um:.1f} µm lower",
                    transform=right.transAxes,
                    ha="center",
                )
            right.set_xlabel("removed, along the face [µm]")
        lost = edge.recession_um[k]
        style.title(
            left,
            f"{session.method.name}, edge {edge_name} at mid-length: the edge moved in by "
            f"{lost:.1f} µm, the angle is now {edge.angle_deg[k]:.1f}°",
        )
        panels = [left] if right is None else [left, right]
        describe(
            panels,
            kind="Section through a flank at mid-edge",
            shown="before (solid blue), after (dashed vermilion)"
            + ("" if right is None else "; at the right the thickness removed over depth"),
            finding=f"At mid-length of edge {edge_name} the edge moved in by {lost:.1f} µm; the "
            f"most removed at any depth is {removed.max():.1f} µm, the internal angle is now "
            f"{edge.angle_deg[k]:.1f}°.",
        )
    return left


def _after(edge: EdgeSession, k: int) -> tuple[FloatArray, FloatArray]:
    """Depth and inset after the session; a honed face lies lower, where the flank is this far in."""
    depth, inset = edge.depth_mm[:, k], edge.inset_mm[:, k]
    recession = edge.recession_um[k] / UM_PER_MM
    honed = abs(inset[0] - recession) > 1e-9
    drop = float(np.interp(recession, inset, depth)) if honed else 0.0
    below = depth > drop
    return np.concatenate([[drop], depth[below]]), np.concatenate([[recession], inset[below]])


def _draw_flank(
    ax: Axes, before: tuple[FloatArray, FloatArray], after: tuple[FloatArray, FloatArray]
) -> None:
    width = max(1.25 * float(before[0].max()), 0.35)
    faces = [(inset, depth) for inset, depth in (before, after)]
    looks = ((style.TRUE_EDGE, "-", "before"), (style.GROUND_EDGE, "--", "after"))
    ax.fill(
        np.concatenate([before[0], after[0][::-1], [width, width]]),
        np.concatenate([before[1], after[1][::-1], [after[1][0], 0.0]]),
        facecolor=style.VERMILION,
        alpha=0.25,
        edgecolor="none",
    )
    for (inset, depth), (colour, dashes, _) in zip(faces, looks, strict=True):
        ax.plot([width, *inset], [depth[0], *depth], color=colour, ls=dashes, lw=1.2)
    half = len(before[0]) // 2
    ax.annotate(
        "before",
        (before[0][half], before[1][half]),
        (-6, -2),
        va="center",
        ha="right",
        textcoords="offset points",
        color=style.TRUE_EDGE,
    )
    ax.annotate(
        "after",
        (after[0][half // 2 + 1], after[1][half // 2 + 1]),
        (7, 0),
        va="center",
        textcoords="offset points",
        color=style.GROUND_EDGE,
    )
    ax.set_aspect("equal", adjustable="datalim")
    ax.margins(0.1)
    ax.invert_yaxis()
    ax.set_xlabel("inward of the old edge [mm]")
    ax.set_ylabel("depth below the new face [mm]")

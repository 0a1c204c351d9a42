"""Pictures of what the blade is: the working end with stones laid against it, and its section."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator
from mpl_toolkits.mplot3d import proj3d
from mpl_toolkits.mplot3d.art3d import Poly3DCollection
from mpl_toolkits.mplot3d.axes3d import Axes3D

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.facets import evenly_placed
from edgekit.contact.orientation import orient
from edgekit.contact.stone import FlatStone, Stone
from edgekit.errors import BadArgument
from edgekit.figures import style
from edgekit.figures.words import describe, root_figure
from edgekit.geometry.blade import Blade, width_between
from edgekit.geometry.edge import EdgeFrame
from edgekit.geometry.section import Bevel, Section

__all__ = ["blade", "section"]

STATIONS = 161
DEPTHS = 17
OUTLINES = (0.1, 0.3, 0.5, 0.7)  # of the first edge; nearer the toe they would crowd
PATCH_SHARE = 0.13  # of the blade's length that a stone's drawn patch is long
ZOOM = 1.1
MAX_PLACEMENTS = 200  # stone planes; more would hide the blade
VIEW = (27.0, -56.0)  # elevation and azimuth of the eye [deg]


def blade(
    blade: Blade, *, placements: int = 5, stone: Stone | None = None, ax: Axes | None = None
) -> Axes:
    """The working end in space with stone planes laid against its first edge.

    Parameters
    ----------
    blade : Blade
    placements : int
        Stone planes, at the middles of as many equal stretches of the first edge.
    stone : Stone, optional
        Form of the stone; default a flat one. A plane is drawn dashed where it cannot reach.
    ax : Axes3D, optional
        Axes to draw on, made with ``projection="3d"``.

    Returns
    -------
    Axes
        Lengths in mm, equal on all axes.

    Raises
    ------
    BadArgument
        Not a blade, not a stone, Axes without a third dimension, or too many placements.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.figures.blade(ek.patterns.universal_curette(), placements=3).get_xlabel()
    'x [mm]'
    """
    checks.instance("blade", blade, Blade, "Give a Blade, such as ek.read_blade(path).")
    checks.count("placements", placements, 0, most=MAX_PLACEMENTS)
    title = blade.name if blade.name == blade.kind.value else f"{blade.name}: {blade.kind.value}"
    title = f"{title}, {placements} stone planes along one edge"
    with style.styled():
        space = _axes_in_space(ax)
        _face(space, blade)
        for name in blade.edges:
            _flank(space, blade, name)
        _outlines(space, blade)
        unreached = _stones(space, blade, placements, FlatStone() if stone is None else stone)
        _handle(space, blade)
        _equal(space)
        style.title(space, style.brief(title, style.TITLE_LETTERS))
        if ax is None:
            _fit(space)
        describe(
            space,
            kind="Three-dimensional drawing of a working end",
            shown="face and edges (solid blue), unused edge (dashed grey), cross-sections (black), "
            "stone planes (translucent, outlined), handle axis (arrow)",
            finding=f"The {blade.kind.value} is {blade.length_mm:.2f} mm long, "
            f"{blade.width_mm:.2f} mm wide and {blade.thickness_mm:.2f} mm thick with an internal "
            f"angle of {blade.internal_angle_deg:.0f}°; the stone cannot reach {unreached} of "
            f"{placements} places shown.",
        )
    return space


def _axes_in_space(ax: Axes | None) -> Axes:
    if ax is None:
        # Placed by hand: the automatic layout does not know what a turned box leaves free.
        return Figure(figsize=(6.4, 4.2)).add_axes((0.0, 0.0, 1.0, 0.9), projection="3d")
    if not hasattr(ax, "plot_surface"):
        raise BadArgument(
            "ax must be three-dimensional", ax, 'Give projection="3d".', argument="ax"
        )
    return ax


def _surface(ax: Axes3D, points: FloatArray, colour: str, alpha: float) -> None:
    every: style.Look = {"rcount": len(points), "ccount": points.shape[1], "shade": False}
    flat: style.Look = {"color": colour, "alpha": alpha, "linewidth": 0, "antialiased": True}
    ax.plot_surface(*np.moveaxis(points, -1, 0), **flat, **every)


def _line(ax: Axes3D, points: FloatArray, colour: str, width: float, dashes: object = "-") -> None:
    ax.plot(*points.T, color=colour, lw=width, ls=dashes)


def _face(ax: Axes3D, blade: Blade) -> None:
    """The face between the edges, and the edges."""
    name, edge = next(iter(blade.edges.items()))
    near = edge.frame(edge.stations(STATIONS))
    far = blade.opposite(name)
    other = near.position + blade.section.width_mm * near.inward.value
    if far is not None:
        other = far.frame(far.stations(STATIONS)).position
    _surface(ax, np.stack([near.position, other]), style.BLUE, 0.12)
    if blade.unused is not None or far is None:
        _line(ax, other, style.GREY, 1.3, "--")
    for end in (0,) if far is not None else (0, -1):
        _line(ax, np.stack([near.position[end], other[end]]), style.GREY, 0.9)
    for used in blade.edges.values():
        _line(ax, used.frame(used.stations(STATIONS)).position, style.TRUE_EDGE, 2.2)


def _lateral(blade: Blade, name: str, arc: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Depth and inset (V, S) of the lateral surface below an edge."""
    deepest = blade.thickness_at(name, arc)
    depth = np.linspace(0.0, 1.0, DEPTHS)[:, None] * deepest
    return depth, np.asarray(blade.section.inset_mm(depth, deepest))


def _place(here: EdgeFrame, across: FloatArray, down: FloatArray) -> FloatArray:
    """Points (V, S, 3) from their place across the face and below it at each of S stations."""
    inward, face = here.inward.value, here.face.value
    return np.asarray(here.position + across[..., None] * inward - down[..., None] * face)


def _flank(ax: Axes3D, blade: Blade, name: str) -> None:
    """The lateral surface below an edge, and the line in which it ends at the back."""
    edge = blade.edges[name]
    arc = edge.stations(STATIONS)
    depth, inset = _lateral(blade, name, arc)
    points = _place(edge.frame(arc), inset, depth)
    _surface(ax, points, style.GREY, 0.13)
    _line(ax, points[-1], style.GREY, 0.9)


def _outlines(ax: Axes3D, blade: Blade) -> None:
    """Cross-sections square to the first edge."""
    name, edge = next(iter(blade.edges.items()))
    arc = np.array(OUTLINES) * edge.length_mm
    far = blade.opposite(name)
    width = np.full(len(arc), blade.section.width_mm)
    if far is not None:
        width = width_between(edge, far, arc)[0]
    depth, inset = _lateral(blade, name, arc)
    outlines = [
        _closed(blade.section, float(width[k]), depth[:, k], inset[:, k]) for k in range(len(arc))
    ]
    across, down = np.moveaxis(np.stack(outlines, axis=1), -1, 0)
    for points in np.moveaxis(_place(edge.frame(arc), across, down), 1, 0):
        _line(ax, points, style.BLACK, 0.8)


def _closed(section: Section, width: float, depth: FloatArray, inset: FloatArray) -> FloatArray:
    """Outline (M, 2) of a section, across and down from the edge, closed."""
    near = np.stack([inset, depth], axis=1)
    if isinstance(section, Bevel):
        rest = np.array([[width, depth[-1]], [width, 0.0], [0.0, 0.0]])
    else:
        near[:, 0] = np.minimum(near[:, 0], width / 2)
        mirrored = near[::-1] * np.array([-1.0, 1.0]) + np.array([width, 0.0])
        rest = np.concatenate([mirrored, near[:1]])
    return np.concatenate([near, rest])


def _stones(ax: Axes3D, blade: Blade, placements: int, stone: Stone) -> int:
    """Patches of the stone's plane; how many the stone cannot reach."""
    if placements == 0:
        return 0
    name, edge = next(iter(blade.edges.items()))
    held = orient(edge, stone, normal_uncertainty_deg=blade.normal_uncertainty_deg(name))
    half = min(PATCH_SHARE * blade.length_mm, stone.length_mm) / 2
    down = 1.15 * blade.section.flank_mm
    corners = [(-half, -0.25), (half, -0.25), (half, down), (-half, down)]
    reached: style.Look = {"facecolor": (*to_rgb(style.SKY), 0.30), "ec": style.BLACK, "lw": 0.7}
    missed: style.Look = {"facecolor": (*to_rgb(style.SKY), 0.05), "ec": style.VERMILION, "lw": 1.3}
    unreached = 0
    for place in evenly_placed(edge, placements):
        k = int(np.argmin(np.abs(held.arc_mm - place)))
        patch = [held.position_mm[k] + a * held.tangent[k] + b * held.flank[k] for a, b in corners]
        look = reached if held.clear[k] else missed | {"ls": "--"}
        unreached += not held.clear[k]
        ax.add_collection3d(Poly3DCollection([patch], **look))
        ax.plot(*np.array(patch).T, alpha=0)  # so that the limits take the patch in
        ax.plot(*held.position_mm[k], marker="o", ms=3.5, color=style.BLACK)
    return unreached


def _handle(ax: Axes3D, blade: Blade) -> None:
    """An arrow along the handle axis, from the handle to the heel."""
    name, edge = next(iter(blade.edges.items()))
    heel = edge.frame(np.array(0.0))
    heel_mm = heel.position + 0.5 * blade.width_at(name, np.zeros(1))[0] * heel.inward.value
    axis = edge.handle_axis
    long = 0.42 * max(blade.length_mm, blade.width_mm)
    start = heel_mm - long * axis
    ax.quiver(*start, *(long * axis), color=style.BLACK, lw=1.4, arrow_length_ratio=0.16)
    ax.text(*start, " handle axis", color=style.BLACK, ha="left", va="bottom", fontsize=9)


def _limits(ax: Axes3D) -> FloatArray:
    return np.array([ax.get_xlim(), ax.get_ylim(), ax.get_zlim()])


def _equal(ax: Axes3D) -> None:
    """Equal scales, and ticks few enough for short axes."""
    size = np.ptp(_limits(ax), axis=1)
    ax.set_box_aspect(tuple(size), zoom=ZOOM)
    for axis in (ax.xaxis, ax.yaxis, ax.zaxis):
        axis.set_major_locator(MultipleLocator(1.0 if size.max() > 4 else 0.5))
        axis.pane.set_visible(False)
        axis._axinfo["grid"]["linewidth"] = 0.3
    ax.tick_params(labelsize=8, pad=-1)
    ax.set_xlabel("x [mm]")
    ax.set_ylabel("y [mm]", labelpad=-2 if size[1] < size.max() / 2 else 2)
    ax.set_zlabel("z [mm]")
    ax.view_init(*VIEW)


def _fit(ax: Axes3D) -> None:
    """Enlarge and shift the drawing so that it fills its figure below the title."""
    figure, title = root_figure(ax), ax.get_title(loc="left")
    ax.set_title("", loc="left")
    zoom = ZOOM
    for _ in range(3):  # lettering keeps its size, so that one step does not do
        x0, y0, x1, y1 = _drawn(ax, figure)
        zoom *= min(0.97 / (x1 - x0), 0.89 / (y1 - y0))
        ax.set_box_aspect(tuple(np.ptp(_limits(ax), axis=1)), zoom=zoom)
        x0, y0, x1, y1 = _drawn(ax, figure)
        place = ax.get_position()
        shift = 0.5 - (x0 + x1) / 2, 0.46 - (y0 + y1) / 2
        ax.set_position((place.x0 + shift[0], place.y0 + shift[1], place.width, place.height))
    figure.draw_without_rendering()
    corner = figure.transFigure.transform((0.02, 0.945))
    x, y = ax.transAxes.inverted().transform(corner)
    ax.set_title(title, loc="left", x=float(x), y=float(y))


def _drawn(ax: Axes3D, figure: Figure) -> FloatArray:
    """Left, bottom, right and top of what is drawn, in shares of the figure."""
    renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
    figure.draw_without_rendering()
    corners = np.array(np.meshgrid(*_limits(ax))).reshape(3, -1)
    x, y, _ = proj3d.proj_transform(*corners, ax.get_proj())
    points = [ax.transData.transform(np.stack([x, y], axis=1))]
    # The name of the handle axis knows its place only while it is drawn; it lies within the box.
    for axis in (ax.xaxis, ax.yaxis, ax.zaxis):
        points.append(axis.get_tightbbox(renderer).get_points())
    shares = figure.transFigure.inverted().transform(np.concatenate(points))
    return np.concatenate([shares.min(axis=0), shares.max(axis=0)])


def section(blade_or_section: Blade | Section, ax: Axes | None = None) -> Axes:
    """A cross-section, square to the mid-line, with its internal angle marked.

    Parameters
    ----------
    blade_or_section : Blade or Section
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `blade_or_section` is not a `Blade` or a section, or `ax` not Axes.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.figures.section(ek.patterns.curved_sickle()).get_ylabel()
    'depth below the face [mm]'
    """
    shape = blade_or_section.section if isinstance(blade_or_section, Blade) else blade_or_section
    if not hasattr(shape, "inset_mm"):
        raise BadArgument("no cross-section to draw", shape, "Give a Blade or its section.")
    depth = np.linspace(0.0, shape.thickness_mm, 201)
    outline = _closed(shape, shape.width_mm, depth, np.asarray(shape.inset_mm(depth)))
    beta = float(np.radians(shape.internal_angle_deg))
    flank = shape.flank_mm * np.array([[0.0, 0.0], [np.cos(beta), np.sin(beta)]])
    with style.canvas(ax) as axes:
        axes.fill(*outline.T, facecolor=style.SKY, alpha=0.25, edgecolor="none")
        axes.plot(*outline.T, color=style.BLACK, lw=1.2)
        axes.plot(*flank.T, color=style.TRUE_EDGE, lw=2.6, solid_capstyle="round")
        axes.plot(0, 0, "o", color=style.TRUE_EDGE, ms=5)
        _angle_mark(axes, shape, beta)
        left: style.Look = {"ha": "right", "color": style.TRUE_EDGE}
        style.note(axes, "edge", (0, 0), (-6, 5), **left)
        style.note(axes, "flank", tuple(flank[1] * 0.6), (-8, -2), va="center", **left)
        style.note(axes, "face", (0.72 * shape.width_mm, 0), (0, 5), ha="center")
        axes.margins(0.12)
        axes.set_aspect("equal", adjustable="datalim")
        axes.invert_yaxis()
        style.labels(axes, "across the face from the edge [mm]", "depth below the face [mm]")
        describe(
            axes,
            title=f"Face and flank meet at {shape.internal_angle_deg:.0f}°: the stone stands at "
            f"{180 - shape.internal_angle_deg:.0f}° to the face",
            kind="Cross-section of a blade",
            shown="outline (thin black), flat flank (thick blue), internal angle (arc)",
            finding=f"The internal angle is {shape.internal_angle_deg:.0f}°; the section is "
            f"{shape.width_mm:.2f} mm wide and {shape.thickness_mm:.2f} mm deep, its flank is flat "
            f"for {shape.flank_mm:.2f} mm, its area {shape.area_mm2:.3f} mm².",
        )
    return axes


def _angle_mark(ax: Axes, shape: Section, beta: float) -> None:
    """The arc from face to flank and its size."""
    radius = 0.3 * min(shape.width_mm, shape.thickness_mm, 2.5 * shape.flank_mm + 0.1)
    turn = np.linspace(0.0, beta, 60)
    ax.plot(radius * np.cos(turn), radius * np.sin(turn), color=style.BLACK, lw=1.0)
    x, y = 1.3 * radius * np.cos(beta / 2), 1.3 * radius * np.sin(beta / 2)
    ax.text(x, y, f"{shape.internal_angle_deg:.0f}°", ha="left", va="center")

"""Pictures of the lessons, each drawn by one function on axes that its arguments fix.

Every function returns a `Drawn`: the picture, its title and alternative text, and its numbers.
"""

from __future__ import annotations

import base64
from dataclasses import replace
from html import escape

import numpy as np
from matplotlib.axes import Axes

import edgekit as ek
from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.log.history import history
from edgekit.errors import BadArgument
from lesson.drawing import BLUE, GREY, INK, VERMILION, Chart, Drawn
from lesson.parts import Html

__all__ = [
    "angle_error",
    "coarser",
    "edge_line",
    "flats",
    "left_by_session",
    "loss_along",
    "readings",
    "shown",
    "tilt_cost",
    "toe_flats",
    "tray_settings",
]

STRETCH = 5.0  # of the picture of flats, as a whole: straight lines stay straight
DPI = 220.0  # twice what a page shows
ALONG = "along the edge from the heel [mm]"


def shown(ax: Axes) -> Html:
    """A picture of the library at twice the pixels of a page, with its alternative text."""
    made = ek.figures.picture(ax, dpi=DPI)
    data = base64.b64encode(made.png).decode("ascii")
    image = (
        f'<img alt="{escape(made.alt)}" width="{made.width_px // 2}" '
        f'src="data:image/png;base64,{data}">'
    )
    note = f'<figcaption class="ek-note">{escape(made.caption)}</figcaption>'
    return Html(f'<figure class="ek-figure ek-wide" tabindex="0">{image}{note}</figure>')


def flats(edge: ek.Edge, placements: int) -> Drawn:
    """The edge in plan with the flats that even placements of a flat stone leave.

    The whole picture is stretched across, edge, flats and stone alike, so that a flat is a straight
    line as in truth. The face must be flat; the flats touch the edge, at no depth.

    Raises
    ------
    BadArgument
        Placements that face only part of the edge, so that a ridge has no height.

    Examples
    --------
    >>> edge = ek.patterns.area_specific_curette(bow_radius_mm=np.inf).edges["used"]
    >>> flats(edge.stretch(0, 5.5), 4).title
    '4 placements leave ridges of 35.4 µm'
    """
    made = ek.facets(edge, placements)
    if not np.isfinite(made.ridge_um):
        raise BadArgument("part of the edge is faced by no placement", placements, "Take more.")
    arc = np.concatenate([[0.0], made.ridges.arc_mm, [edge.length_mm]])
    high = np.concatenate(
        [
            made.height_above_facet_um[:1],
            made.ridges.height_above_facet_um,
            made.height_above_facet_um[-1:],
        ]
    )
    outline = _plan(edge, made.arc_mm)
    corners = _plan(edge, arc, high / 1000)
    chart = _plan_chart(outline)
    chart.steel(outline[:, 0], outline[:, 1])
    chart.line(outline[:, 0], outline[:, 1], BLUE)
    _stone(chart, corners, placements)
    chart.line(corners[:, 0], corners[:, 1], VERMILION, width=2.5, dashes="9 4")
    places = _plan(edge, made.placements_mm)
    chart.dots(places[:, 0], places[:, 1], INK, radius=4)
    _key(chart)
    title = f"{placements} placements leave ridges of {made.ridge_um:.1f} µm"
    numbers = {"placements": placements, "ridge_um": made.ridge_um}
    numbers |= {"corners": len(corners), "highest_corner_um": float(high.max())}
    kind = (
        f"Plan of an edge, drawn {STRETCH:g} times too high as a whole: the true edge curved, the "
        "ground edge straight between ridges, the stone a line laid on one flat"
    )
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def toe_flats(
    edge: ek.Edge, placements_mm: FloatArray, name: str, *, last_mm: float = 1.3
) -> Drawn:
    """The flats round the toe, in true proportion: the last stretch of an edge with a flat face.

    Parameters
    ----------
    edge : Edge
    placements_mm : array (K,)
        Where along the whole edge the stone is laid.
    name : str
        How they are spaced, for the title.
    last_mm : float
        Length of edge shown.
    """
    made = ek.facets(edge, placements_mm)
    near = edge.length_mm - last_mm
    outline = _plan(edge, made.arc_mm[made.arc_mm >= near])
    arc = np.concatenate([[0.0], made.ridges.arc_mm, [edge.length_mm]])
    ends = made.height_above_facet_um[[0, -1]]
    high = np.concatenate([ends[:1], made.ridges.height_above_facet_um, ends[1:]])
    corners = _plan(edge, arc, high / 1000)
    low, top = outline.min(axis=0) - 0.05, outline.max(axis=0) + 0.12
    chart = Chart(
        x=(low[0], top[0]), y=(low[1], top[1]), x_name="along the blade [mm]", y_name="across [mm]"
    )
    scale = float(chart.across(1.0) - chart.across(0.0))
    tall = float(chart.down(0.0) - chart.down(1.0))
    chart.height += (scale - tall) * (top[1] - low[1])
    chart.line(outline[:, 0], outline[:, 1], BLUE)
    chart.line(corners[:, 0], corners[:, 1], VERMILION, width=2.5, dashes="9 4")
    places = _plan(edge, made.placements_mm)
    inside = made.placements_mm >= near
    chart.dots(places[inside, 0], places[inside, 1], INK, radius=4)
    chart.text(low[0] + 0.05, low[1] + 0.06, "solid: true edge, dashed: ground edge", INK)
    count, ridge = len(made.placements_mm), made.ridge_um
    numbers = {"placements": count, "ridge_um": ridge, "at_toe": int(inside.sum())}
    kind = (
        "Plan of the toe in true proportion: true edge, ground edge, dots where the stone was laid"
    )
    title = f"{count} placements, {name}: ridges up to {ridge:.1f} µm"
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def _plan(edge: ek.Edge, arc: FloatArray, outward_mm: FloatArray | float = 0.0) -> FloatArray:
    """Points of the edge in plan: along the chord from its middle, and up out of the steel."""
    here, ends = edge.frame(arc), edge.frame(np.array([0.0, edge.length_mm])).position
    middle = edge.frame(np.array(edge.length_mm / 2))
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    out = -middle.inward.value
    out = (out - (out @ along) * along) / np.linalg.norm(out - (out @ along) * along)
    points = here.position - here.inward.value * np.reshape(outward_mm, (-1, 1)) - middle.position
    return np.stack([points @ along, points @ out], axis=-1)


def _plan_chart(outline: FloatArray) -> Chart:
    """Axes that the edge alone decides, not the number of placements."""
    half = 1.06 * float(np.abs(outline[:, 0]).max())
    x_name, y_name = "along the blade [mm]", "across [mm]"
    bare = Chart(x=(-half, half), y=(0, 1), x_name=x_name)
    pixels = float(bare.across(1.0) - bare.across(0.0)) * STRETCH  # for a millimetre across
    low, top = float(outline[:, 1].min()) - 0.02, 0.2
    height = bare.height - float(bare.down(0.0) - bare.down(1.0)) + (top - low) * pixels
    return Chart(x=bare.x, y=(low, top), height=height, x_name=x_name, y_name=y_name)


def _stone(chart: Chart, corners: FloatArray, placements: int) -> None:
    """The stone as a line on one flat, longer than the flat at either end."""
    k = placements // 2
    one, two = corners[k], corners[k + 1]
    reach = (two - one) / np.linalg.norm(two - one)
    over = 0.5 * (two - one) + 0.9 * reach
    ends = np.stack([(one + two) / 2 - over, (one + two) / 2 + over])
    chart.line(ends[:, 0], ends[:, 1] + 0.012, INK, width=3)


def _key(chart: Chart) -> None:
    """What the lines are, inside the steel where nothing else is drawn."""
    low, high = chart.y
    lines = (("true edge", BLUE, ""), ("ground edge", VERMILION, "9 4"), ("flat stone", INK, ""))
    for k, (name, colour, dashes) in enumerate(lines):
        height = low + (0.36 - 0.12 * k) * (high - low)
        chart.line([-0.9, -0.4], [height] * 2, colour, width=3, dashes=dashes)
        chart.text(-0.3, height, name, INK, lift=-5)


def angle_error(edge: ek.Edge, elevation_deg: float, *, tolerance_deg: float = 2.0) -> Drawn:
    """The angle that one setting of a holder grinds, less the true one, along the edge.

    Examples
    --------
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> angle_error(edge, 15.0).title
    'A setting of 15° is right within 2° on 100 % of the edge'
    """
    held = ek.setting_at(edge, elevation_deg)
    arc, error = held.arc_mm, held.error_deg
    good = np.abs(error) <= tolerance_deg + 1e-9
    share = float(good.mean())
    name = "ground less true [°]"
    chart = Chart(x=(0.0, float(arc[-1])), y=(-16.0, 16.0), x_name=ALONG, y_name=name)
    band = [-tolerance_deg, -tolerance_deg, tolerance_deg, tolerance_deg]
    chart.line([0, arc[-1], arc[-1], 0], band, "none", fill="#dce9f2")
    chart.text(0.1, tolerance_deg, f"right within {tolerance_deg:g}°", BLUE, lift=5)
    chart.line(arc, error, VERMILION, width=1.6, dashes="6 4")
    chart.line(arc, np.where(good, error, np.nan), VERMILION, width=5)
    title = f"A setting of {elevation_deg:g}° is right within {tolerance_deg:g}° on {share:.0%}"
    title = title.replace("%", " %") + " of the edge"
    kind = "Line chart of the error of the internal angle along the edge; thick where it is right"
    numbers = {
        "elevation_deg": elevation_deg,
        "right_share": share,
        "worst_error_deg": float(np.abs(error[np.isfinite(error)]).max()),
    }
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def loss_along(session: ek.Session, name: str, *, top_um: float) -> Drawn:
    """What one session took along the edge, on an axis that ends at `top_um`.

    The first edge of the session is drawn; a cross marks each station left dull.
    """
    edge = next(iter(session.edges.values()))
    mean, deepest = edge.mean_recession_um, edge.deepest_recession_um
    chart = Chart(
        x=(0.0, float(edge.arc_mm[-1])),
        y=(0.0, top_um),
        x_name=ALONG,
        y_name="edge moved in by [µm]",
    )
    chart.line(edge.arc_mm, edge.recession_um, VERMILION)
    chart.level(mean, f"mean {mean:.1f} µm")
    dull = edge.arc_mm[~edge.sharp]
    chart.dots(dull, np.full(len(dull), 0.015 * top_um), INK, radius=2)
    title = f"{name}: mean loss {mean:.1f} µm, deepest {deepest:.1f} µm"
    numbers = {"mean_um": mean, "deepest_um": deepest, "sharp_share": edge.sharp_fraction}
    kind = "Line chart of what a session took along the edge; dots on the axis where it stayed dull"
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def edge_line(finish: ek.Finish, name: str, *, half_um: float, window_um: float = 200.0) -> Drawn:
    """A stretch of the edge line as the magnification shows it, heights from -half to half."""
    x, z = finish.profile.x_um, finish.profile.z_um
    begin = max((x[-1] - window_um) / 2, 0.0)
    inside = (x >= begin) & (x <= begin + window_um)
    x, z = x[inside] - begin, z[inside] - z[inside].mean()
    chart = Chart(
        x=(0.0, window_um),
        y=(-half_um, half_um),
        x_name="along the edge [µm]",
        y_name="out of the steel [µm]",
        height=240,
    )
    chart.steel(x, z)
    chart.line(x, z, VERMILION)
    chart.text(4, -0.9 * half_um, "steel", GREY)
    low, high = finish.teeth_range_per_mm
    teeth = finish.teeth_per_mm
    title = f"{name}: {teeth:.0f} teeth per mm (80 % range {low:.0f} to {high:.0f})"
    numbers = {"teeth_per_mm": teeth, "low": low, "high": high, "ra_um": finish.roughness.ra_um}
    kind = f"Drawing of {window_um:g} µm of the edge line, seen square to the face, steel below"
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def left_by_session(
    life: ek.Life, name: str, *, sessions: int, size: float = 0.8, strength: float = 0.7
) -> Drawn:
    """Strength, width and thickness left, session by session; axes end at `sessions`.

    One limit, `size`, is that of width and of thickness. Lines end where the first limit is passed:
    there the instrument is retired.
    """
    blade, past = life.blade, life.history
    left = {"strength": np.concatenate([[1.0], life.strength_left])}
    new = {"width": ("mean_width_um", blade.width_mm)}
    new |= {"thickness": ("thickness_um", blade.thickness_mm)}
    for of, (column, whole_mm) in new.items():
        left[of] = 1 - np.concatenate([[0.0], past[column]]) / 1000 / whole_mm
    limits = {"strength": strength, "width": size, "thickness": size}
    passed = {of: np.flatnonzero(left[of] < limit) for of, limit in limits.items()}
    ends = {of: int(found[0]) for of, found in passed.items() if len(found)}
    which = min(ends, key=lambda of: ends[of]) if ends else ""
    end = ends[which] if which else len(past)
    chart = Chart(
        x=(0.0, float(sessions)), y=(0.5, 1.02), x_name="sessions", y_name="left of the new blade"
    )
    steps = np.arange(end + 1)
    chart.line(steps, left["width"][: end + 1], BLUE, dashes="7 4")
    chart.line(steps, left["thickness"][: end + 1], VERMILION, dashes="2 4")
    chart.line(steps, left["strength"][: end + 1], INK, width=2.5)
    chart.level(size, f"size limit {size:g}", BLUE, below=True)
    chart.level(strength, f"strength limit {strength:g}", below=True)
    chart.text(0.3, 0.60, "solid strength, dashed width, dotted thickness", INK)
    gone = f"retired at session {end} by {which}" if which else f"in use after {end} sessions"
    kind = "Line chart of the strength, width and thickness left; the lines end at retirement"
    numbers = {"sessions": end} | {f"{of}_left": float(left[of][end]) for of in left}
    return chart.drawn(kind=kind, title=f"{name}: {gone}", numbers=numbers)


def tray_settings(plan: ek.BenchPlan, name: str, *, end_deg: float = 70.0) -> Drawn:
    """The settings that each edge of a tray accepts, and the fewest that serve them."""
    keys = [need.key for need in plan.requirements]
    rows = [f"{instrument[-3:].lstrip('-')} {edge}" for instrument, edge in keys]
    chart = Chart(
        x=(0.0, end_deg),
        y=(len(rows) - 0.5, -0.5),
        x_name="handle to stone [°]",
        rows=rows,
        height=60 + 24.0 * len(rows),
    )
    settings = plan.settings["elevation_deg"].to_numpy()
    for angle in settings:
        chart.line([angle] * 2, chart.y, VERMILION, width=1.5, dashes="6 4")
    for row, need in enumerate(plan.requirements):
        for low, high in need.common_deg:
            chart.line([low - 0.2, high + 0.2], [row] * 2, BLUE, width=8)
    hand, whole = (float(plan.edges[column].sum()) for column in ("hand_mm", "length_mm"))
    title = f"{name}: {len(settings)} settings for {len(rows)} edges, "
    title += f"{hand:.0f} of {whole:.0f} mm left to the hand"
    kind = "Bars of the settings that each edge accepts; dashed lines are the settings chosen"
    numbers = {"settings": len(settings), "hand_mm": hand, "edges_mm": whole}
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def coarser(log: ek.Log, step_mm: float) -> ek.Log:
    """The same log, had its widths been read with a caliper of this step.

    Examples
    --------
    >>> log = ek.read_log("data_demo/log.csv", day_first=True)
    >>> coarser(log, 0.1).rows["width_mm"].head(2).round(3).tolist()
    [0.9, 0.9]
    """
    step = checks.positive("step_mm", step_mm)
    width = (log.rows["width_mm"] / step).round() * step
    return replace(log, rows=log.rows.assign(width_mm=width))


def _due(result: ek.Forecast) -> set[tuple[str, str]]:
    """Edges that may be at their limit by the next session."""
    rows = result.table
    soon = rows[(rows["status"] == "in use") & (rows["sessions_left_low"] < 1)]
    return set(zip(soon["instrument"], soon["edge"], strict=True))


def readings(
    result: ek.Forecast, instrument: str, edge: str, name: str, *, beside: ek.Forecast | None = None
) -> Drawn:
    """The widths read on one edge, session by session, and the limit of this forecast.

    The axes hold a blade of 0.9 mm down to 0.58 and twenty sessions, whatever the limit. `beside`
    another forecast, the title counts the edges that this one alone names for replacement, and
    those that it leaves out.
    """
    rows = result.table
    row = rows[(rows["instrument"] == instrument) & (rows["edge"] == edge)].iloc[0]
    past = history(result.log)
    same = (past.edges["instrument"] == instrument) & (past.edges["edge"] == edge)
    own = past.reading_edge == past.edges.index[same][0]
    now, width, limit = float(row["sessions"]), float(row["width_mm"]), float(row["limit_mm"])
    loss = float(row["loss_um_per_session"]) / 1000
    low, middle, high = (float(row[f"sessions_left{end}"]) for end in ("_low", "", "_high"))
    chart = Chart(x=(0.0, 20.0), y=(0.58, 0.9), x_name="sessions", y_name="width [mm]")
    ends = np.array([0.0, now + 4])
    chart.line(ends, width - (ends - now) * loss, BLUE)
    chart.dots(past.reading_sessions[own], past.reading_um[own] / 1000, INK, radius=4)
    chart.level(limit, f"limit {limit:.3f} mm", VERMILION)
    chart.line([now + low, now + min(high, 20.0)], [limit] * 2, INK, width=6)
    if now + high > 20:
        chart.text(20.0, limit, f"{high:.0f} left →", INK, anchor="end", lift=8)
    below = int(((rows["status"] == "in use") & (rows["width_mm"] <= rows["limit_mm"])).sum())
    plural = "s" * (f"{middle:.0f}" != "1")
    title = f"{name}: {middle:.0f} session{plural} left ({low:.0f} to {high:.0f})"
    numbers = {"limit_mm": limit, "sessions_left": middle, "edges_at_limit": below}
    if beside is None:
        title += f"; {below} edges of the clinic are at their limit"
    else:
        due, right = _due(result), _due(beside)
        numbers |= {"due": len(due), "wrong": len(due - right), "missed": len(right - due)}
        title += f"; {len(due)} edges on the list, {len(due - right)} of them wrongly, "
        title += f"and {len(right - due)} left out"
    kind = "Widths read against sessions, the line of the forecast, the limit and where they meet"
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def tilt_cost(width_mm: float, degrees: float, session_um: float) -> Drawn:
    """How much too narrow a blade looks that lies tilted, beside what one session took.

    The picture shows the width's shadow, so it is short by the cosine.

    Examples
    --------
    >>> tilt_cost(0.86, 8.0, 9.0).title
    'Tilted by 8°, the blade looks 8.4 µm too narrow'
    """
    tilts = np.linspace(0.0, 12.0, 121)
    short = width_mm * 1000 * (1 - np.cos(np.radians(tilts)))
    here = float(width_mm * 1000 * (1 - np.cos(np.radians(degrees))))
    chart = Chart(x=(0.0, 12.0), y=(0.0, 20.0), x_name="tilt [°]", y_name="too narrow by [µm]")
    chart.line(tilts, short, BLUE)
    chart.level(session_um, "what a session took", VERMILION)
    chart.dots([degrees], [here], INK, radius=6)
    kind = "Line chart of the width lost to tilt, with a dot at this tilt"
    title = f"Tilted by {degrees:g}°, the blade looks {here:.1f} µm too narrow"
    return chart.drawn(kind=kind, title=title, numbers={"tilt_deg": degrees, "short_um": here})

"""Figures by their data, labels, words and layout; none by its pixels."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Text
from mpl_toolkits.mplot3d.art3d import Poly3DCollection, Text3D
from mpl_toolkits.mplot3d.proj3d import proj_transform

import edgekit as ek
from edgekit.figures import style
from edgekit.figures.words import root_figure

PIXEL = 1.0  # rounding of a text's extent to whole pixels
EXACT = 1e-9  # of the numbers drawn: the figure may only copy them
MIN_CONTRAST = 3.0  # WCAG 2.2, success criterion 1.4.11, for graphical objects

UNIVERSAL = ek.patterns.universal_curette()
AREA_SPECIFIC = ek.patterns.area_specific_curette()
SICKLE = ek.patterns.curved_sickle()
HOE = ek.patterns.hoe()
LEFT, USED = UNIVERSAL.edges["left"], AREA_SPECIFIC.edges["used"]


def _hollow_edge() -> ek.Edge:
    u = np.linspace(-0.4, 0.4, 81)
    wave = np.stack([6.7 * u, 0.25 * np.cos(7 * u), 0 * u], axis=1)
    return ek.Edge.from_points(
        wave,
        face_normals=(0, 0, 1),
        internal_angle_deg=75,
        handle_axis=(0, 0.2, -1),
        inward=(0, -1, 0),
    )


HOLLOW = _hollow_edge()
SESSION = ek.sharpen(
    UNIVERSAL, ek.methods.freehand(), dull_radius_um=4.0, rng=np.random.default_rng(1)
)
HONED = ek.sharpen(
    AREA_SPECIFIC, ek.methods.face_honing(), dull_radius_um=4.0, rng=np.random.default_rng(1)
)
METHODS = [
    ek.methods.freehand(),
    ek.methods.bench_stone(),
    ek.methods.held(ek.best_setting(USED)),
    ek.methods.powered(),
    ek.methods.face_honing(),
]
COMPARISON = ek.compare(AREA_SPECIFIC, METHODS, runs=24, seed=1)
LIFE = ek.live(AREA_SPECIFIC, METHODS[0], rng=np.random.default_rng(3))
FINISHES = {
    name: ek.finish(
        USED, METHODS[3].using(ek.diamond_plated_stone(), stroke), rng=np.random.default_rng(1)
    )
    for name, stroke in {"along": ek.along_edge(), "across": ek.across_edge()}.items()
}
LAYS = {
    "follows the edge": ek.lay(LEFT, ek.along_edge()),
    "straight along the blade": ek.lay(LEFT, ek.StraightStroke(direction=[1, 0, 0])),
}
BLUNTED = ek.blunting(FINISHES["across"])
WORN = {
    "sides": ek.strength(ek.WornBlade.from_recession(UNIVERSAL, 43), load_n=5),
    "face": ek.strength(ek.WornBlade.from_recession(UNIVERSAL, 0, face_um=71), load_n=5),
}
MIXED = ek.face_or_sides(UNIVERSAL, runs=8, seed=1)
F = ek.figures

DRAWN: dict[str, Callable[[], Axes]] = {
    "blade universal": lambda: F.blade(UNIVERSAL),
    "blade area-specific": lambda: F.blade(AREA_SPECIFIC),
    "blade sickle": lambda: F.blade(SICKLE, placements=3),
    "blade hoe": lambda: F.blade(HOE),
    "section round": lambda: F.section(UNIVERSAL),
    "section triangular": lambda: F.section(SICKLE.section),
    "section bevel": lambda: F.section(HOE),
    "orientation": lambda: F.orientation(ek.orient(USED)),
    "orientation, hollow": lambda: F.orientation(ek.orient(HOLLOW)),
    "orientation, twin": lambda: F.orientation(ek.orient(USED), _axes()),
    "setting": lambda: F.setting(ek.best_setting(USED)),
    "settings that share": lambda: F.setting(ek.settings_needed(USED)),
    "few settings that share": lambda: F.setting(
        ek.settings_needed(USED, tolerance_deg=8), tolerance_deg=8
    ),
    "settings compared": lambda: F.setting([ek.setting_at(USED, a) for a in (-5, 0, 5)]),
    "settings that nearly agree": lambda: F.setting(
        [ek.setting_at(USED, a) for a in (14, 14.3, 14.6)]
    ),
    "facets, toe missed": lambda: F.facets(ek.facets(USED, 8)),
    "facets, part ground": lambda: F.facets(
        ek.facets(USED, ek.placed_by_curvature(USED, 8), depth_um=10)
    ),
    "facets, hollow": lambda: F.facets(ek.facets(HOLLOW, 9)),
    "recession": lambda: F.recession(SESSION),
    "recession, honed": lambda: F.recession(HONED),
    "profile": lambda: F.profile(SESSION, "left"),
    "profile, honed": lambda: F.profile(HONED, "used"),
    "life, one": lambda: F.life(LIFE),
    "life, one method": lambda: F.life(COMPARISON.lives[0]),
    "life, all": lambda: F.life(COMPARISON),
    "comparison": lambda: F.comparison(COMPARISON),
    "differences": lambda: F.differences(COMPARISON),
    "lay": lambda: F.lay(LAYS),
    "lay of a finish": lambda: F.lay(FINISHES["across"]),
    "edge line": lambda: F.edge_line(FINISHES),
    "teeth and strokes": lambda: F.teeth_and_strokes(BLUNTED),
    "blunting": lambda: F.blunting(BLUNTED.cases[2]),
    "worn section": lambda: F.worn_section(WORN),
    "strength": lambda: F.strength(WORN["sides"]),
    "strength and width": lambda: F.strength_and_width({"freehand": LIFE}),
    "face or sides": lambda: F.face_or_sides(MIXED),
    "slant": lambda: F.slant(MIXED),
}


def _axes() -> Axes:
    return Figure(figsize=(6.4, 4.0), layout="constrained").add_subplot()


@pytest.fixture(scope="module", params=DRAWN, ids=str)
def drawn(request: pytest.FixtureRequest) -> Axes:
    return DRAWN[request.param]()


def _lettering(figure: Figure) -> list[Text]:
    """Every text that shows: titles, names of axes, labels, and ticks within the limits."""
    texts: list[Text] = []
    for ax in figure.axes:
        texts += [ax.title, ax._left_title, ax._right_title, *ax.texts]
        if ax.get_legend() is not None:
            texts += ax.get_legend().get_texts()
        for axis in (ax.xaxis, ax.yaxis, *([ax.zaxis] if hasattr(ax, "zaxis") else [])):
            if not axis.get_visible():
                continue
            low, high = sorted(axis.get_view_interval())
            texts.append(axis.label)
            texts += [
                tick.label2 if tick.label2.get_visible() else tick.label1
                for tick in axis.get_major_ticks()
                if low - EXACT <= tick.get_loc() <= high + EXACT
                and (tick.label1.get_visible() or tick.label2.get_visible())
            ]
    return [text for text in texts if text.get_visible() and text.get_text().strip()]


def _extent(text: Text, renderer: RendererAgg) -> np.ndarray:
    """Corners of the lettering alone: the leader of an annotation may touch what it points at."""
    if isinstance(text, Text3D):  # projected as its own drawing does
        x, y, _ = proj_transform(*text.get_position_3d(), text.axes.M)
        flat = Text(x, y, text.get_text(), transform=text.axes.transData, ha="left", va="bottom")
        flat.set_fontproperties(text.get_fontproperties())
        flat.set_figure(text.figure)
        return flat.get_window_extent(renderer).get_points()
    return Text.get_window_extent(text, renderer).get_points()


@pytest.fixture(scope="module")
def boxes(drawn: Axes) -> list[tuple[Text, np.ndarray]]:
    figure = root_figure(drawn)
    canvas = FigureCanvasAgg(figure)
    with style.styled():
        canvas.draw()
    return [(text, _extent(text, canvas.get_renderer())) for text in _lettering(figure)]


def test_no_lettering_is_cut_off(drawn: Axes, boxes: list[tuple[Text, np.ndarray]]) -> None:
    width, height = root_figure(drawn).bbox.size
    for text, ((x0, y0), (x1, y1)) in boxes:
        name = text.get_text()
        assert x0 > -PIXEL, name
        assert y0 > -PIXEL, name
        assert x1 < width + PIXEL, name
        assert y1 < height + PIXEL, name


def test_no_lettering_overlaps(boxes: list[tuple[Text, np.ndarray]]) -> None:
    # The box about slanting text, as on axes in space, is mostly empty.
    upright = [(text, box) for text, box in boxes if text.get_rotation() % 90 == 0]
    for i, (one, a) in enumerate(upright):
        for other, b in upright[i + 1 :]:
            shared = np.minimum(a[1], b[1]) - np.maximum(a[0], b[0])
            assert shared.min() <= PIXEL, (one.get_text(), other.get_text())


def test_every_axis_that_measures_names_its_unit(drawn: Axes) -> None:
    for ax in root_figure(drawn).axes:
        labels = [ax.get_xlabel(), ax.get_ylabel()]
        if hasattr(ax, "get_zlabel"):
            labels.append(ax.get_zlabel())
        for label in filter(None, labels):
            assert re.search(r"\[(mm|µm|°|min|mg|count|1|MPa)\]", label), label


def test_words_name_kind_axes_and_numbers(drawn: Axes) -> None:
    words = F.alt_text(drawn)
    assert re.match(r"[A-Z][a-z]", words)
    assert drawn.get_xlabel().split("\n")[0].split(";")[0] in words or not drawn.get_xlabel()
    assert " to " in words
    assert "Shown: " in words
    assert len(re.findall(r"\d", words.split("Shown: ")[1])) >= 2
    assert "nan" not in words
    assert "inf" not in words.replace("information", "")


def test_all_lettering_has_a_title_that_says_something(drawn: Axes) -> None:
    assert len(drawn.get_title(loc="left")) > 10


def _ys(ax: Axes) -> list[np.ndarray]:
    return [np.asarray(line.get_ydata(), dtype=float) for line in ax.lines]


def _has(lines: list[np.ndarray], wanted: np.ndarray) -> bool:
    return any(
        line.shape == wanted.shape and np.allclose(line, wanted, atol=EXACT, equal_nan=True)
        for line in lines
    )


def test_orientation_draws_elevation_and_roll() -> None:
    held = ek.orient(USED)
    top = F.orientation(held)
    below = root_figure(top).axes[1]
    assert _has(_ys(top), held.elevation_deg)
    assert _has(_ys(below), held.roll_deg)
    assert f"{held.elevation_deg.max():.1f}°" in F.alt_text(top)
    assert F.alt_text(top) == F.alt_text(below)


def test_a_constant_elevation_is_not_magnified() -> None:
    low, high = F.orientation(ek.orient(LEFT)).get_ylim()
    assert high - low >= 2.0


def test_unreachable_stations_are_hatched_and_named() -> None:
    held = ek.orient(HOLLOW)
    assert not held.clear.all()
    ax = F.orientation(held)
    assert any(patch.get_hatch() for patch in ax.collections)
    assert f"cannot reach {100 * (~held.clear).mean():.0f} %" in F.alt_text(ax)


def test_setting_draws_the_error_thick_where_it_serves() -> None:
    settings = ek.settings_needed(USED, tolerance_deg=8)
    ax = F.setting(settings, tolerance_deg=8)
    for item in settings:
        served = np.any(
            [(item.arc_mm >= a) & (item.arc_mm <= b) for a, b in item.stretches_mm], axis=0
        )
        assert _has(_ys(ax), np.where(served, item.error_deg, np.nan))
        assert f"Elevation {item.elevation_deg:.1f}° serves" in F.alt_text(ax)


def test_tolerance_band_stands_at_the_tolerance() -> None:
    ax = F.setting(ek.best_setting(LEFT), tolerance_deg=1.5)
    levels = {float(y[0]) for y in _ys(ax) if len(y) == 2}
    assert {-1.5, 1.5} <= levels


def test_an_elevation_out_of_reach_leaves_a_gap_not_a_wall() -> None:
    ax = F.setting(ek.setting_at(USED, 80.0))
    assert np.isfinite(ax.get_ylim()).all()
    assert "cannot be touched" in F.alt_text(ax)


@pytest.mark.parametrize("exaggeration", [5.0, 20.0])
def test_ridges_are_drawn_as_many_times_too_high_as_stated(exaggeration: float) -> None:
    marks = ek.facets(LEFT, ek.placed_by_curvature(LEFT, 8))
    ax = F.facets(marks, exaggeration=exaggeration)
    tips = next(line for line in ax.lines if line.get_marker() == "^").get_xydata()
    assert len(tips) == len(marks.ridges.arc_mm) == 7
    # The face is planar and lies in the picture, so distances there are true.
    here = LEFT.frame(marks.ridges.arc_mm).position[:, :2]
    height = np.linalg.norm(tips - here, axis=1)
    assert height * 1000 / exaggeration == pytest.approx(
        marks.ridges.height_above_facet_um, rel=1e-6
    )
    assert f"{exaggeration:g} times" in F.alt_text(ax)
    assert any(f"× {exaggeration:g}" in t.get_text() for t in ax.get_legend().get_texts())


def test_a_missed_toe_is_named_and_not_drawn_far_away() -> None:
    marks = ek.facets(LEFT, 8)
    ax = F.facets(marks)
    assert any("not drawn" in text.get_text() for text in ax.texts)
    assert ax.dataLim.width < 1.35 * LEFT.length_mm
    assert f"{marks.ridge_um:.1f} µm" in F.alt_text(ax)


def test_over_cutting_of_a_hollow_edge_is_named() -> None:
    marks = ek.facets(HOLLOW, 9)
    words = F.alt_text(F.facets(marks))
    assert f"{marks.recession_um.max():.1f} µm too deep" in words


def test_recession_draws_each_edge_its_mean_and_its_deepest() -> None:
    # A holder cannot follow this edge: it leaves a part of it dull.
    session = ek.sharpen(AREA_SPECIFIC, ek.methods.held(15.0), dull_radius_um=4.0, rng=1)
    ax = F.recession(session)
    for name, edge in session.edges.items():
        assert _has(_ys(ax), edge.recession_um)
        for level in (edge.mean_recession_um, edge.deepest_recession_um):
            assert _has(_ys(ax), np.array([level, level]))
            assert f"{level:.1f} µm" in F.alt_text(ax)
        assert any(text.get_text().startswith(f"{name}: mean") for text in ax.texts)
    crosses = [line for line in ax.lines if line.get_marker() == "x"]
    dull = sum(int((~edge.sharp).sum()) for edge in session.edges.values())
    assert sum(len(line.get_xdata()) for line in crosses) == dull > 0


def test_profile_draws_the_flank_before_and_after() -> None:
    ax = F.profile(SESSION, "left")
    edge = SESSION.edges["left"]
    k = len(edge.arc_mm) // 2
    before, after = (np.asarray(line.get_xdata())[1:] for line in ax.lines)
    assert before == pytest.approx(edge.new_inset_mm[:, k], abs=EXACT)
    assert after == pytest.approx(edge.inset_mm[:, k], abs=EXACT)
    assert 1000 * (after - before)[0] == pytest.approx(edge.recession_um[k])
    removed = np.asarray(root_figure(ax).axes[1].lines[0].get_xdata())
    assert removed == pytest.approx(1000 * (after - before), abs=1e-6)


def test_profile_of_a_honed_face_starts_lower() -> None:
    edge = HONED.edges["used"]
    k = len(edge.arc_mm) // 2
    after = F.profile(HONED, "used").lines[1]
    drop_mm = np.asarray(after.get_ydata())[0]
    # The flank is straight there: it recedes by cotβ a depth.
    assert 1000 * drop_mm / np.tan(np.radians(75)) == pytest.approx(edge.recession_um[k])


def test_profile_of_an_unknown_edge_is_refused() -> None:
    with pytest.raises(ek.EdgekitError, match="no such edge"):
        F.profile(SESSION, "used")


def test_median_and_band_are_over_all_lives() -> None:
    lives = COMPARISON.lives[0]
    width = np.full((len(lives.sessions), lives.sessions.max() + 1), AREA_SPECIFIC.width_mm)
    for run, last in enumerate(lives.sessions):
        lost = lives.tracks["mean_width_um"][run, :last] / 1000
        width[run, 1 : last + 1] -= lost
        width[run, last + 1 :] -= lost[-1]
    ys = _ys(F.life(lives))
    for share in (10, 50, 90):
        assert _has(ys, np.percentile(width, share, axis=0))


def test_retirement_line_stands_where_the_rule_puts_it() -> None:
    for item in (LIFE, COMPARISON.lives[0], COMPARISON):
        ax = F.life(item)
        levels = [float(y[0]) for y in _ys(ax) if len(y) == 2 and y[0] == y[1]]
        assert 0.8 * AREA_SPECIFIC.width_mm == pytest.approx(min(levels))
        assert any("retire at" in text.get_text() for text in ax.texts)


def test_one_life_draws_its_history() -> None:
    wanted = np.concatenate([[AREA_SPECIFIC.width_mm], LIFE.history["width_mm"]])
    ax = F.life(LIFE)
    assert _has(_ys(ax), wanted)
    assert f"{LIFE.sessions} sessions" in F.alt_text(ax)


def test_comparison_is_sorted_and_tells_error_from_spread() -> None:
    ax = F.comparison(COMPARISON)
    table = COMPARISON.table.sort_values("loss_um_per_session")
    names = [" ".join(t.get_text().split()) for t in ax.get_yticklabels()]
    assert names == table["method"].tolist()
    thick = [line for line in ax.lines if line.get_linewidth() > 5]
    half = [float(np.ptp(np.asarray(line.get_xdata()))) / 2 for line in thick]
    assert half == pytest.approx((1.6448536269514722 * table["loss_um_per_session_mc"]).tolist())
    for line, number in zip(ax.lines[::3], table.index, strict=True):
        runs = COMPARISON.runs.loc[COMPARISON.runs["number"] == number, "loss_um_per_session"]
        assert np.asarray(line.get_xdata()) == pytest.approx(runs.quantile([0.1, 0.9]).to_numpy())
    for mean in table["loss_um_per_session"]:
        assert f"{mean:.1f} ±" in F.alt_text(ax)


def test_differences_are_hollow_where_zero_is_inside() -> None:
    table = COMPARISON.differences().drop(index=0).sort_values("difference")
    ax = F.differences(COMPARISON)
    dots = [line for line in ax.lines if line.get_marker() == "o"]
    assert [line.get_xdata()[0] for line in dots] == pytest.approx(table["difference"].tolist())
    for dot, item in zip(dots, table.itertuples(), strict=True):
        differs = item.low > 0 or item.high < 0
        assert (dot.get_markerfacecolor() == "white") != differs


@pytest.mark.parametrize("blade", [UNIVERSAL, AREA_SPECIFIC, SICKLE, HOE], ids=lambda b: b.name)
def test_scales_in_space_are_equal(blade: ek.Blade) -> None:
    ax = F.blade(blade)
    limits = np.array([ax.get_xlim(), ax.get_ylim(), ax.get_zlim()])
    ratio = np.ptp(limits, axis=1) / ax._box_aspect
    assert ratio == pytest.approx([ratio[0]] * 3)


def test_as_many_stone_planes_as_asked_for() -> None:
    for placements in (0, 4):
        patches = [
            item
            for item in F.blade(UNIVERSAL, placements=placements).collections
            if isinstance(item, Poly3DCollection) and item.get_linewidth()[0] > 0
        ]
        assert len(patches) == placements


def test_a_flat_axes_is_refused_for_a_drawing_in_space() -> None:
    with pytest.raises(ek.EdgekitError, match="three-dimensional"):
        F.blade(UNIVERSAL, ax=_axes())


def test_a_given_axes_is_drawn_on_and_returned() -> None:
    for draw in (
        lambda ax: F.section(UNIVERSAL, ax),
        lambda ax: F.orientation(ek.orient(LEFT), ax),
        lambda ax: F.setting(ek.best_setting(LEFT), ax=ax),
        lambda ax: F.facets(ek.facets(LEFT, 9), ax=ax),
        lambda ax: F.recession(SESSION, ax),
        lambda ax: F.profile(SESSION, "left", ax),
        lambda ax: F.life(LIFE, ax),
        lambda ax: F.comparison(COMPARISON, ax),
        lambda ax: F.differences(COMPARISON, ax=ax),
    ):
        ax = _axes()
        assert draw(ax) is ax


def test_a_picture_keeps_words_and_image_together() -> None:
    ax = F.recession(SESSION)
    picture = F.picture(ax)
    page = picture._repr_html_()
    assert picture.alt == F.alt_text(ax)
    assert page.count("<img") == 1
    assert 'alt="Line chart of recession' in page
    assert "<figcaption>" in page
    assert picture.png.startswith(b"\x89PNG")
    assert F.picture(F.recession(SESSION)).png == picture.png


def test_a_picture_closes_a_figure_of_pyplot() -> None:
    from matplotlib import pyplot as plt

    mpl.use("Agg")
    figure, ax = plt.subplots()
    F.picture(F.section(UNIVERSAL, ax))
    assert not plt.fignum_exists(figure.number)


def test_words_of_foreign_axes_are_refused() -> None:
    with pytest.raises(ek.EdgekitError, match="carry no words"):
        F.alt_text(_axes())


def test_settings_of_matplotlib_are_left_alone() -> None:
    with mpl.rc_context(mpl.rcParamsDefault):
        before = dict(mpl.rcParams)
        F.picture(F.section(UNIVERSAL))
        assert dict(mpl.rcParams) == before


def test_drawing_needs_no_pyplot_and_the_package_no_matplotlib() -> None:
    script = (
        "import sys, edgekit as ek\n"
        "blade = ek.patterns.universal_curette()\n"
        "assert 'matplotlib' not in sys.modules\n"
        "ek.figures.picture(ek.figures.section(blade))\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True)


@pytest.mark.parametrize("colour", [colour for colour, _ in style.SERIES])
def test_lines_stand_out_from_white(colour: str) -> None:
    """Contrast ratio by the definition of relative luminance in WCAG 2.2."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    luminance = float(np.dot([0.2126, 0.7152, 0.0722], linear))
    assert 1.05 / (luminance + 0.05) >= MIN_CONTRAST


def test_no_two_series_share_a_line_style() -> None:
    assert len({str(dashes) for _, dashes in style.SERIES}) == len(style.SERIES)


def test_labels_are_moved_apart_and_keep_their_order() -> None:
    placed = style.apart(np.array([0.2, 0.21, 0.22, 0.9]), np.full(4, 0.06))
    assert (np.diff(placed) >= 0.06 - 1e-5).all()
    assert placed[-1] == pytest.approx(0.9)


def test_a_picture_laid_out_before_looks_the_same_and_a_changed_one_is_laid_out_again():
    edge = ek.patterns.area_specific_curette().edges["used"]
    kept, again, changed = (ek.figures.facets(ek.facets(edge, 8, depth_um=40)) for _ in range(3))
    again.figure.stale = True  # so that it is laid out once more
    assert ek.figures.picture(kept).png == ek.figures.picture(again).png
    changed.set_ylabel("across\nthe\nblade\n[mm]")
    ek.figures.picture(changed)
    assert changed.yaxis.label.get_window_extent().x0 >= 0


ODD_NAMES = ["$$", "cost $5 to $6", r"a \alpha_b^c $x$"]


def _named_after(name: str) -> list[Axes]:
    """Every figure that draws a name of the user's, on Axes of its own and on given ones."""
    blade = replace(UNIVERSAL, name=name)
    method = replace(METHODS[0], name=name)
    session = replace(SESSION, method=method)
    life = replace(LIFE, method=method)
    lives = replace(COMPARISON.lives[0], method=method)
    table = COMPARISON.table.assign(method=[name, *COMPARISON.table["method"][1:]])
    compared = replace(COMPARISON, table=table, lives=(lives, *COMPARISON.lives[1:]))
    swept = pd.DataFrame(
        {name: [name, "b"] * 2, "row": [0, 1, 2, 3], "x": [1.0, 1.0, 2.0, 2.0], "run": 0, "y": 1.0}
    ).assign(status="ok")
    return [
        F.blade(blade),
        F.recession(session),
        F.recession(replace(session, edges={name: session.edges["left"]}), _axes()),
        F.profile(session, "left"),
        F.life(life),
        F.life(compared, _axes()),
        F.comparison(compared, _axes()),
        F.lay({name: LAYS["follows the edge"]}, _axes()),
        F.edge_line({name: FINISHES["across"]}, _axes()),
        F.blunting(replace(BLUNTED.cases[2], name=name)),
        F.worn_section({name: WORN["sides"]}),
        F.strength_and_width({name: LIFE}),
        F.face_or_sides(replace(MIXED, blade=blade)),
        F.sweep(swept, x="x", y="y", by=name),
        F.life_dots(swept, y="y", by=name),
    ]


@pytest.mark.parametrize("name", ODD_NAMES)
def test_a_name_is_drawn_letter_by_letter(name: str) -> None:
    """A dollar sign is a letter, not the start of a formula, wherever a name is drawn."""
    wanted = " ".join(name.split())
    for ax in _named_after(name):
        drawn = []
        for text in _lettering(root_figure(ax)):
            shown, is_formula = text._preprocess_math(text.get_text())
            assert not is_formula, shown
            drawn.append(" ".join(shown.split()))
        assert any(wanted in shown for shown in drawn), drawn
        assert r"\$" not in F.alt_text(ax)
    assert F.picture(ax).png


def test_a_formula_of_the_user_still_works_on_a_figure_of_ours() -> None:
    ax = F.section(UNIVERSAL)
    ax.set_xlabel(r"$\alpha$ [mm]")
    assert ax.xaxis.label._preprocess_math(ax.get_xlabel())[1]


@pytest.mark.parametrize("name", ["word " * 400 + "end", "x" * 2000], ids=["words", "one word"])
def test_a_name_of_two_thousand_letters_leaves_room_for_the_picture(name: str) -> None:
    for ax in _named_after(name):
        figure = root_figure(ax)
        with style.styled():
            figure.draw_without_rendering()
        share = ax.get_position()
        assert share.height > 0.35, ax.get_title(loc="left")
        assert share.width > 0.2, ax.get_title(loc="left")
        assert ax.get_title(loc="left").count("\n") <= style.MAX_TITLE_LINES


def test_both_ends_of_a_text_too_long_stay() -> None:
    assert style.brief("abcdefghijklmnop", 9) == "abc … nop"
    assert style.brief("abcdefghi", 9) == "abcdefghi"


WRONG_KIND: dict[str, Callable[[], Axes]] = {
    "a blade for an orientation": lambda: F.orientation(UNIVERSAL),
    "an edge for facets": lambda: F.facets(LEFT),
    "an edge for a setting": lambda: F.setting([LEFT]),
    "a blade for a session": lambda: F.recession(UNIVERSAL),
    "a method for a session": lambda: F.profile(METHODS[0], "left"),
    "an edge for a blade": lambda: F.blade(LEFT),
    "an edge for a section": lambda: F.section(LEFT),
    "a session for a life": lambda: F.life(SESSION),
    "a session among lives": lambda: F.life([SESSION]),
    "a life for a comparison": lambda: F.comparison(LIFE),
    "lives for differences": lambda: F.differences(COMPARISON.lives[0]),
    "a method for a lay": lambda: F.lay(METHODS[0]),
    "a lay for a finish": lambda: F.edge_line(LAYS),
    "a finish for blunting": lambda: F.teeth_and_strokes(FINISHES["across"]),
    "blunting for a counterface": lambda: F.blunting(BLUNTED),
    "a blade for strength": lambda: F.strength(UNIVERSAL),
    "one strength for several": lambda: F.worn_section(WORN["sides"]),
    "lives for a life": lambda: F.strength_and_width({"a": COMPARISON.lives[0]}),
    "a comparison for face or sides": lambda: F.face_or_sides(COMPARISON),
    "a comparison for slant": lambda: F.slant(COMPARISON),
    "a list for a sweep": lambda: F.sweep([1, 2], x="a"),
    "a table for a tornado": lambda: F.tornado(COMPARISON.table),
    "a table for shares": lambda: F.sensitivity(COMPARISON.table),
    "a blade for a plan": lambda: F.windows(UNIVERSAL),
    "a table for a forecast": lambda: F.due(COMPARISON.table),
    "a table for readings": lambda: F.readings(COMPARISON.table, "a", "b"),
    "a table for a budget": lambda: F.replacements(COMPARISON.table),
    "a figure for axes": lambda: F.section(UNIVERSAL, Figure()),
}


@pytest.mark.parametrize("case", WRONG_KIND)
def test_a_result_of_another_kind_is_refused_with_the_function_that_makes_the_right_one(
    case: str,
) -> None:
    with pytest.raises(ek.EdgekitError, match=r"must be a|no cross-section") as refused:
        WRONG_KIND[case]()
    assert re.search(r"(Give|Take) ", str(refused.value))


@pytest.mark.parametrize("dpi", [0, -5, float("nan"), "110", 1e6])
def test_a_resolution_out_of_bounds_is_refused(dpi: float) -> None:
    with pytest.raises(ek.EdgekitError, match="dpi"):
        F.picture(F.section(UNIVERSAL), dpi=dpi)


def test_more_stone_planes_than_can_be_seen_are_refused() -> None:
    with pytest.raises(ek.EdgekitError, match="placements must be"):
        F.blade(UNIVERSAL, placements=10**9)


@pytest.mark.parametrize(("old", "new"), [("html", "picture"), ("spread", "life_dots")])
def test_a_name_of_the_last_version_says_what_it_is_called_now(old: str, new: str) -> None:
    with pytest.raises(AttributeError, match=rf"figures\.{old} is now edgekit\.figures\.{new}"):
        getattr(F, old)
    assert callable(getattr(F, new))
    with pytest.raises(AttributeError, match="no attribute 'chart'"):
        _ = F.chart


def test_axes_show_themselves_once_at_the_end_of_a_cell() -> None:
    """By IPython's own formatters, in a process of its own: with pyplot and without."""
    script = (
        "import sys\n"
        "from IPython.core.interactiveshell import InteractiveShell\n"
        "import edgekit as ek\n"
        "shell = InteractiveShell.instance()\n"
        "blade = ek.patterns.universal_curette()\n"
        "ax = ek.figures.section(blade)\n"
        "data, _ = shell.display_formatter.format(ax)\n"
        "assert data['text/html'].count('<img alt=') == 1\n"
        "assert ek.figures.alt_text(ax).split('.')[0] in data['text/html']\n"
        "assert 'image/png' not in data and 'matplotlib.pyplot' not in sys.modules\n"
        "from matplotlib import pyplot as plt\n"
        "drawn = ek.figures.section(blade, plt.subplots()[1])\n"
        "data, _ = shell.display_formatter.format(drawn)\n"
        "assert 'text/html' in data and not plt.get_fignums()\n"
        "data, _ = shell.display_formatter.format(plt.subplots()[1])\n"
        "assert 'text/html' not in data\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True)

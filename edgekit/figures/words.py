"""What a figure says in words: its title, its caption and the text for those who cannot see it."""

from __future__ import annotations

import base64
import io
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from weakref import WeakKeyDictionary

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from edgekit import checks
from edgekit.display import escaped
from edgekit.errors import BadArgument
from edgekit.figures import style

__all__ = ["Picture", "alt_text", "describe", "picture", "quantity", "quantity_name"]

QUANTITIES = {
    "loss_um_per_session": "width lost per session, mean along the sides [µm]",
    "deepest_um_per_session": "width lost per session, deepest [µm]",
    "heel_um_per_session": "width lost per session, heel third [µm]",
    "middle_um_per_session": "width lost per session, middle third [µm]",
    "toe_um_per_session": "width lost per session, toe third [µm]",
    "ridge_um": "range of what a session took along the sides [µm]",
    "angle_error_deg": "angle error [°]",
    "angle_rms_deg": "angle error, root mean square [°]",
    "sharp_fraction": "share of the edge sharp [1]",
    "minutes_per_session": "time per session [min]",
    "stone_strokes": "strokes on the stone per session [count]",
    "steel_mg": "steel removed per session [mg]",
    "dullness_mg": "steel for the dullness alone [mg]",
    "overshoot_mg": "steel past the need [mg]",
    "rebevel_mg": "steel for a new bevel [mg]",
    "grid_um": "error of the grid [µm per session]",
    "dull_radius_um": "edge radius when dull [µm]",
    "heel_radius_um": "edge radius when dull, heel third [µm]",
    "middle_radius_um": "edge radius when dull, middle third [µm]",
    "toe_radius_um": "edge radius when dull, toe third [µm]",
    "useful_strokes": "useful strokes per use [count]",
    "sessions": "sessions until retired [count]",
    "strokes_in_a_life": "working strokes in a life [count]",
    "method.stroke.placements": "placements along one edge [count]",
    "method.stroke.strokes_per_placement": "strokes at each placement [count]",
    "method.stroke.stretch_mm": "stretch of edge under a stroke [mm]",
    "method.stroke.within_tilt_sd_deg": "tilt, scatter within a stroke [°]",
    "method.stroke.correlation_s": "time over which the tilt stays alike [s]",
    "method.stop.fraction": "share of the edge to be sharp [1]",
    "method.stop.resolution_um": "dull land that goes unnoticed [µm]",
    "method.stop.strokes_between_looks": "strokes between two looks [count]",
    "method.stop.strokes": "strokes on the stone, counted [count]",
    "method.removal_mm3_per_stroke": "steel a stroke takes [mm³]",
    "method.hand.tilt_deg.sd": "tilt, scatter [°]",
    "method.hand.tilt_deg.person_sd": "tilt, between people [°]",
    "method.hand.swing_deg.sd": "swing, scatter [°]",
    "method.hand.position_mm.sd": "position, scatter [mm]",
    "method.hand.depth.sd": "advance, relative scatter [1]",
    "use.strokes": "strokes between sessions [count]",
    "use.density.share": "share of strokes on the toe third [1]",
    "use.contact_mm": "length of edge that a stroke touches [mm]",
    "use.law.rate": "rate of dulling [µm² per stroke]",
    "use.attrition_um": "width lost in use [µm per session]",
    "use.sharp_radius_um": "edge radius when sharp [µm]",
    "use.patch_cv": "patchiness of dulling [1]",
    "rule.fraction": "limit of the retirement rule [1]",
    "rule.0.fraction": "limit of the first rule [1]",
}
"""Columns of results and fields of a sweep in words, each with its unit."""


def quantity(field: str) -> str:
    """A column or a field in words with its unit; an unknown one as it is written."""
    return QUANTITIES.get(field, field)


def quantity_name(field: str) -> str:
    """A column or a field in words, without its unit."""
    return quantity(field).rsplit(" [", 1)[0]


def capital(words: str) -> str:
    """Words with a capital letter in front."""
    return words[:1].upper() + words[1:]


@dataclass(frozen=True, kw_only=True)
class _Words:
    alt: str
    caption: str


MAX_DPI = 1200  # a figure of notebook size is 37 million pixels then
COLOURS = 64  # enough for flat colours and smooth lettering; a third of the bytes
_WORDS: WeakKeyDictionary[Axes, _Words] = WeakKeyDictionary()


def describe(
    axes: Axes | Sequence[Axes],
    *,
    kind: str,
    shown: str,
    finding: str,
    caption: str = "",
    title: str = "",
    letters: int = style.TITLE_LETTERS,
) -> None:
    """Attach title, alternative text and caption to `axes`, which make one picture.

    A notebook then shows any of the axes, at the end of a cell, as that picture with its words.

    `kind` is the kind of picture, `shown` what its lines and marks stand for, `finding` a sentence
    or two with the numbers that matter. The ranges of the axes are read off the axes themselves.
    The title is broken into lines of at most `letters` characters; without one the axes keep
    the title they have.
    """
    panels = [axes] if not isinstance(axes, Sequence) else list(axes)
    if title:
        style.title(panels[0], title, letters)
    if panels[0].get_aspect() != "auto":
        with style.styled():  # equal scales widen the limits, and only when the layout is known
            figure = root_figure(panels[0])
            if (engine := figure.get_layout_engine()) is not None:
                engine.execute(figure)
            for ax in panels:
                ax.apply_aspect()
            figure.stale = False  # any change from here on sets it again
    ranges: list[str] = []
    for ax in panels:
        ranges += [text for text in _ranges(ax) if text not in ranges]
    alt = f"{kind}. {'; '.join(ranges)}. Shown: {shown}. {finding}"
    words = _Words(alt=" ".join(alt.split()), caption=" ".join(f"{finding} {caption}".split()))
    for ax in panels:
        _WORDS[ax] = words
        ax._repr_html_ = partial(_html, ax)  # type: ignore[attr-defined]  # how notebooks show it


def _html(ax: Axes) -> str:
    return picture(ax)._repr_html_()


def _ranges(ax: Axes) -> list[str]:
    ranges = []
    for name in ("x", "y", "z"):
        if not hasattr(ax, f"get_{name}lim"):
            continue
        if label := style.spoken(getattr(ax, f"get_{name}label")()):
            low, high = sorted(getattr(ax, f"get_{name}lim")())
            ranges.append(f"{name} axis: {label}, {low:.3g} to {high:.3g}")
        elif not ax.get_shared_x_axes().get_siblings(ax)[1:]:
            ticks = [style.spoken(t.get_text()) for t in getattr(ax, f"get_{name}ticklabels")()]
            if any(ticks):
                ranges.append(f"{name} axis: {', '.join(filter(None, ticks))}")
    return ranges


def alt_text(ax: Axes) -> str:
    """What a figure of this package shows, in words: kind, axes with ranges, finding with numbers.

    Parameters
    ----------
    ax : matplotlib Axes
        As returned by a function of `edgekit.figures`.

    Returns
    -------
    str

    Raises
    ------
    EdgekitError
        If the Axes were not drawn by this package.

    Examples
    --------
    >>> import edgekit as ek
    >>> ax = ek.figures.section(ek.patterns.universal_curette())
    >>> ek.figures.alt_text(ax).startswith("Cross-section")
    True
    """
    return _words(ax).alt


def root_figure(ax: Axes) -> Figure:
    """The whole figure that holds `ax`, also where that lies in a part of it."""
    figure = ax.figure
    while not isinstance(figure, Figure):
        if figure is None:
            raise BadArgument(
                "these Axes belong to no figure", ax, "Draw them again.", argument="ax"
            )
        figure = figure.figure
    return figure


def _words(ax: Axes) -> _Words:
    checks.instance("ax", ax, Axes, "Give what a function of edgekit.figures returns.")
    if ax not in _WORDS:
        raise BadArgument(
            "these Axes carry no words",
            ax,
            "Draw with a function of edgekit.figures first.",
            argument="ax",
        )
    return _WORDS[ax]


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A finished picture with its words; a notebook shows it as HTML, so the words stay with it."""

    png: bytes
    alt: str
    caption: str
    width_px: int

    def __repr__(self) -> str:
        return self.alt

    def _repr_html_(self) -> str:
        data = base64.b64encode(self.png).decode("ascii")
        return (
            '<figure style="margin:0.5em 0">'
            f'<img alt="{escaped(self.alt)}" width="{self.width_px}" '
            f'style="max-width:100%;height:auto" src="data:image/png;base64,{data}">'
            f"<figcaption>{escaped(self.caption)}</figcaption></figure>"
        )


def picture(ax: Axes, *, dpi: float = 110.0) -> Picture:
    """The whole figure of `ax` as an image with alternative text and caption, for a notebook.

    Every other way of showing a matplotlib figure in a notebook loses its alternative text. The
    figure is closed.

    Parameters
    ----------
    ax : matplotlib Axes
        As returned by a function of `edgekit.figures`.
    dpi : float
        Pixels per inch.

    Returns
    -------
    Picture
        With ``png``, ``alt``, ``caption`` and a rich display.

    Raises
    ------
    EdgekitError
        The Axes were not drawn by this package; a resolution outside 10 to 1200.

    Examples
    --------
    >>> import edgekit as ek
    >>> shown = ek.figures.picture(ek.figures.section(ek.patterns.universal_curette()))
    >>> "alt=" in shown._repr_html_()
    True
    """
    _words(ax)
    dpi = checks.between("dpi", dpi, 10, MAX_DPI)
    figure = root_figure(ax)
    words = list(dict.fromkeys(_WORDS[panel] for panel in figure.axes if panel in _WORDS))
    laid_out = not figure.stale and figure.dpi == dpi
    with style.styled():
        figure.set_dpi(dpi)
        if laid_out:
            figure.set_layout_engine("none")
        canvas = FigureCanvasAgg(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
    if "matplotlib.pyplot" in sys.modules:  # else nothing keeps the figure open
        from matplotlib import pyplot as plt

        plt.close(figure)
    return Picture(
        png=_few_colours(canvas),
        alt=" ".join(item.alt for item in words),
        caption=" ".join(item.caption for item in words),
        width_px=round(figure.get_figwidth() * dpi),
    )


def _few_colours(canvas: FigureCanvasAgg) -> bytes:
    """What is drawn, as a picture with a palette, so that notebooks stay small.

    Straight from the canvas, and at the usual compression: a control redraws in half the time.
    """
    pixels = np.asarray(canvas.buffer_rgba())  # type: ignore[no-untyped-call]
    drawn = Image.fromarray(pixels).convert("RGB")
    small = io.BytesIO()
    drawn.quantize(COLOURS, dither=Image.Dither.NONE).save(small, format="png")
    return small.getvalue()

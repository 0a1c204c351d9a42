"""What a figure says in words: alternative text for whoever cannot see it, and the caption."""

from __future__ import annotations

import base64
import io
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from edgekit.errors import EdgekitError
from edgekit.figures.style import styled

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Picture", "alt_text", "describe", "html"]


@dataclass(frozen=True, kw_only=True)
class _Words:
    alt: str
    caption: str


_WORDS: WeakKeyDictionary[Axes, _Words] = WeakKeyDictionary()


def describe(
    axes: Axes | Sequence[Axes], *, kind: str, shown: str, finding: str, caption: str = ""
) -> None:
    """Attach alternative text and a caption to every one of `axes`, which make one picture.

    `kind` is the kind of picture, `shown` what its lines and marks stand for, `finding` a sentence
    or two with the numbers that matter. The ranges of the axes are read off the axes themselves.
    """
    panels = [axes] if not isinstance(axes, Sequence) else list(axes)
    if panels[0].get_aspect() != "auto":
        with styled():  # equal scales widen the limits, and only when the layout is known
            figure = root_figure(panels[0])
            if (engine := figure.get_layout_engine()) is not None:
                engine.execute(figure)
            for ax in panels:
                ax.apply_aspect()
            figure.stale = False  # whatever is changed from here on sets it again
    ranges: list[str] = []
    for ax in panels:
        ranges += [text for text in _ranges(ax) if text not in ranges]
    alt = f"{kind}. {'; '.join(ranges)}. Shown: {shown}. {finding}"
    words = _Words(alt=" ".join(alt.split()), caption=" ".join(f"{finding} {caption}".split()))
    for ax in panels:
        _WORDS[ax] = words


def _ranges(ax: Axes) -> list[str]:
    found = []
    for name in ("x", "y", "z"):
        if not hasattr(ax, f"get_{name}lim"):
            continue
        label = getattr(ax, f"get_{name}label")()
        if label:
            low, high = sorted(getattr(ax, f"get_{name}lim")())
            found.append(f"{name} axis: {label}, {low:.3g} to {high:.3g}")
        elif ticks := [t.get_text() for t in getattr(ax, f"get_{name}ticklabels")()]:
            words = [" ".join(text.split()) for text in ticks if text]
            if words and not ax.get_shared_x_axes().get_siblings(ax)[1:]:
                found.append(f"{name} axis: {', '.join(words)}")
    return found


def alt_text(ax: Axes) -> str:
    """What a figure of this package shows, in words: kind, axes with ranges, finding with numbers.

    Parameters
    ----------
    ax : matplotlib Axes
        As returned by a function of `edgekit.figures`.

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
    return _of(ax).alt


def root_figure(ax: Axes) -> Figure:
    """The whole figure that holds `ax`, also where that lies in a part of it."""
    figure = ax.figure
    while not isinstance(figure, Figure):
        if figure is None:
            raise EdgekitError("these Axes belong to no figure", ax, "Draw them again.")
        figure = figure.figure
    return figure


def _of(ax: Axes) -> _Words:
    if ax not in _WORDS:
        raise EdgekitError(
            "these Axes carry no words", ax, "Draw with a function of edgekit.figures first."
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
        from html import escape

        data = base64.b64encode(self.png).decode("ascii")
        return (
            '<figure style="margin:0.5em 0">'
            f'<img alt="{escape(self.alt, quote=True)}" width="{self.width_px}" '
            f'style="max-width:100%;height:auto" src="data:image/png;base64,{data}">'
            f"<figcaption>{escape(self.caption)}</figcaption></figure>"
        )


def html(ax: Axes, *, dpi: float = 110.0) -> Picture:
    """The whole figure of `ax` as an image with alternative text and caption, for a notebook.

    Every other way of showing a matplotlib figure in a notebook loses its alternative text. The
    figure is closed.

    Parameters
    ----------
    ax : matplotlib Axes
        As returned by a function of `edgekit.figures`.
    dpi : float
        Pixels an inch.

    Returns
    -------
    Picture
        With ``png``, ``alt``, ``caption`` and a rich display.

    Examples
    --------
    >>> import edgekit as ek
    >>> picture = ek.figures.html(ek.figures.section(ek.patterns.universal_curette()))
    >>> "alt=" in picture._repr_html_()
    True
    """
    _of(ax)
    figure = root_figure(ax)
    words = list(dict.fromkeys(_WORDS[panel] for panel in figure.axes if panel in _WORDS))
    laid_out = not figure.stale and figure.dpi == dpi
    with styled():
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


COLOURS = 64  # enough for flat colours and smooth lettering; a third of the bytes


def _few_colours(canvas: FigureCanvasAgg) -> bytes:
    """What is drawn, as a picture with a palette, so that notebooks stay small.

    Straight from the canvas, and at the usual compression: a control redraws in half the time.
    """
    from PIL import Image

    pixels = np.asarray(canvas.buffer_rgba())  # type: ignore[no-untyped-call]
    drawn = Image.fromarray(pixels).convert("RGB")
    small = io.BytesIO()
    drawn.quantize(COLOURS, dither=Image.Dither.NONE).save(small, format="png")
    return small.getvalue()

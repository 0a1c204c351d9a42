"""One plain style for every figure, kept to a context so that nobody's own settings change.

Colours are distinguishable under the three common kinds of colour blindness (Okabe and Ito's set),
and always come with a line style or a direct label as well. Sky is too pale for a line: it only
fills, with a dark outline.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from edgekit.checks import FloatArray

BLUE, VERMILION, SKY, BLACK = "#0072B2", "#D55E00", "#56B4E9", "#000000"
GREEN, GREY = "#009E73", "#767676"  # grey: 4.5 to 1 on white
TRUE_EDGE, GROUND_EDGE = BLUE, VERMILION  # the same meaning in every figure
SERIES = ((BLUE, "-"), (VERMILION, "--"), (BLACK, "-."), (GREEN, ":"), (GREY, (0, (6, 1, 1, 1))))
SIZE_IN = (6.4, 4.0)
TITLE_LETTERS = 74  # of 10 pt that fit across 6.4 in
RC: dict[Any, Any] = {
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titlelocation": "left",
    "axes.labelsize": 9.0,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.formatter.useoffset": False,
    "lines.linewidth": 1.6,
    "figure.dpi": 110.0,
    "savefig.dpi": 110.0,
    "figure.facecolor": "white",
    "axes.facecolor": "white",
    "text.color": BLACK,
    "axes.labelcolor": BLACK,
}


@contextmanager
def styled() -> Iterator[None]:
    """Draw with the package's settings and leave the caller's alone."""
    with mpl.rc_context(RC):
        yield


def new_figure(size_in: tuple[float, float] = SIZE_IN) -> Figure:
    """A figure of notebook size, laid out so that nothing is cut off."""
    return Figure(figsize=size_in, layout="constrained")


@contextmanager
def canvas(ax: Axes | None, size_in: tuple[float, float] = SIZE_IN) -> Iterator[Axes]:
    """Yield the Axes to draw on, the caller's or a new one, with the style in force."""
    with styled():
        yield new_figure(size_in).add_subplot() if ax is None else ax


def title(ax: Axes, sentence: str, letters: int = TITLE_LETTERS) -> None:
    """Put a sentence above the picture, broken into lines that fit and are about equally long."""
    whole = sentence.replace(" µm", "\u00a0µm").replace(" mm", "\u00a0mm")
    lines = len(textwrap.wrap(whole, letters))
    while letters > 20 and len(textwrap.wrap(whole, letters - 1)) == lines:
        letters -= 1
    ax.set_title(textwrap.fill(whole, letters), loc="left", pad=8)


def signed(number: float, digits: int = 2) -> str:
    """A number with its sign, a true minus rather than a hyphen."""
    return f"{number:+.{digits}f}".replace("-", "−")


def shorten(name: str, letters: int = 24) -> str:
    """A long name over several lines."""
    return textwrap.fill(name, letters, break_on_hyphens=False)


def end_labels(
    ax: Axes, labels: Sequence[tuple[float, str, str]], *, gap: float = 0.06, x: float = 1.0
) -> None:
    """Name lines at the right edge: (height in data, text, colour), moved apart where they meet.

    `gap` is the least distance between lines of text as a share of the height of the axes. Call it
    when the limits of the axes are final.
    """
    low, high = ax.get_ylim()
    order = sorted(labels, key=lambda label: (label[0] - low) / (high - low))
    wanted = np.array([min(max((y - low) / (high - low), 0.0), 1.0) for y, _, _ in order])
    lines = np.array([1 + text.count("\n") for _, text, _ in order])
    placed = apart(wanted, gap * lines)
    for (_, text, colour), there, here in zip(order, wanted, placed, strict=True):
        ax.annotate(
            text,
            xy=(x, float(there)),
            xytext=(x + 0.025, float(here)),
            xycoords="axes fraction",
            textcoords="axes fraction",
            color=colour,
            va="center",
            ha="left",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": colour, "lw": 0.6, "shrinkA": 1, "shrinkB": 0},
        )


def apart(wanted: FloatArray, size: FloatArray) -> FloatArray:
    """Heights near the `wanted` ones, rising, each pair as far apart as their half-sizes sum to."""
    placed = np.array(wanted, dtype=float)
    for _ in range(100):  # each sweep shares a clash between the two that clash
        need = (size[1:] + size[:-1]) / 2 - np.diff(placed)
        clash = np.maximum(need, 0.0)
        if not (clash > 1e-6).any():
            break
        placed[:-1] -= clash / 2
        placed[1:] += clash / 2
    return placed

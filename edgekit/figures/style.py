"""One plain style for every figure, kept to a context so that nobody's own settings change.

Colours are distinguishable under the three common kinds of colour blindness (Okabe and Ito's set),
and always come with a line style or a direct label as well. Sky is too pale for a line: it only
fills, with a dark outline.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import cycle
from typing import Any, TypeVar

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadArgument

Item = TypeVar("Item")
Look = dict[str, Any]  # how a line or a text is drawn, as matplotlib names it

BLUE, VERMILION, SKY, BLACK = "#0072B2", "#D55E00", "#56B4E9", "#000000"
GREEN, GREY = "#009E73", "#767676"  # grey: 4.5 to 1 on white
TRUE_EDGE, GROUND_EDGE = BLUE, VERMILION  # the same meaning in every figure
SERIES = ((BLUE, "-"), (VERMILION, "--"), (BLACK, "-."), (GREEN, ":"), (GREY, (0, (6, 1, 1, 1))))
SIZE_IN = (6.4, 4.0)
SMALL = 8.5  # points, of text beside points and of legends
TITLE_LETTERS = 74  # of 10 pt that fit across 6.4 in
MAX_TITLE_LINES = 4
X_LETTERS, Y_LETTERS, LEGEND_LETTERS = 90, 50, 44  # in a line
LABEL_GAP = 0.06  # between lines of text at the right edge, as a share of the height of the axes
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


def side_by_side(widths: tuple[float, float]) -> list[Axes]:
    """Two panels with one scale of heights, their widths in proportion."""
    return [*new_figure().subplots(1, len(widths), sharey=True, width_ratios=widths)]


@contextmanager
def canvas(ax: Axes | None, size_in: tuple[float, float] = SIZE_IN) -> Iterator[Axes]:
    """Yield the Axes to draw on, the caller's or a new one, with the style in force."""
    checks.instance("ax", ax, (Axes, type(None)), "Give the Axes of a matplotlib figure.")
    with styled():
        yield new_figure(size_in).add_subplot() if ax is None else ax


def named(name: str, items: Mapping[str, object], kind: type, remedy: str) -> None:
    """Refuse anything but a mapping of names to results of a kind, with one or more in it."""
    checks.instance(name, items, Mapping, remedy)
    if not items:
        raise BadArgument(f"{name}: nothing to draw", {}, remedy, argument=name)
    for key, item in items.items():
        checks.instance(f"each name of {name}", key, str, "Give names in text.")
        checks.instance(f"{name}[{key!r}]", item, kind, remedy)


def in_series(items: Iterable[Item]) -> Iterator[tuple[Item, tuple[str, Any]]]:
    """Each item with the colour and the dashes of its line."""
    return zip(items, cycle(SERIES), strict=False)


def literal(text: str) -> str:
    """Text that matplotlib draws as it is: between two dollar signs it would read mathematics."""
    return text.replace("$", r"\$")


def spoken(text: str) -> str:
    """What `literal` was given, with every run of blanks as one."""
    return " ".join(text.replace(r"\$", "$").split())


def brief(text: str, letters: int) -> str:
    """A text of at most `letters` characters; of a longer one the middle is left out."""
    half = (letters - 3) // 2
    return text if len(text) <= letters else f"{text[:half]} … {text[-half:]}"


def shorten(name: str, letters: int = 24) -> str:
    """A long name over several lines, four at most."""
    return textwrap.fill(brief(name, 4 * letters), letters, break_on_hyphens=False)


def title(ax: Axes, sentence: str, letters: int = TITLE_LETTERS) -> None:
    """Put a sentence above the picture, broken into lines that fit and are about equally long."""
    sentence = brief(sentence, MAX_TITLE_LINES * letters)
    sentence = sentence.replace(" µm", "\u00a0µm").replace(" mm", "\u00a0mm")
    lines = len(textwrap.wrap(sentence, letters))
    while letters > 20 and len(textwrap.wrap(sentence, letters - 1)) == lines:
        letters -= 1
    ax.set_title(literal(textwrap.fill(sentence, letters)), loc="left", pad=8)


def fitted(text: str, letters: int) -> str:
    """A text ready to be drawn, each of its lines broken where it is too long."""
    return literal("\n".join(shorten(line, letters) for line in text.split("\n")))


def labels(ax: Axes, x: str, y: str = "") -> None:
    """Name the axes."""
    ax.set_xlabel(fitted(x, X_LETTERS))
    ax.set_ylabel(fitted(y, Y_LETTERS))


def legend(ax: Axes, loc: str = "beside", **options: Any) -> None:
    """Names of the lines inside the axes, or beside them at the top right."""
    place: Look = {"loc": loc}
    if loc == "beside":
        place = {"loc": "upper left", "bbox_to_anchor": (1.0, 1.03)}
    for text in ax.legend(frameon=False, fontsize=SMALL, **place, **options).get_texts():
        text.set_text(fitted(text.get_text(), LEGEND_LETTERS))


def note(
    ax: Axes,
    text: str,
    at: tuple[float, float],
    offset: tuple[float, float] = (0.0, 0.0),
    *,
    patch: float = 0.0,
    **options: Any,
) -> None:
    """Small text beside a point, `offset` in points; on a white patch with so much opacity."""
    if patch:
        options["bbox"] = {"facecolor": "white", "edgecolor": "none", "pad": 1, "alpha": patch}
    options = {"fontsize": SMALL, "textcoords": "offset points", **options}
    ax.annotate(literal(text), at, offset, **options)


def margin_note(ax: Axes, text: str, height: float, **options: Any) -> None:
    """Small text at the right of the axes, at a height in data."""
    across: Look = {"xycoords": ax.get_yaxis_transform(), "va": "center", "annotation_clip": False}
    note(ax, text, (1.0, height), (6, 0), **across, **options)


def rows(ax: Axes, names: Iterable[str], letters: int = 26) -> None:
    """Name the rows of a chart, the first on top."""
    shown = [fitted(name, letters) for name in names]
    ax.set_yticks(range(len(shown)), shown)
    ax.set_ylim(len(shown) - 0.5, -0.75)


def signed(number: float, digits: int = 2) -> str:
    """A number with its sign, a true minus rather than a hyphen."""
    return f"{number:+.{digits}f}".replace("-", "−")


def end_labels(ax: Axes, labels: Sequence[tuple[float, str, str]]) -> None:
    """Name lines at the right edge: (height in data, text, colour), moved apart where they meet.

    Call it when the limits of the axes are final.
    """
    low, high = ax.get_ylim()
    order = sorted(labels, key=lambda label: (label[0] - low) / (high - low))
    wanted = np.array([min(max((y - low) / (high - low), 0.0), 1.0) for y, _, _ in order])
    lines = np.array([1 + text.count("\n") for _, text, _ in order])
    placed = apart(wanted, LABEL_GAP * lines)
    for (_, text, colour), there, here in zip(order, wanted, placed, strict=True):
        ax.annotate(
            literal(text),
            xy=(1.0, float(there)),
            xytext=(1.025, float(here)),
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

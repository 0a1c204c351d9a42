"""Small SVG charts on axes that are given and never rescale; each carries its own words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadArgument

__all__ = ["BLUE", "GREY", "INK", "VERMILION", "Chart", "Drawn"]

# One meaning in every picture: the true or new edge is blue, what is ground or used vermilion.
BLUE, VERMILION, INK, GREY = "#0072B2", "#D55E00", "#16202a", "#5b6671"
WIDTH = 480.0  # of the view, in pixels of it; a page shows it between 330 and 620 wide
LEFT, RIGHT, TOP, BOTTOM = 72.0, 22.0, 12.0, 46.0
LETTERS = 16  # pixels high; 11 where a phone shows the whole width


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A finished picture: the drawing, its title, the text for those who do not see it, numbers.

    Attributes
    ----------
    svg : str
        The drawing, with `alt` as its accessible name.
    title : str
        The finding in a sentence, with its number.
    alt : str
        Kind, axes with their ranges, and the finding.
    numbers : mapping of str to float
        What was drawn, with the unit in each name.
    """

    svg: str
    title: str
    alt: str
    numbers: Mapping[str, float]

    def __repr__(self) -> str:
        return self.alt

    def _repr_html_(self) -> str:
        unbroken = escape(self.title).replace(" µm", "\u00a0µm").replace(" mm", "\u00a0mm")
        caption = f"<figcaption>{unbroken}</figcaption>"
        return f'<figure class="ek-figure">{caption}{self.svg}</figure>'


@dataclass(kw_only=True)
class Chart:
    """A chart with axes fixed beforehand: what lies beyond them is cut off, never squeezed in.

    Attributes
    ----------
    x, y : tuple of float
        Ends of the axes, alike for all frames of a flip book; of rows, the last end comes first.
    x_name, y_name : str
        What the axes show, each with its unit.
    rows : sequence of str
        Names of rows instead of a scale of `y`; row k lies at height k, the first on top.
    height : float
        Of the view, in pixels of it.
    """

    x: tuple[float, float]
    y: tuple[float, float]
    x_name: str
    y_name: str = ""
    rows: Sequence[str] = ()
    height: float = 300.0
    left: float = field(init=False, default=LEFT)
    marks: list[str] = field(init=False, default_factory=list)
    texts: list[str] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        for name, (low, high) in (("x", self.x), ("y", self.y)):
            checks.positive(f"length of the {name} axis", abs(high - low), "Give two ends.")
        if self.rows:
            self.left = 14.0 + 9.0 * max(map(len, self.rows))

    def across(self, x: ArrayLike) -> FloatArray:
        """Pixels from the left for values of x."""
        low, high = self.x
        share = (np.asarray(x, dtype=float) - low) / (high - low)
        return np.asarray(self.left + share * (WIDTH - self.left - RIGHT))

    def down(self, y: ArrayLike) -> FloatArray:
        """Pixels from the top for values of y."""
        low, high = self.y
        share = (np.asarray(y, dtype=float) - low) / (high - low)
        return np.asarray(self.height - BOTTOM - share * (self.height - TOP - BOTTOM))

    def line(
        self,
        x: ArrayLike,
        y: ArrayLike,
        colour: str = INK,
        *,
        width: float = 2.0,
        dashes: str = "",
        fill: str = "none",
    ) -> None:
        """A line through points; a gap where a height is not a number."""
        points, pen, parts = zip(self.across(x), self.down(y), strict=True), "M", []
        for px, py in points:
            if np.isfinite(py):
                parts.append(f"{pen}{px:.1f} {py:.1f}")
            pen = "L" if np.isfinite(py) else "M"
        dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
        self.marks.append(
            f'<path d="{"".join(parts)}" fill="{fill}" stroke="{colour}" '
            f'stroke-width="{width:g}" stroke-linejoin="round"{dashed}/>'
        )

    def steel(self, x: FloatArray, y: FloatArray) -> None:
        """Steel from a line down to the foot of the picture."""
        foot = self.y[0] - 1e-3 * abs(self.y[1] - self.y[0])
        self.line([*x, x[-1], x[0]], [*y, foot, foot], "none", fill="#e8edf2")

    def dots(self, x: ArrayLike, y: ArrayLike, colour: str = INK, *, radius: float = 3.0) -> None:
        """A dot at each point: all of them one path of round pen marks."""
        points = zip(self.across(x).ravel(), self.down(y).ravel(), strict=True)
        marks = "".join(f"M{px:.1f} {py:.1f}h0" for px, py in points)
        self.marks.append(
            f'<path d="{marks}" stroke="{colour}" stroke-width="{2 * radius:g}" '
            'stroke-linecap="round"/>'
        )

    def level(self, height: float, words: str, colour: str = INK, *, below: bool = False) -> None:
        """A dotted line across at a height, with words at its left, on it or below it."""
        self.line(self.x, [height] * 2, colour, width=1.2, dashes="2 3")
        start = self.x[0] + 0.01 * (self.x[1] - self.x[0])
        self.text(start, height, words, colour, lift=-LETTERS if below else 5)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        colour: str = INK,
        *,
        anchor: str = "start",
        lift: float = 0.0,
    ) -> None:
        """Words beside a point, `lift` pixels above it; a white halo keeps them legible."""
        px, py = float(self.across(x)), float(self.down(y)) - lift
        self.texts.append(_words(px, max(py, LETTERS), words, anchor, colour, halo=True))

    def drawn(self, *, kind: str, title: str, numbers: Mapping[str, float]) -> Drawn:
        """The finished picture, with its words."""
        bad = {name: value for name, value in numbers.items() if not np.isfinite(value)}
        if bad:
            raise BadArgument("a picture needs finite numbers", bad, "Draw what was computed.")
        ends = [f"x axis: {self.x_name}, {self.x[0]:.3g} to {self.x[1]:.3g}"]
        if self.rows:
            ends.append(f"rows: {', '.join(self.rows)}")
        else:
            ends.append(f"y axis: {self.y_name}, {self.y[0]:.3g} to {self.y[1]:.3g}")
        alt = f"{kind}. {title}. {'; '.join(ends)}."
        body = "".join([*self._frame(), self._clipped(), *self.texts])
        svg = (
            f'<svg viewBox="0 0 {WIDTH:g} {self.height:g}" role="img" aria-label="{escape(alt)}" '
            f'font-size="{LETTERS}" font-family="system-ui,sans-serif">{body}</svg>'
        )
        return Drawn(svg=svg, title=title, alt=alt, numbers=dict(numbers))

    def _clipped(self) -> str:
        """The marks within the axes: an inner svg clips without needing an id."""
        x, y, wide = self.left, TOP - 4, WIDTH - self.left - RIGHT + 4
        high = self.height - TOP - BOTTOM + 5
        view = f'x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}"'
        box = f'viewBox="{x:g} {y:g} {wide:g} {high:g}"'
        return f'<svg role="presentation" {view} {box}>{"".join(self.marks)}</svg>'

    def _frame(self) -> Iterable[str]:
        floor, right = self.height - BOTTOM, WIDTH - RIGHT
        path = f"M{self.left:g} {TOP:g}V{floor:g}H{right:g}"
        yield f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="1"/>'
        for value in _ticks(self.x):
            px = float(self.across(value))
            yield _words(px, floor + 18, _number(value), "middle", INK)
        yield _words((self.left + right) / 2, self.height - 6, self.x_name, "middle", INK)
        for row, name in enumerate(self.rows):
            yield _words(self.left - 6, float(self.down(row)) + 5, name, "end", INK)
        if not self.rows:
            for value in _ticks(self.y):
                yield _words(self.left - 6, float(self.down(value)) + 5, _number(value), "end", INK)
            centre = (TOP + floor) / 2
            turn = f'transform="rotate(-90 15 {centre:g})"'
            yield _words(15, centre, self.y_name, "middle", INK, more=turn)


def _ticks(ends: tuple[float, float]) -> list[float]:
    """Round numbers within the ends of an axis."""
    low, high = sorted(ends)
    values = MaxNLocator(5, steps=[1, 2, 5, 10]).tick_values(low, high)
    return [float(round(v, 10)) for v in values if low - 1e-9 <= v <= high + 1e-9]


def _number(value: float) -> str:
    return f"{value:g}".replace("-", "−")


def _words(
    x: float, y: float, words: str, anchor: str, colour: str, *, halo: bool = False, more: str = ""
) -> str:
    edge = ' stroke="#fff" stroke-width="4" paint-order="stroke"' if halo else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}"{edge} {more}>'
        f"{escape(words)}</text>"
    )

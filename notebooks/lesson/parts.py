"""Parts of a lesson as HTML: a question with replies, a number box, a flip book, a box, a table."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from pathlib import Path
from typing import Any, Protocol, TypeVar

import pandas as pd

from edgekit import checks
from edgekit.errors import BadArgument
from lesson.drawing import Drawn

__all__ = [
    "Html",
    "answer",
    "ask",
    "ask_number",
    "flip",
    "fold",
    "means",
    "nearest",
    "row",
    "stacked",
    "start",
    "table",
]

HERE = Path(__file__).parent
Z90 = 1.645  # standard errors either way of a mean, for 90 %
MAX_FRAMES = 9  # printed as 3 x 3
KEYS = 'data-lm-suppress-shortcuts="true"'  # else a notebook takes the arrow keys for itself
IDLE = '<p class="ek-idle">Run the notebook to answer: press the double arrow at the top.</p>'
MORE = '<p class="ek-more">The rest of the lesson opens with your answer.</p>'
# Said twice: JupyterLab takes `hidden` out of a notebook that was not run, and keeps the style.
SHUT = 'hidden style="display:none"'
RIGHT, WRONG = "✓ Right.", "✗ Not quite."
Key = TypeVar("Key", bound=Hashable)


class Showable(Protocol):
    """Anything that a notebook shows as HTML."""

    def _repr_html_(self) -> str: ...


@dataclass(frozen=True)
class Html:
    """A piece of HTML; a notebook shows it as it is."""

    text: str

    def __repr__(self) -> str:
        return "(part of a lesson: open it as a page or in a notebook)"

    def _repr_html_(self) -> str:
        return self.text


@cache
def asset(name: str) -> str:
    """The text of a file beside this module: the style sheet or the script."""
    return (HERE / name).read_text(encoding="utf-8")


def start() -> Html:
    """Style and script of all parts; show it once, first thing in a notebook."""
    script, style = asset("lesson.js"), asset("lesson.css")
    return Html(f'<style class="ek-style">{style}</style><script>{script}</script>')


def ask(
    question: str,
    options: Mapping[str, str | tuple[str, str]],
    *,
    right: str,
    then: Sequence[Showable] = (),
    gate: bool = False,
) -> Html:
    """Ask for a prediction; replies and the answer open only once an option is chosen.

    Parameters
    ----------
    question : str
        What to predict.
    options : mapping of str
        Each option and its reply: for the right one why it holds; for a wrong one a pair, the idea
        behind it in a few words and why that does not hold.
    right : str
        The right option, best computed from the library.
    then : sequence
        What answers the question, such as pictures; shut until then.
    gate : bool
        The rest of the lesson is shut too; on paper, and where no script runs, it is open.

    Returns
    -------
    Html
        A fieldset of radio buttons, a button, and the replies.

    Raises
    ------
    BadArgument
        Fewer than two options, `right` none of them, or a wrong option without its idea.

    Examples
    --------
    >>> part = ask("Half of four is", {"two": "Twice two.", "one": ("a quarter", "Half.")},
    ...            right="two")
    >>> part._repr_html_().count("hidden")
    2
    """
    if len(options) < 2:
        raise BadArgument("a question needs two options or more", list(options), "Add one.")
    if right not in options:
        raise BadArgument("right is none of the options", right, f"Give one of {list(options)}.")
    group = f"q{zlib.crc32(question.encode()):08x}"
    radios, replies = "", ""
    for k, (option, reply) in enumerate(options.items()):
        if isinstance(reply, str) is not (option == right):
            remedy = "Give a pair (idea, why not) for a wrong option, one text for the right one."
            raise BadArgument(f"options[{option!r}] has the wrong kind of reply", reply, remedy)
        idea, why = ("", reply) if isinstance(reply, str) else reply
        radio = f'<input type="radio" name="{group}" value="{k}" {KEYS}>'
        radios += f"<label>{radio} {escape(option)}</label>"
        replies += _reply(str(k), option == right, idea, why)
    body = f'<div class="ek-answer" {SHUT}>{row(*then)._repr_html_()}</div>' if then else ""
    return _form(question, radios, replies, body, gate=gate)


def ask_number(
    question: str, value: float, *, within: float, unit: str, why: str, small: str, large: str
) -> Html:
    """Ask for a number; anything within a distance of the value is right.

    Parameters
    ----------
    question : str
    value : float
        The right number, computed.
    within : float
        How far off an answer may be; say in the question how exact it must be.
    unit : str
        Of the number, shown beside the box.
    why, small, large : str
        Replies: why the value holds, and what makes people answer too little or too much.

    Raises
    ------
    BadArgument
        A number that is not finite, or a distance that is not above 0.
    """
    value = checks.finite("value", value)
    within = checks.positive("within", within)
    ends = f'data-low="{value - within!r}" data-high="{value + within!r}"'
    box = f'<input type="number" step="any" {ends} {KEYS}>'
    label = f"<label>Your number: {box} {escape(unit)}</label>"
    replies = _reply("right", True, "", why)
    replies += _reply("small", False, "too little", small)
    replies += _reply("large", False, "too much", large)
    return _form(question, label, replies, "")


def _reply(of: str, right: bool, idea: str, why: str) -> str:
    """One reply, shut: the mark, the first words and the edge differ for right and wrong."""
    kind, mark = ("ek-reply ek-right", RIGHT) if right else ("ek-reply", WRONG)
    named = f"The idea behind it: {idea}. " if idea else ""
    words = f"<strong>{mark}</strong>{escape(named + why)}"
    return f'<div class="{kind}" data-of="{of}" {SHUT}>{words}</div>'


def _together(text: str) -> str:
    """Text that does not leave three dots or a unit alone on a line."""
    return escape(text).replace(" …", "\u00a0…").replace(" µm", "\u00a0µm")


def _form(question: str, inputs: str, replies: str, answer: str, *, gate: bool = False) -> Html:
    button = f'<button type="submit" disabled {KEYS}>Show me</button>{MORE * gate}'
    fields = f"<legend>{_together(question)}</legend>{inputs}{button}{IDLE}"
    return Html(
        f'<form class="ek-ask{" ek-gate" * gate}"><fieldset>{fields}</fieldset>'
        f'<div role="status">{replies}</div>{answer}</form>'
    )


def nearest(value: float, choices: Mapping[float, str]) -> str:
    """The choice whose number lies closest to a computed value, as a ratio: the key of a question.

    Examples
    --------
    >>> nearest(0.2477, {1.0: "as high", 0.5: "half", 0.25: "a quarter"})
    'a quarter'
    """
    value = checks.positive("value", value)
    best = min(choices, key=lambda number: max(number / value, value / number))
    return choices[best]


def flip(name: str, draw: Callable[[Key], Drawn], values: Sequence[Key], *, first: int = 0) -> Html:
    """A flip book: one frame for each value, turned by a range control, printed as 3 x 3.

    Parameters
    ----------
    name : str
        What the control sets, such as ``"placements"``.
    draw : callable
        Draws one frame. Its axes must not depend on the value: a frame of other axes is refused.
    values : sequence
        At most nine, the whole range of the control.
    first : int
        Which frame is open at first.

    Raises
    ------
    BadArgument
        None or more than nine values, axes that differ, or a title that does not hold its value.
    """
    if not 1 <= len(values) <= MAX_FRAMES:
        raise BadArgument("a flip book has 1 to 9 frames", len(values), "Choose other values.")
    drawn = {str(value).replace("-", "−"): draw(value) for value in values}
    axes = {frame.alt.rsplit("x axis: ", 1)[-1] for frame in drawn.values()}
    if len(axes) > 1:
        raise BadArgument("frames have axes of their own", sorted(axes), "Fix them in draw.")
    frames = ""
    for k, (value, frame) in enumerate(drawn.items()):
        if value not in frame.title:
            raise BadArgument("a frame's title lacks its value", frame.title, f"Say {value}.")
        shut = "" if k == first else " hidden"
        frames += frame._repr_html_().replace(
            "<figure", f'<figure data-value="{escape(value)}"{shut}', 1
        )
    value, frame = list(drawn.items())[first]
    control = (
        f'<input type="range" min="0" max="{len(values) - 1}" step="1" value="{first}" '
        f'aria-valuetext="{escape(frame.title)}" autocomplete="off" {KEYS}>'
    )
    head = f"<label><span>{escape(name)}</span>{control}<output>{escape(value)}</output></label>"
    return Html(f'<div class="ek-book">{head}<div class="ek-frames">{frames}</div></div>')


def row(*parts: Showable) -> Html:
    """Pictures side by side where there is room, and on paper; one below the other on a phone."""
    return Html(f'<div class="ek-row">{"".join(part._repr_html_() for part in parts)}</div>')


def fold(summary: str, part: Showable) -> Html:
    """Something folded away under a line of text; open in a teacher's copy."""
    inner = part._repr_html_()
    return Html(f'<details class="ek-fold"><summary>{escape(summary)}</summary>{inner}</details>')


def answer(*sentences: str) -> Html:
    """The answer in a box, for the end of "See"; the first sentence in bold."""
    first, *rest = (escape(text) for text in sentences)
    return Html(f'<div class="ek-box"><p><b>{first}</b> {" ".join(rest)}</p></div>')


def table(
    frame: pd.DataFrame, columns: Mapping[str, str], *, caption: str, digits: int | None = None
) -> Html:
    """A table in bench words: the columns named, in order, with their headings; no row numbers.

    Parameters
    ----------
    frame : DataFrame
    columns : mapping of str to str
        Columns to show and their headings, with units.
    caption : str
        What the table says.
    digits : int, optional
        Decimals of numbers that are not whole; else as they are.
    """
    missing = [column for column in columns if column not in frame]
    if missing:
        raise BadArgument("no such column", missing, f"Choose from {list(frame.columns)}.")
    types = pd.api.types
    numeric = {
        c: types.is_numeric_dtype(frame[c]) or types.is_datetime64_any_dtype(frame[c])
        for c in columns
    }
    head = "".join(
        f'<th scope="col"{_numeric(numeric[c])}>{escape(name)}</th>' for c, name in columns.items()
    )
    rows = "".join(
        "<tr>"
        + "".join(f"<td{_numeric(numeric[c])}>{_cell(row[c], digits)}</td>" for c in columns)
        + "</tr>"
        for row in frame.to_dict("records")
    )
    words = f"<caption><span>{escape(caption)}</span></caption><thead><tr>{head}</tr></thead>"
    inner = f"<table>{words}<tbody>{rows}</tbody></table>"
    scroll = f'role="region" aria-label="{escape(caption)}" tabindex="0"'
    return Html(f'<div class="ek-table" {scroll}>{inner}</div>')


def stacked(*frames: pd.DataFrame) -> pd.DataFrame:
    """Tables one below the other, with row numbers of their own."""
    return pd.concat(frames, ignore_index=True)


def means(frame: pd.DataFrame, *, by: tuple[str, str], column: str) -> pd.DataFrame:
    """Means with their 90 % intervals as text, a row for each value of one column and a column for
    each of another.

    Parameters
    ----------
    frame : DataFrame
        A line for each life.
    by : pair of str
        The column whose values make rows, and the one whose values make columns.
    column : str
        What to take the mean of; ± is from the number of lives alone.

    Examples
    --------
    >>> lives = pd.DataFrame({"way": ["a", "a"], "use": [15, 15], "loss": [4.0, 6.0]})
    >>> means(lives, by=("way", "use"), column="loss")[15].tolist()
    ['5.0 ± 1.6']
    """
    rows, columns = by

    def words(lives: pd.Series) -> str:
        return f"{lives.mean():.1f} ± {Z90 * float(lives.std()) / len(lives) ** 0.5:.1f}"

    found = frame.pivot_table(index=rows, columns=columns, values=column, aggfunc=words, sort=False)
    return found.reset_index()


def _numeric(yes: bool) -> str:
    return ' class="ek-num"' if yes else ""


def _cell(value: Any, digits: int | None) -> str:
    if value is None or value != value:  # noqa: PLR0124 - nothing else is unequal to itself
        return "–"
    if isinstance(value, float):
        value = f"{value:g}" if digits is None else f"{value:.{digits}f}"
    elif isinstance(value, pd.Timestamp):
        value = value.date().isoformat()
    return escape(str(value)).replace("-", "−") if str(value)[:1] == "-" else escape(str(value))

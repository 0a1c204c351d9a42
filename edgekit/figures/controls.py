"""Controls for lessons: a prediction to make before the picture, and a dial that redraws one.

They need ipywidgets (extra ``notebooks``) and a running kernel; a lesson prints what they show as
well, since a saved control shows nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from edgekit.display import escaped
from edgekit.errors import EdgekitError

if TYPE_CHECKING:
    from ipywidgets import VBox

__all__ = ["dial", "predict"]


def predict(question: str, replies: Mapping[str, str]) -> VBox:
    """Ask for a prediction; the reply to it opens only once one is chosen.

    Parameters
    ----------
    question : str
        What to predict.
    replies : mapping of str to str
        Each option and the reply to it, which says why it tempts or why it holds.
    """
    import ipywidgets as widgets

    if len(replies) < 2:
        raise EdgekitError("a prediction needs two options or more", list(replies), "Add one.")
    choice = widgets.RadioButtons(
        options=list(replies), index=None, layout={"width": "max-content"}
    )
    button = widgets.Button(description="Show me", disabled=True)
    reply = widgets.HTML()

    def chosen(_: object) -> None:
        button.disabled = choice.index is None

    def shown(_: object) -> None:
        reply.value = f"<p role='status'>{escaped(replies[choice.value])}</p>"

    choice.observe(chosen, names="index")
    button.on_click(shown)
    return widgets.VBox([widgets.HTML(f"<b>{escaped(question)}</b>"), choice, button, reply])


def dial(draw: Callable[[Any], object], label: str, values: Sequence[Any]) -> VBox:
    """A row of buttons that redraws: `draw` is called with a value and returns what to show.

    Buttons, not a slider: they have names that a screen reader can say.
    """
    import ipywidgets as widgets
    from IPython.display import display

    if not len(values):
        raise EdgekitError("a dial needs a value", list(values), "Give one or more.")
    buttons = widgets.ToggleButtons(options=list(values), description=label)
    view = widgets.Output()

    def redraw(_: object) -> None:
        with view:
            view.clear_output(wait=True)
            display(draw(buttons.value))  # type: ignore[no-untyped-call]

    buttons.observe(redraw, names="value")
    redraw(None)
    return widgets.VBox([buttons, view])

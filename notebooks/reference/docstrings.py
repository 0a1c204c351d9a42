"""From a docstring in numpydoc's form to the text of a page."""

from __future__ import annotations

import ast
import dataclasses
import enum
import inspect
import re
import textwrap
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

from .names import Name, by_identity, resolve

if TYPE_CHECKING:
    from numpydoc.docscrape import NumpyDocString

LISTS = ("Parameters", "Attributes", "Returns", "Raises")
WORD = re.compile(r"(?<![\w.`])((?:ek\.)?(?:[a-z]+\.)?[A-Z]\w+(?:\.[A-Z]\w+)?)(?![\w`])")
DOTTED = re.compile(r"[A-Za-z_][\w.]*")
TICKED = re.compile(r"(?<!`)`([^`\n]+)`(?!`)")
THEORY = re.compile(r"\btheory (T\d+(?:(?:, | and | to |-)T\d+)*)")
SPOKEN = {
    "FloatArray": "array",
    "NDArray[np.float64]": "array",
    "NDArray[np.bool_]": "array of bool",
    "NDArray[np.int_]": "array of int",
    "pd.DataFrame": "DataFrame",
    "pd.Series": "Series",
    "Callable[..., object]": "callable",
}


def parsed(thing: object) -> NumpyDocString:
    """The sections of a docstring."""
    from numpydoc.docscrape import NumpyDocString

    return NumpyDocString(inspect.getdoc(thing) or "")


def summary(thing: object) -> str:
    """The first sentence of a docstring, on one line."""
    first = " ".join((inspect.getdoc(thing) or "").split("\n\n")[0].split())
    return re.split(r"(?<=\.)\s(?=[A-Z`])", first)[0]


def body(name: Name, thing: object, own: Iterable[str] = ()) -> list[str]:
    """The docstring as lines of reStructuredText: text, lists, notes and examples."""
    doc = parsed(thing)
    mark = marker({*own, *arguments(thing)}, name)
    lines = mark([*doc["Summary"], "", *doc["Extended Summary"], ""])
    for heading in LISTS:
        if doc[heading]:
            lines += [f".. rubric:: {heading}", ""]
            for item in doc[heading]:
                lines += entry(item.name, item.type, mark(item.desc), name)
            lines.append("")
    for heading in ("Notes", "References"):
        if doc[heading]:
            lines += [f".. rubric:: {heading}", "", *mark(doc[heading]), ""]
    if doc["Examples"]:
        lines += [".. rubric:: Example", "", *examples(doc["Examples"], mark), ""]
    return lines


def entry(name: str, kind: str, desc: list[str], near: Name) -> list[str]:
    """One item of a definition list: a name, its type with links, what it means."""
    shown = ", ".join(f"**{part}**" for part in name.split(", ")) if name else ""
    typed = types(kind, near)
    term = " : ".join(part for part in (shown, typed) if part)
    text = [line for line in desc if line.strip()] or [".."]
    return [term, *(f"   {line}" for line in text)]


def types(text: str, near: Name | None = None) -> str:
    """The words of a type, those of public names ticked so that they become links."""

    def tick(match: re.Match[str]) -> str:
        word = public(match[1], near)
        return f"\\ `{word}`\\ " if word else match[1]

    for long, short in SPOKEN.items():
        text = text.replace(long, short)
    parts = re.split(r"(``[^`]*``|`[^`]*`)", text)
    return "".join(part if "`" in part else WORD.sub(tick, part) for part in parts)


def public(word: str, near: Name | None) -> str:
    """How a public thing is written so that it is found from anywhere; empty for other words."""
    found = resolve(word, near)
    if found is None or found == resolve(word):
        return word if found else ""
    return ".".join(filter(None, ("ek", found[0].dotted, found[1])))


def marker(own: set[str], near: Name) -> Callable[[list[str]], list[str]]:
    """How ticked words are written: own arguments as such, names in full where they need it."""

    def write(match: re.Match[str]) -> str:
        if match[1] in own or match[1].split(".")[0] in own:
            return f":own:`{match[1]}`"
        word = public(match[1], near)
        return f"`{word}`" if word else match[0]

    def cite(match: re.Match[str]) -> str:
        return "theory " + re.sub(r"T(\d+)", r":ref:`T\1 <t\1>`", match[1])

    def mark(lines: list[str]) -> list[str]:
        parts = re.split(r"(``[^`]+``|`[^`\n]+`)", "\n".join(lines))
        for number, part in enumerate(parts):
            parts[number] = TICKED.sub(write, part) if "`" in part else part.replace("|", "\\|")
        return THEORY.sub(cite, "".join(parts)).split("\n")

    return mark


def examples(lines: list[str], mark: Callable[[list[str]], list[str]]) -> list[str]:
    """Examples as they stand; words between them are marked."""
    return [line if line.startswith((">>>", "...", " ")) else mark([line])[0] for line in lines]


def arguments(thing: object) -> set[str]:
    """Names that a docstring may use for its own: arguments, or fields of a record."""
    if inspect.isclass(thing):
        return set(getattr(thing, "__annotations__", {})) | {f.name for f in fields(thing)}
    if inspect.isfunction(thing):
        return set(inspect.signature(thing).parameters)
    return set()


def types_of(function: Any, near: Name) -> list[str]:
    """Types of a method's arguments and of what it returns, unless its docstring lists them."""
    doc = parsed(function)
    if doc["Parameters"] or doc["Returns"]:
        return []
    tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
    assert isinstance(tree, ast.FunctionDef)
    given = [*tree.args.posonlyargs, *tree.args.args, *tree.args.kwonlyargs]
    notes = [
        f":own:`{item.arg}`: {types(ast.unparse(item.annotation), near)}"
        for item in given
        if item.annotation
    ]
    back = types(ast.unparse(tree.returns), near) if tree.returns else "None"
    notes += [f"returns {back}"] if notes and back != "None" else []
    if not notes and back != "None":
        notes = [back]
    return [".. rst-class:: types", "", "; ".join(notes), ""] if notes else []


def fields(kind: Any) -> tuple[dataclasses.Field[Any], ...]:
    """Public fields of a record."""
    if not dataclasses.is_dataclass(kind):
        return ()
    return tuple(item for item in dataclasses.fields(kind) if not item.name.startswith("_"))


def signature(name: Name) -> str:
    """Arguments without their types, which stand below, and defaults as the source writes them."""
    thing: Any = name.thing
    if inspect.isfunction(thing):
        return call(thing)
    if name.is_enum or name.is_protocol or parsed(thing)["Attributes"]:
        return ""  # not made by users
    if not fields(thing):
        return ""
    parts = [f"{item.name}{default(item)}" for item in fields(thing) if item.init]
    return f"(*, {', '.join(parts)})"


def call(function: Callable[..., object]) -> str:
    """Arguments of a function, from its source."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
    assert isinstance(tree, ast.FunctionDef)
    given = tree.args
    for argument in (*given.posonlyargs, *given.args, *given.kwonlyargs):
        argument.annotation = None
    for rest in (given.vararg, given.kwarg):
        if rest is not None:
            rest.annotation = None
    if given.args and given.args[0].arg in ("self", "cls"):
        del given.args[0]
    return f"({ast.unparse(given)})"


def default(item: dataclasses.Field[Any]) -> str:
    """The default of a field, as one would write it."""
    if item.default_factory is not dataclasses.MISSING:
        known = by_identity().get(id(item.default_factory))
        factory = known.dotted if known else getattr(item.default_factory, "__name__", "")
        return f"={factory}()" if factory.replace(".", "").isidentifier() else "=..."
    value = item.default
    if value is dataclasses.MISSING:
        return ""
    if isinstance(value, enum.Enum):
        return f"={type(value).__name__}.{value.name}"
    return f"={value:.6g}" if isinstance(value, float) else f"={value!r}"


def plain(text: str) -> str:
    """Text in which no character means anything to reStructuredText."""
    return re.sub(r"([\\`*_|])", r"\\\1", text)


def statuses() -> list[str]:
    """Statuses of the evidence table, the best supported first."""
    from edgekit.evidence_table import Status

    return [status.value for status in Status]

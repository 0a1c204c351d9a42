"""Write the pages' sources: one for each public name, then those that list them."""

from __future__ import annotations

import ast
import enum
import importlib
import inspect
import re
import shutil
import textwrap
from collections.abc import Iterator
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import edgekit as ek

from . import docstrings, gallery, theory
from .names import GROUND, Name, names, resolve, rooms, spaces

HERE = Path(__file__).parent
WRITTEN = ("index.md", "questions.md", "own.md", "glossary.md")  # by hand, beside this file
ROW = re.compile(r"^\| ([^|]+) \| ([^|]+) \|$", re.MULTILINE)
TICKED = re.compile(r"`([^`]+)`")
GROUND_TITLE = "What every room stands on: errors, the evidence table, cautions, tables."


def write_sources(folder: Path, drawings: dict[str, gallery.Drawing]) -> None:
    """Write the source of every page into a folder."""
    for file in WRITTEN:
        shutil.copy(HERE / file, folder / file)
    (folder / "cautions.txt").write_text(str(ek.cautions()), encoding="utf-8")
    texts = {"gallery.rst": gallery.page(drawings), "theory.md": theory.page()}
    texts |= {"names.rst": contents(), "evidence.rst": evidence(), "namespaces.rst": namespaces()}
    texts |= {f"room/{room}.rst": room_page(room) for room in all_rooms()}
    texts |= {f"{name.page}.rst": name_page(name, drawings) for name in names()}
    for file, text in texts.items():
        path = folder / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


def heading(text: str, line: str = "=") -> list[str]:
    """A heading and its rule."""
    return [text, line * max(len(text), 3), ""]


def indented(lines: list[str]) -> list[str]:
    """Lines inside a directive."""
    return [f"   {line}" if line else "" for line in lines]


def name_page(name: Name, drawings: dict[str, gallery.Drawing]) -> str:
    """The page of one public name."""
    lines = [":orphan:", "", *heading(f"ek.{name.dotted}")]
    lines += [f":doc:`/room/{name.room}`", "", *asked(name)]
    if name.kind == "value":
        lines += value(name)
    else:
        what = "function" if name.kind == "function" else "class"
        lines += [f".. py:{what}:: ek.{name.dotted}{docstrings.signature(name)}", ""]
        lines += indented(text_of(name, drawings))
    lines += relations(name)
    return "\n".join(lines) + "\n"


def asked(name: Name) -> list[str]:
    """The questions that a name answers."""
    found = [
        question
        for question, answer in questions().items()
        if name in [known for known, _ in filter(None, map(resolve, TICKED.findall(answer)))]
    ]
    return [line for question in found for line in (f"*{question}*", "")]


@cache
def questions() -> dict[str, str]:
    """Questions and answers of the page of questions, as they are written."""
    text = (HERE / "questions.md").read_text(encoding="utf-8")
    return {asked.strip(): answer for asked, answer in ROW.findall(text) if "`" in answer}


def text_of(name: Name, drawings: dict[str, gallery.Drawing]) -> list[str]:
    """Docstring, picture and members of one function or class."""
    own = public_members(name.thing) if name.kind == "type" else {}
    lines = docstrings.body(name, name.thing, own)
    if name.dotted in drawings:
        lines += drawings[name.dotted].image()
    if name.is_enum:
        return lines + choices(name)
    if name.kind == "type":
        lines += undocumented_fields(name) + described(name, own)
    return lines


def choices(name: Name) -> list[str]:
    """The members of an enum, each with the words it stands for, or what the source says of it."""
    assert isinstance(name.thing, enum.EnumType)
    lines = [".. rubric:: Choices", ""]
    said = dict(
        re.findall(r"^    (\w+) = .*?  # (.+)$", inspect.getsource(name.thing), re.MULTILINE)
    )
    for member in name.thing:
        words = member.value if isinstance(member.value, str) else said.get(member.name, "")
        lines += [f".. py:attribute:: {member.name}", "", f"   {words}", ""]
    return lines


def undocumented_fields(name: Name) -> list[str]:
    """Fields that the docstring does not list, with their types."""
    doc = docstrings.parsed(name.thing)
    told = {
        part
        for heading in ("Parameters", "Attributes")
        for item in doc[heading]
        for part in item.name.split(", ")
    }
    left = {key: said for key, said in field_sources(name.thing).items() if key not in told}
    if not left:
        return []
    lines = [".. rubric:: Fields", ""]
    for key, (note, comment) in left.items():
        lines += docstrings.entry(key, note, [comment], name)
    return [*lines, ""]


def field_sources(kind: Any) -> dict[str, tuple[str, str]]:
    """Type of each public field, and what the source says behind it, by name."""
    found: dict[str, tuple[str, str]] = {}
    wanted = {item.name for item in docstrings.fields(kind)} | set(getattr(kind, "_fields", ()))
    for base in reversed(inspect.getmro(kind)):
        if not base.__module__.startswith("edgekit."):
            continue
        text = textwrap.dedent(inspect.getsource(base))
        for node in ast.parse(text).body[0].body:  # type: ignore[attr-defined]
            if isinstance(node, ast.AnnAssign) and ast.unparse(node.target) in wanted:
                comment = text.split("\n")[node.end_lineno - 1].partition("  # ")[2]
                found[ast.unparse(node.target)] = ast.unparse(node.annotation), comment
    return found


def public_members(kind: object) -> dict[str, object]:
    """Properties and methods of a class of ours, those it inherits from ours included."""
    found: dict[str, object] = {}
    for base in reversed(inspect.getmro(kind)):  # type: ignore[arg-type]
        if base.__module__.startswith("edgekit."):
            found |= {
                key: thing
                for key, thing in vars(base).items()
                if not key.startswith("_") and callable_or_property(thing)
            }
    return found


def callable_or_property(thing: object) -> bool:
    """Whether a member of a class is a method or a property with words of its own."""
    if isinstance(thing, enum.Enum):
        return False
    kinds = (property, cached_property, classmethod, staticmethod)
    return isinstance(thing, kinds) or inspect.isfunction(thing)


def described(name: Name, own: dict[str, object]) -> list[str]:
    """Properties and methods with their docstrings, but those that only point at the class."""
    lines: list[str] = []
    for key, thing in own.items():
        target: Any = thing
        if isinstance(thing, property):
            target = thing.fget
        elif isinstance(thing, cached_property):
            target = thing.func
        elif isinstance(thing, classmethod | staticmethod):
            target = thing.__func__
        doc = inspect.getdoc(target) or ""
        if not doc or doc.endswith("see the class."):
            continue
        what, args = "method", docstrings.call(target)
        if isinstance(thing, property | cached_property):
            what, args = "property", ""
        lines += [f".. py:{what}:: {key}{args}", ""]
        if isinstance(thing, classmethod):
            lines.insert(-1, "   :classmethod:")
        lines += indented(docstrings.body(name, target, (*own, *docstrings.arguments(name.thing))))
        lines += indented(docstrings.types_of(target, name))
        lines.append("")
    return [".. rubric:: Properties and methods", "", *lines] if lines else []


def value(name: Name) -> list[str]:
    """A constant or a union of types: how its module defines it, and what it says of it."""
    tree = ast.parse(inspect.getsource(importlib.import_module(name.module)))
    last = name.dotted.rpartition(".")[2]
    shown = repr(name.thing)
    for node in tree.body:
        target = getattr(node, "target", None) or (getattr(node, "targets", None) or [None])[0]
        if isinstance(target, ast.Name) and target.id == last:
            shown = ast.unparse(node.value)  # type: ignore[attr-defined]
    text = VALUES.get(name.dotted, summary_of_value(name.thing))
    linked = docstrings.types(shown, name)
    lines = [f".. py:data:: ek.{name.dotted}", "", f"   {text}", ""]
    return [*lines, "   .. rubric:: Value", "", f"   {linked}", ""]


def summary_of_value(thing: object) -> str:
    """What the class of a constant says."""
    return docstrings.summary(type(thing))


VALUES = {
    "RESULTS": "The version of the model's results: it moves when any result does, and a sweep's "
    "folder begun under another one is refused.",
    "Section": "The cross-section of a blade, of one of three kinds.",
    "retire.DEFAULT_RULES": "The rules that end a life when none are given.",
}


def relations(name: Name) -> list[str]:
    """Other names, what makes it and what takes it."""
    lines: list[str] = []
    if name.also:
        also = ", ".join(f"``ek.{other}``" for other in name.also)
        lines += [f"Also {also}.", ""]
    if name.kind != "type":
        return lines
    if name.is_protocol:
        lines += offered(name)
    for words, found in (("Returned by", returning(name)), ("Taken by", taking(name))):
        if found:
            lines += [f"{words} {', '.join(f'`ek.{other.dotted}`' for other in found)}.", ""]
    return lines


def offered(name: Name) -> list[str]:
    """What has all that a protocol asks for, and what checks it."""
    kinds = [
        other
        for other in names()
        if other.kind == "type" and not other.is_protocol and not other.is_enum
        if all(gives(other.thing, key, asked) for key, asked in asks(name.thing).items())
    ]
    checking = [other for other in taking(name) if other.space == "testing"]
    lines = [".. rubric:: Conformance check", ""]
    if checking:
        lines += [f"`ek.{checking[0].dotted}` says whether an object of yours does what is asked."]
    else:
        lines += ["There is none."]
    lines.append("")
    if kinds:
        lines += [f"The package offers {', '.join(f'`ek.{kind.dotted}`' for kind in kinds)}.", ""]
    return lines


def asks(protocol: object) -> dict[str, object]:
    """What a protocol asks for: its methods, calling it included, and its properties."""
    call = {key: thing for key, thing in vars(protocol).items() if key == "__call__"}
    return public_members(protocol) | call


def gives(kind: Any, key: str, asked: object) -> bool:
    """Whether a class has what is asked for: a method of the same arguments, or a value."""
    if inspect.isfunction(asked):
        own = getattr(kind, key, None) if key in dir(kind) else None
        return inspect.isfunction(own) and docstrings.call(own) == docstrings.call(asked)
    return key in dir(kind) or key in {item.name for item in docstrings.fields(kind)}


def mentioned(annotation: object, near: Name) -> set[str]:
    """Dotted names of the public types in an annotation."""
    text = annotation if isinstance(annotation, str) else inspect.formatannotation(annotation)
    found = (resolve(word, near) for word in docstrings.DOTTED.findall(text))
    return {name.dotted for name, _ in filter(None, found)}


@cache
def notes(name: Name) -> tuple[frozenset[str], frozenset[str]]:
    """Public types that a function takes, and those that it returns."""
    given = inspect.signature(name.thing)  # type: ignore[arg-type]
    taken = [mentioned(item.annotation, name) for item in given.parameters.values()]
    back = mentioned(given.return_annotation, name)
    return frozenset().union(*taken), frozenset(back)


def functions() -> Iterator[Name]:
    """Public functions."""
    return (name for name in names() if name.kind == "function")


def taking(name: Name) -> list[Name]:
    """Functions that take one of these."""
    return [other for other in functions() if name.dotted in notes(other)[0]]


def returning(name: Name) -> list[Name]:
    """Functions that return one of these."""
    return [other for other in functions() if name.dotted in notes(other)[1]]


def all_rooms() -> list[str]:
    """Rooms that hold public names, from blades to figures, the ground last."""
    held = {name.room for name in names()}
    return [room for room in (*rooms(), GROUND) if room in held]


def room_title(room: str) -> str:
    """What the room's own docstring says it is."""
    if room == GROUND:
        return GROUND_TITLE
    return docstrings.summary(importlib.import_module(f"edgekit.{room}"))


def listed(found: list[Name]) -> list[str]:
    """A list of names, each with its first sentence."""
    lines: list[str] = []
    for name in found:
        mark = docstrings.marker(docstrings.arguments(name.thing), name)
        text = docstrings.summary(name.thing) if name.kind != "value" else VALUES.get(name.dotted)
        words = mark([text or summary_of_value(name.thing)])[0]
        lines += [f"`ek.{name.dotted}`", f"   {words}", ""]
    return lines


def room_page(room: str) -> str:
    """The page of a room: what is in it, functions first."""
    found = [name for name in names() if name.room == room]
    title, rest = re.fullmatch(r"([^:;.]+)[:;.]\s*(.*)", room_title(room)).groups()
    lines = [*heading(title), rest[:1].upper() + rest[1:], ""]
    kinds = {"function": "Functions", "type": "Results, records and choices", "value": "Values"}
    for kind, words in kinds.items():
        part = [name for name in found if name.kind == kind]
        if part:
            lines += [*heading(words, "-"), *listed(part)]
    return "\n".join(lines) + "\n"


def contents() -> str:
    """The page of all names by room."""
    lines = [*heading("Every name"), "By subject, from the blade to the clinic.", ""]
    for room in all_rooms():
        found = [name for name in names() if name.room == room]
        shown = ", ".join(f"`ek.{name.dotted}`" for name in found)
        lines += [f":doc:`/room/{room}`", f"   {shown}", ""]
    lines += ["What each namespace shows is listed in :doc:`/namespaces`.", ""]
    lines += [".. toctree::", "   :hidden:", "", *(f"   /room/{room}" for room in all_rooms())]
    return "\n".join([*lines, "   /namespaces", ""])


def namespaces() -> str:
    """What `ek` and each namespace show."""
    lines = [*heading("Namespaces"), "What ``dir`` shows, and so what editors offer first.", ""]
    for space, package in {"": ek, **spaces()}.items():
        lines += heading(f"ek.{space}".rstrip("."), "-")
        lines += [docstrings.summary(package), ""]
        shown = (f"ek.{space}.{name}".replace("..", ".") for name in dir(package))
        lines += [", ".join(f"`{name}`" for name in shown), ""]
    return "\n".join(lines)


def evidence() -> str:
    """The evidence table, by status."""
    table = ek.evidence()
    lines = [*heading("Evidence"), docstrings.summary(ek.evidence), ""]
    lines += ["`ek.evidence` gives it as a DataFrame. To find the lines that use a number, search "]
    lines += ["``edgekit/`` for its name.", ""]
    for status in docstrings.statuses():
        part = table[table["status"] == status]
        lines += heading(f"{status.capitalize()} ({len(part)})", "-")
        lines += [".. list-table::", "   :class: evidence", "   :header-rows: 1", ""]
        lines += ["   * - Name", "     - Value", "     - Spread", "     - Source"]
        for row in part.itertuples():
            unit = {"1": "", "deg": "°"}.get(row.unit, f" {row.unit}")
            lines += [f"   * - ``{row.name}``", f"     - {row.value:g}{unit}"]
            lines += [f"     - {row.spread}", f"     - {row.source}"]
        lines.append("")
    return "\n".join(lines)

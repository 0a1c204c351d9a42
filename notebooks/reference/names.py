"""Every public name with its page, read from the package's stubs and namespaces."""

from __future__ import annotations

import enum
import importlib
import importlib.util
import inspect
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import ModuleType

import edgekit as ek
from edgekit.lazy import stub_names

ROOT = Path(__file__).parents[2]
GROUND = "ground"  # modules that lie in no room


@dataclass(frozen=True, kw_only=True)
class Name:
    """One public thing: its first dotted name after ``ek.``, and where it lives."""

    dotted: str
    thing: object
    module: str
    also: tuple[str, ...] = ()  # other names that it has

    @property
    def kind(self) -> str:
        """``type``, ``function`` or ``value``; the folder of its page."""
        if inspect.isclass(self.thing):
            return "type"
        return "function" if inspect.isfunction(self.thing) else "value"

    @property
    def page(self) -> str:
        """The page's name; kinds lie apart since some file systems ignore capitals."""
        return f"{self.kind}/{self.dotted.replace('.', '-')}"

    @property
    def room(self) -> str:
        """The folder of the package that it lives in."""
        parts = self.module.split(".")
        return parts[1] if len(parts) > 1 and parts[1] in rooms() else GROUND

    @property
    def space(self) -> str:
        """The namespace in its first name; empty for `ek` itself."""
        return self.dotted.rpartition(".")[0]

    @property
    def is_protocol(self) -> bool:
        """Whether users may write one of these."""
        return bool(getattr(self.thing, "_is_protocol", False))

    @property
    def is_enum(self) -> bool:
        """Whether it is a closed set of choices."""
        return inspect.isclass(self.thing) and issubclass(self.thing, enum.Enum)


@cache
def rooms() -> tuple[str, ...]:
    """Rooms of the package from blades to figures, as the map of rooms lists them."""
    spec = importlib.util.spec_from_file_location("room_map", ROOT / ".ci" / "room_map.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return tuple(reversed(module.ROOMS))


@cache
def spaces() -> dict[str, ModuleType]:
    """Namespaces of `ek`, by name."""
    listed = {name: home(ek, *where) for name, where in stub_names(ek.__file__)[0].items()}
    return {name: thing for name, thing in listed.items() if inspect.ismodule(thing)}


def home(package: ModuleType, module: str, there: str) -> object:
    """What a stub's import brings in, whatever else bears the name."""
    if module == package.__name__:
        return importlib.import_module(f"{module}.{there}")
    place = importlib.import_module(module)
    if not hasattr(place, there):
        return importlib.import_module(f"{module}.{there}")
    return getattr(place, there)


def members(package: ModuleType) -> Iterator[tuple[str, str, object]]:
    """Names of `ek` or of a namespace, with the module of each and what it is."""
    homes: dict[str, tuple[str, str]] = {}
    if Path(str(package.__file__)).with_suffix(".pyi").exists():
        homes = stub_names(str(package.__file__))[0]
    for name in sorted({*homes, *dir(package)}):
        if name in homes:
            yield name, homes[name][0], home(package, *homes[name])
        elif not name.startswith("__"):
            thing = getattr(package, name)
            yield name, getattr(thing, "__module__", package.__name__), thing


@cache
def names() -> tuple[Name, ...]:
    """Every public thing once, by dotted name."""
    found: dict[int, Name] = {}
    for space, package in {"": ek, **spaces()}.items():
        for name, module, thing in members(package):
            if inspect.ismodule(thing):
                continue
            dotted = f"{space}.{name}".lstrip(".")
            known = found.get(id(thing))
            also = (*known.also, dotted) if known else ()
            first = known.dotted if known else dotted
            place = known.module if known else module
            found[id(thing)] = Name(dotted=first, thing=thing, module=place, also=also)
    return tuple(sorted(found.values(), key=lambda name: name.dotted.lower()))


@cache
def lookup() -> dict[str, Name]:
    """Names by every dotted path that text may use for them."""
    paths: dict[str, Name] = {}
    for name in names():
        for dotted in (name.dotted, *name.also):
            paths |= {dotted: name, f"ek.{dotted}": name, f"edgekit.{dotted}": name}
        if inspect.isclass(name.thing) or inspect.isfunction(name.thing):
            paths[f"{name.thing.__module__}.{name.thing.__qualname__}"] = name
    return paths


def resolve(text: str, near: Name | None = None) -> tuple[Name, str] | None:
    """The public thing that a word of the text means, and which member of it, if any.

    `near` is the name in whose docstring the text stands: what its module calls so comes first.
    """
    path = text.partition("(")[0].lstrip("~")
    if near is not None:
        thing = getattr(sys.modules.get(near.module), path, None)
        if (name := by_identity().get(id(thing))) is not None:
            return name, ""
    if path in lookup():
        return lookup()[path], ""
    owner, _, member = path.rpartition(".")
    found = resolve(owner, near) if owner else None
    if found is not None and found[0].kind == "type" and has_member(found[0].thing, member):
        return found[0], member
    return None


@cache
def by_identity() -> dict[int, Name]:
    """Names by the things that they name."""
    return {id(name.thing): name for name in names()}


def has_member(kind: object, member: str) -> bool:
    """Whether instances of a class have this field, property or method."""
    return hasattr(kind, member) or member in getattr(kind, "__annotations__", {})


def figures() -> tuple[Name, ...]:
    """Functions that draw: public ones of `ek.figures` that return Axes."""
    from edgekit.clinic.sheet.writing import sheet  # a page, not a picture
    from edgekit.figures.words import alt_text, picture

    helpers = (alt_text, picture, sheet)
    return tuple(
        name
        for name in names()
        if name.space == "figures" and name.kind == "function" and name.thing not in helpers
    )

"""Load the names of a package when first used; its stub is the one list of them (SPEC 1)."""

import ast
import importlib
from collections.abc import Callable
from pathlib import Path

__all__ = ["attach", "shown", "stub_names"]


def stub_names(file: str) -> tuple[dict[str, tuple[str, str]], list[str]]:
    """What the stub beside `file` imports: name to (module, name there); and its ``__all__``."""
    tree = ast.parse(Path(file).with_suffix(".pyi").read_text(encoding="utf-8"))
    homes: dict[str, tuple[str, str]] = {}
    listed: list[str] = []
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and node.module:
            homes |= {alias.asname or alias.name: (node.module, alias.name) for alias in node.names}
        elif isinstance(node, ast.Assign):
            listed = list(ast.literal_eval(node.value))
    return homes, listed


def attach(
    package: str, file: str, renamed: dict[str, str] | None = None
) -> tuple[Callable[[str], object], Callable[[], list[str]], list[str]]:
    """``__getattr__``, ``__dir__`` and ``__all__`` of a package, from the stub beside its file."""
    homes, listed = stub_names(file)
    renamed = renamed or {}

    def getattr_(name: str) -> object:
        if name in renamed:
            raise AttributeError(f"{package}.{name} is now {package}.{renamed[name]}. Use it.")
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        module, there = homes[name]
        if module == package:
            found: object = importlib.import_module(f"{module}.{there}")
        else:
            home = importlib.import_module(module)
            if not hasattr(home, there):  # a module of a room that was not imported yet
                importlib.import_module(f"{module}.{there}")
            found = getattr(home, there)
        return importlib.import_module(package).__dict__.setdefault(name, found)

    return getattr_, lambda: sorted(listed), list(listed)


def shown(names: list[str]) -> Callable[[], list[str]]:
    """``__dir__`` of a namespace: its useful names only."""
    return lambda: sorted(names)

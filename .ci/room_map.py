"""Write the map of rooms in DEVELOPERS.md from the first line of every module, or print it.

``python .ci/room_map.py`` prints it; ``python .ci/room_map.py write`` puts it into DEVELOPERS.md.
"""

import ast
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "edgekit"
PAGE = ROOT / "DEVELOPERS.md"
START, END = "<!-- map: written by .ci/room_map.py -->\n", "<!-- end of map -->"
# From the top down: a room imports from those below it, never from those above.
ROOMS = (
    "figures",
    "archive",
    "clinic",
    "study",
    "life",
    "bending",
    "edge_finish",
    "grinding",
    "method",
    "contact",
    "digitising",
    "geometry",
)


def first_line(path: Path) -> str:
    """First line of a module's docstring; empty where there is none."""
    doc = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return doc.split("\n")[0]


def section(folder: Path) -> list[str]:
    """A heading for one folder and a line for each of its modules, then its subfolders."""
    heading = folder.relative_to(ROOT).as_posix()
    lines = ["", f"**`{heading}/`** {first_line(folder / '__init__.py')}", ""]
    if folder == PACKAGE:
        lines[1] = "**The ground**, `edgekit/`, which every room stands on"
    for path in sorted(folder.glob("*.py")):
        if path.name != "__init__.py":
            lines.append(f"* `{path.name}` {first_line(path)}")
    for inner in sorted(p for p in folder.iterdir() if (p / "__init__.py").exists()):
        if folder != PACKAGE:
            lines += section(inner)
    return lines


def room_map() -> str:
    """The whole map, rooms from the top down and the ground last."""
    lines = [line for room in ROOMS for line in section(PACKAGE / room)]
    return "\n".join([*lines, *section(PACKAGE), ""])


def main(words: list[str]) -> int:
    if words != ["write"]:
        print(room_map())
        return 0
    text = PAGE.read_text(encoding="utf-8")
    before, rest = text.split(START)
    after = rest.split(END)[1]
    PAGE.write_text(before + START + room_map() + END + after, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""The one list of pinned versions: print it for `pip install -c`, or `renew` it with uv."""

import pathlib
import re
import subprocess
import sys
import tomllib

PROJECT = pathlib.Path(__file__).parents[1] / "pyproject.toml"
LIST = re.compile(r"constraint-dependencies = \[.*?\n?\]\n", re.DOTALL)
EXPORT = "uv export --quiet --no-hashes --all-extras --all-groups --no-emit-project --no-header"


def show() -> None:
    settings = tomllib.loads(PROJECT.read_text(encoding="utf-8"))
    print(*settings["tool"]["uv"]["constraint-dependencies"], sep="\n")


def renew() -> None:
    """Replace the list by what uv resolves today."""
    free = LIST.sub("constraint-dependencies = []\n", PROJECT.read_text(encoding="utf-8"))
    PROJECT.write_text(free, encoding="utf-8")
    subprocess.run(["uv", "lock", "--upgrade", "--quiet"], cwd=PROJECT.parent, check=True)
    listed = subprocess.run(
        [*EXPORT.split(), "--no-annotate"],
        cwd=PROJECT.parent,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    pins = sorted(line.replace(" ; ", "; ") for line in listed.splitlines() if "==" in line)
    body = "".join(f'  "{pin}",\n' for pin in pins)
    text = free.replace("constraint-dependencies = []\n", f"constraint-dependencies = [\n{body}]\n")
    PROJECT.write_text(text, encoding="utf-8")
    print(f"pinned {len(pins)} versions")


if __name__ == "__main__":
    renew() if sys.argv[1:] == ["renew"] else show()

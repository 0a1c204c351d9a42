"""Print the project's one list of pinned versions, for `pip install -c`."""

import pathlib
import tomllib

project = pathlib.Path(__file__).parents[1] / "pyproject.toml"
settings = tomllib.loads(project.read_text(encoding="utf-8"))
print(*settings["tool"]["uv"]["constraint-dependencies"], sep="\n")

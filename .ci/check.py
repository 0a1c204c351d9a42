"""Run every check of the project, or the named ones: format lint types tests notebooks.

``uv run --extra notebooks .ci/check.py`` runs all; the first failure does not stop the others.
"""

import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
PYTHON = [sys.executable, "-m"]
CHECKS = {
    "format": [*PYTHON, "ruff", "format", "--check", "."],
    "lint": [*PYTHON, "ruff", "check", "."],
    "types": [*PYTHON, "mypy"],
    "tests": [*PYTHON, "pytest"],
    "notebooks": [sys.executable, str(ROOT / "notebooks" / "build.py"), "check"],
}


def main(names: list[str]) -> int:
    unknown = set(names) - set(CHECKS)
    if unknown:
        print(f"no such check: {', '.join(sorted(unknown))}; there are {', '.join(CHECKS)}")
        return 2
    failed = []
    for name in names or list(CHECKS):
        start = time.monotonic()
        code = subprocess.run(CHECKS[name], cwd=ROOT, check=False).returncode
        print(f"== {name}: {'ok' if code == 0 else 'FAILED'} ({time.monotonic() - start:.0f} s)")
        if code:
            failed.append(name)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

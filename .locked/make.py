"""Makes the lock files beside it anew from pyproject.toml: python .locked/make.py

Needs `uv` (a development tool, not a dependency) and the network. The result
holds exact versions with hashes for CPython 3.11 to 3.14 on Linux, macOS and
Windows, and neither addresses nor host names. Run the tests afterwards.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

HERE = Path(__file__).resolve().parent
COMPILE = (
    "uv pip compile --quiet --no-config --universal --python-version 3.11"
    " --fork-strategy fewest --generate-hashes --no-build"
    " --no-header --no-annotate --no-emit-index-url"
).split()


def locked(*more: str) -> dict[str, str]:
    """Requirement (name, version, condition) -> its lines with hashes."""
    command = [*COMPILE, "--constraints", str(HERE / "choices.txt"), *more, "pyproject.toml"]
    done = subprocess.run(
        command, cwd=HERE.parent, stdout=subprocess.PIPE, text=True, check=True, timeout=600
    )
    blocks = re.findall(r"^\S.*\n(?:    --hash.*\n?)+", done.stdout, re.MULTILINE)
    return {block.split("\\")[0].strip(): block for block in blocks}


def main() -> None:
    run = locked()
    test = {name: block for name, block in locked("--extra", "test").items() if name not in run}
    names = {re.split("[=; ]", name)[0] for name in run}
    twice = names & {re.split("[=; ]", name)[0] for name in test}
    assert not twice, f"the tests want another version of {twice}: settle it in choices.txt"
    (HERE / "requirements.txt").write_text("".join(run.values()), encoding="utf-8")
    (HERE / "requirements-test.txt").write_text("".join(test.values()), encoding="utf-8")
    print(f"{len(run)} packages to run, {len(test)} more for the tests")


if __name__ == "__main__":
    main()

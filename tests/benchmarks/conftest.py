"""`--table FILE`: where `start.py bench` puts the rows that README quotes."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.bench_table import markdown, merge_into, rows_in


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--table", type=Path, metavar="FILE",
        help="Markdown file for the measured rows; README.md takes them between its marks",
    )  # fmt: skip


@pytest.fixture(scope="session")
def table(tmp_path_factory, request):
    """A file that the scripts fill one after the other; printed at the end, kept if asked."""
    file = tmp_path_factory.mktemp("bench") / "table.md"
    yield file
    if not file.exists():
        return
    rows = rows_in(file.read_text(encoding="utf-8"))
    print(f"\n\n{markdown(rows)}", flush=True)
    kept = request.config.getoption("--table")
    if kept is not None:
        merge_into(kept, rows)

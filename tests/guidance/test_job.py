from __future__ import annotations

import pytest
from support.small_board import small_design

from drillaid.errors import DesignError
from drillaid.guidance.job import prepare
from drillaid.simulation.export import write_fabrication_files

WANTED = {"face": "bottom", "thickness_mm": 1.6, "tolerance_mm": 0.2}


def test_a_design_is_made_ready(tmp_path):
    paths = write_fabrication_files(small_design(), tmp_path, "small")
    job = prepare(paths, bits_mm=(0.8, 1.0, 3.0), **WANTED)
    assert sum(count for _, count in job.bit_counts) == len(job.design.holes) == 20
    assert job.settings.tolerance_mm == 0.2
    assert any(part.kind == "dual row" for part in job.parts)
    first, other = job.far_pair
    xy = job.design.xy_mm
    far = ((xy[:, None] - xy[None]) ** 2).sum(axis=2).max() ** 0.5
    assert ((xy[first - 1] - xy[other - 1]) ** 2).sum() ** 0.5 > 0.8 * far


def test_files_that_are_none_are_refused(tmp_path):
    path = tmp_path / "letter.txt"
    path.write_text("Dear all,\n")
    with pytest.raises(DesignError):
        prepare([path], bits_mm=(1.0,), **WANTED)

"""The rig file: the contract, what must survive, and what must be refused in one sentence."""

from __future__ import annotations

import dataclasses
import math
import os
import random
import tomllib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drillaid import files
from drillaid.errors import RigError, StorageError
from drillaid.rig.file import load_rig, save_rig
from drillaid.rig.rig import Rig

GOOD = """\
# the camera over the invented workshop's drill
format = "drillaid-rig/1"
note = "lens changed in spring"   # by hand
[camera]
width = 1920
height = 1080
matrix = [[1500.0, 0.0, 960.0], [0.0, 1480.0, 540.0], [0.0, 0.0, 1.0]]     # px
distortion = [-0.28, 0.07, 0.002, -0.001, 0.0]                            # OpenCV model
serial = "A-17"
[bench]
rotation_vector = [3.0, 0.1, -0.2]      # Rodrigues, rad: bench -> camera
translation_mm = [5.0, -7.0, 400.0]
[spindle]
axis_mm = [12.5, -3.25]
lean = [0.01, -0.002]
[table]
steps_per_mm = [80, 80, 400]
[table.limits]
x = [0, 300.5]
made = 2031-05-06T07:08:09Z
nothing = nan
[[reference_mark]]
xy_mm = [1.0, 2.0]
"""


def written(tmp_path, text: str | bytes):
    path = tmp_path / "rig.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def refusal(path) -> str:
    with pytest.raises(RigError) as caught:
        load_rig(path)
    sentence = str(caught.value)
    assert sentence.startswith(str(path)) and sentence.endswith(".") and "\n" not in sentence
    return sentence


def test_the_contract_is_read(tmp_path):
    rig = load_rig(written(tmp_path, GOOD))
    assert (rig.width, rig.height) == (1920, 1080)
    np.testing.assert_array_equal(rig.matrix, [[1500, 0, 960], [0, 1480, 540], [0, 0, 1]])
    np.testing.assert_array_equal(rig.distortion, [-0.28, 0.07, 0.002, -0.001, 0])
    np.testing.assert_array_equal(rig.rotation_vector, [3, 0.1, -0.2])
    np.testing.assert_array_equal(rig.translation_mm, [5, -7, 400])
    np.testing.assert_array_equal(rig.axis_mm, [12.5, -3.25])
    np.testing.assert_array_equal(rig.lean, [0.01, -0.002])
    assert rig.extra["table"]["steps_per_mm"] == [80, 80, 400]
    assert rig.extra["camera"] == {"serial": "A-17"}


def test_nothing_is_lost_by_load_and_save(tmp_path):
    path = written(tmp_path, GOOD)
    save_rig(load_rig(path), tmp_path / "again.toml")
    assert (tmp_path / "again.toml").read_text() == GOOD


def test_a_changed_value_leaves_comments_and_unknown_keys(tmp_path):
    rig = load_rig(written(tmp_path, GOOD))
    extra = rig.extra | {"table": rig.extra["table"] | {"port": "sim"}, "serviced": True}
    del extra["note"]
    changed = dataclasses.replace(rig, axis_mm=(1.0 / 3.0, -2e-7), extra=extra)
    path = tmp_path / "again.toml"
    save_rig(changed, path)
    text, again = path.read_text(), load_rig(path)
    np.testing.assert_array_equal(again.axis_mm, changed.axis_mm)
    assert again.extra["table"]["port"] == "sim" and again.extra["serviced"] is True
    assert "note" not in again.extra
    assert "# the camera over" in text and "# Rodrigues, rad" in text
    assert again.extra["reference_mark"] == [{"xy_mm": [1.0, 2.0]}]


def test_a_rig_made_in_memory_is_saved_exactly(tmp_path):
    rig = Rig(
        width=np.int64(4000), height=3000,
        matrix=[[math.pi * 1000, 0, 2000.1], [0, 3333.3333333333335, 1499.9], [0, 0, 1]],
        distortion=[0.1, 1e-17, 0, 0, 5e-324], rotation_vector=[math.pi, 0, 0],
        translation_mm=[0, 0, 250.00000000000003],
        extra={"bench": {"rms_px": 0.25}, "camera": {"width": 7}},
    )  # fmt: skip
    path = tmp_path / "new.toml"
    save_rig(rig, path)
    again = load_rig(path)
    for name in ("matrix", "distortion", "rotation_vector", "translation_mm", "lean"):
        np.testing.assert_array_equal(getattr(again, name), getattr(rig, name))
    assert again.width == 4000 and again.axis_mm is None
    assert again.extra == {"bench": {"rms_px": 0.25}}
    assert tomllib.loads(path.read_text())["format"] == "drillaid-rig/1"


def test_optional_parts_may_be_absent(tmp_path):
    without = GOOD[: GOOD.index("[spindle]")]
    rig = load_rig(written(tmp_path, without))
    assert rig.axis_mm is None and not rig.lean.any()
    rig = load_rig(written(tmp_path, without + "[spindle]\naxis_mm = [1, 2]\n"))
    assert rig.axis_mm.tolist() == [1, 2] and not rig.lean.any()


@pytest.mark.parametrize(
    ("key", "old", "new"),
    [
        ("format", 'format = "drillaid-rig/1"', ""),
        ("format", "drillaid-rig/1", "drillaid-rig/2"),
        ("format", '"drillaid-rig/1"', "1"),
        ("units", 'note = "lens', 'units = "inch"\nnote = "lens'),
        ("bench.unit", "[bench]", '[bench]\nunit = "m"'),
        ("camera.width", "width = 1920", ""),
        ("camera.width", "width = 1920", "width = -1920"),
        ("camera.width", "width = 1920", "width = 0"),
        ("camera.width", "width = 1920", "width = true"),
        ("camera.width", "width = 1920", "width = 1920.0"),
        ("camera.width", "width = 1920", 'width = "1920"'),
        ("camera.width", "width = 1920", "width = 99999999999999999999999"),
        ("camera.height", "height = 1080", "height = nan"),
        ("camera.matrix", "1500.0, 0.0", "1500.0, 0.5"),
        ("camera.matrix", "[[1500.0", "[[-1500.0"),
        ("camera.matrix", "[[1500.0", "[[nan"),
        ("camera.matrix", "[[1500.0", "[[inf"),
        ("camera.matrix", "[[1500.0", "[[true"),
        ("camera.matrix", "[[1500.0", "[[15.0"),
        ("camera.matrix", "[[1500.0", "[[6000.0"),
        ("camera.matrix", "960.0], ", "1960.0], "),
        ("camera.matrix", ", [0.0, 0.0, 1.0]]", "]"),
        ("camera.matrix", "0.0, 1.0]]", "0.0, 2.0]]"),
        ("camera.distortion", "-0.001, 0.0]", "-0.001]"),
        ("camera.distortion", "[-0.28", "[inf"),
        ("camera.distortion", "[-0.28", "[-3.0"),
        ("camera.distortion", "[-0.28", '["a"'),
        ("bench", "[bench]", "[bank]"),
        ("bench.rotation_vector", "[3.0, 0.1, -0.2]", "[180.0, 0.0, 0.0]"),
        ("bench.rotation_vector", "[3.0, 0.1, -0.2]", "[3.0, 0.1]"),
        ("bench.rotation_vector", "[3.0, 0.1, -0.2]", "3.0"),
        ("bench.translation_mm", "400.0]", "0.4]"),
        ("bench.translation_mm", "400.0]", "-400.0]"),
        ("bench.translation_mm", "400.0]", "1e300]"),
        ("bench.translation_mm", "translation_mm = ", "translation_m = "),
        ("bench.translation_mm", "translation_mm = ", "translation = "),
        ("spindle", "[spindle]", "spindle = 3\n[x]"),
        ("spindle.axis_mm", "[12.5, -3.25]", "[12.5, -3.25, 0.0]"),
        ("spindle.axis_mm", "[12.5, -3.25]", "[1e9, -3.25]"),
        ("spindle.axis_mm", "axis_mm = ", "axis_inch = "),
        ("spindle.lean", "[0.01, -0.002]", "[45.0, 0.0]"),
    ],
)
def test_out_of_range_is_refused_by_the_keys_name(tmp_path, key, old, new):
    assert old in GOOD
    text = GOOD.replace(old, new, 1)
    if new.startswith("spindle = 3"):
        text = "spindle = 3\n" + GOOD[: GOOD.index("[spindle]")]
    sentence = refusal(written(tmp_path, text))
    assert f": {key} " in sentence


def test_a_refusal_names_the_line(tmp_path):
    sentence = refusal(written(tmp_path, GOOD.replace("height = 1080", "height = -1")))
    assert ", line 6: camera.height " in sentence
    assert ", line 11: " in refusal(written(tmp_path, GOOD.replace("[3.0, 0.1", "[3.0, [")))


def test_a_camera_under_or_turned_from_the_bench_is_refused(tmp_path):
    upward = GOOD.replace("[3.0, 0.1, -0.2]", "[0.0, 0.0, 0.0]")
    assert "bench.translation_mm puts the camera -400 mm" in refusal(written(tmp_path, upward))
    away = upward.replace("400.0]", "-400.0]")
    assert "bench.rotation_vector makes the camera look away" in refusal(written(tmp_path, away))


@pytest.mark.parametrize(
    "raw",
    [
        b"", b"\0\xff\xfe", b"\x89PNG\r\n\x1a\n", "Grüße".encode("latin-1"), b"width = 3", b"[[",
        b"a=" + b"[" * 100_000, b"a=" + b"{a=" * 5_000, b"a." * 5_000 + b"a = 1",
        b"a=" + b"9" * 5_000, b"#" * 1_000_001, b"camera = 1\nformat = 'drillaid-rig/1'",
        b"format = 'drillaid-rig/1'\ntable = 3",
    ],
)  # fmt: skip
def test_what_is_no_rig_file(tmp_path, raw):
    refusal(written(tmp_path, raw))


def test_missing_folder_and_impossible_names(tmp_path):
    assert "there is no such file" in refusal(tmp_path / "none.toml")
    assert "is a folder" in refusal(tmp_path)
    with pytest.raises(RigError):
        load_rig("a\0b")
    assert "cannot be read" in refusal(tmp_path / ("x" * 300))


def test_mutated_files_never_end_in_a_traceback(tmp_path):
    dice = random.Random(5)
    pieces = ["nan", "-inf", "true", "[", "]", '"', "=", "\n", "1e400", "[[camera]]", "0x10", "{}"]
    path = tmp_path / "rig.toml"
    refused = 0
    for _ in range(700):
        raw = bytearray(GOOD.encode())
        for _ in range(dice.randint(1, 3)):
            at = dice.randrange(len(raw))
            match dice.randrange(4):
                case 0:
                    raw[at] = dice.randrange(256)
                case 1:
                    del raw[at : at + dice.randint(1, 30)]
                case 2:
                    raw[at:at] = dice.choice(pieces).encode()
                case 3:
                    to = dice.randrange(len(raw))
                    raw[at:at] = raw[to : to + 40]
        path.write_bytes(raw)
        try:
            rig = load_rig(path)
        except RigError as error:
            refused += 1
            assert "\n" not in str(error).replace(str(path), "")
        else:
            save_rig(rig, path)
            again = load_rig(path)
            np.testing.assert_array_equal(again.matrix, rig.matrix)
            assert repr(again.extra) == repr(rig.extra) or again.extra.keys() == rig.extra.keys()
    assert 150 < refused < 700


keys = st.text(min_size=1, max_size=8).filter(lambda k: k not in ("unit", "units"))
scalars = (
    st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.text(max_size=12) | st.datetimes()
    | st.floats(allow_nan=False) | st.dates() | st.times()
)  # fmt: skip
values = st.recursive(
    scalars, lambda v: st.lists(v, max_size=3) | st.dictionaries(keys, v, max_size=3), max_leaves=8
)


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(keys, values, max_size=4), st.dictionaries(keys, values, max_size=3))
def test_any_unknown_keys_survive(tmp_path_factory, top, inner):
    taken = {"format", "camera", "bench", "spindle", "table"}
    extra = {key: value for key, value in top.items() if key not in taken}
    inner = {k: v for k, v in inner.items() if not k.startswith("translation")}
    if inner:
        extra["bench"] = {"deep": inner}
    path = tmp_path_factory.mktemp("rigs") / "rig.toml"
    path.write_text(GOOD[: GOOD.index("[spindle]")].replace('note = "lens changed in spring"', ""))
    rig = dataclasses.replace(load_rig(path), extra=extra)
    save_rig(rig, path)
    assert load_rig(path).extra == extra
    save_rig(dataclasses.replace(rig, text=""), path)
    assert load_rig(path).extra == extra


def test_saving_refuses_what_loading_would(tmp_path):
    rig = load_rig(written(tmp_path, GOOD))
    path = tmp_path / "other.toml"
    with pytest.raises(RigError, match=r"spindle\.axis_mm holds nan"):
        save_rig(dataclasses.replace(rig, axis_mm=(math.nan, 0)), path)
    with pytest.raises(RigError, match="extra holds something"):
        save_rig(dataclasses.replace(rig, extra={"a": object()}), path)
    assert not path.exists()


def test_written_whole_or_not_at_all(tmp_path, monkeypatch):
    path = written(tmp_path, GOOD)
    rig = dataclasses.replace(load_rig(path), axis_mm=(1.0, 2.0))

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(StorageError, match="No space left"):
        save_rig(rig, path)
    monkeypatch.undo()
    assert path.read_text() == GOOD and os.listdir(tmp_path) == ["rig.toml"]
    with pytest.raises(StorageError, match="No such file"):
        save_rig(rig, tmp_path / "nowhere" / "rig.toml")
    with pytest.raises(StorageError, match="folder"):
        save_rig(rig, tmp_path)


@pytest.mark.skipif(os.name == "nt", reason="links and modes as POSIX has them")
def test_links_are_followed_and_the_mode_kept(tmp_path):
    path = written(tmp_path, GOOD)
    path.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(path)
    save_rig(dataclasses.replace(load_rig(link), axis_mm=(1.0, 2.0)), link)
    assert link.is_symlink() and load_rig(path).axis_mm.tolist() == [1, 2]
    assert path.stat().st_mode & 0o777 == 0o640

from __future__ import annotations

from dataclasses import replace

from ui.settings import RECENT, Settings, load, recent_designs, save, with_recent


def test_what_is_saved_is_loaded(tmp_path):
    path = tmp_path / "deep" / "window.ini"
    mine = Settings(theme="light", type_scale=1.3, left_handed=True, volume=0.0, pedal_key=66,
                    camera="2", rig="a bench.toml", thickness_mm=0.8, turns=3)  # fmt: skip
    assert save(mine, path)
    assert load(path) == mine


def test_nonsense_is_as_for_a_newcomer(tmp_path):
    path = tmp_path / "window.ini"
    path.write_text("[General]\ntheme=plaid\ntype_scale=90\nthickness_mm=thin\nvolume=0.25\n")
    assert load(path) == Settings(volume=0.25)
    path.write_bytes(b"\x00\xff\x80garbage")
    assert load(path) == Settings()


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    assert save(Settings(), blocked / "window.ini") is False


def test_designs_opened_last_come_first_and_each_once():
    settings = Settings()
    for paths in (["a.drl"], ["b.zip"], ["a.drl"], *([f"{n}.drl"] for n in range(9))):
        settings = replace(settings, recent=with_recent(settings, paths))
    assert recent_designs(settings)[0] == ("8.drl",)
    assert len(recent_designs(settings)) == RECENT
    for nonsense in ("no json", "7", '{"a": 1}', "[7]"):
        assert recent_designs(replace(settings, recent=nonsense)) == []

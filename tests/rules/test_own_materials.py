"""The folder of the user's materials: where each system keeps settings, and that the verbs read it."""

from pathlib import Path

import pytest

from addon.rules.cast.materials import load_materials
from addon.verbs.own_materials import VARIABLE, own_folder, own_materials

HOME = Path("home") / "me"


@pytest.mark.parametrize(
    ("environ", "platform", "folder"),
    [
        # Common places: XDG Base Directory Specification; Windows' APPDATA; macOS' Application Support.
        ({}, "linux", HOME / ".config" / "linkwright" / "materials"),
        ({"XDG_CONFIG_HOME": "set"}, "linux", Path("set") / "linkwright" / "materials"),
        ({}, "darwin", HOME / "Library" / "Application Support" / "Linkwright" / "materials"),
        ({"APPDATA": "roam"}, "win32", Path("roam") / "Linkwright" / "materials"),
        ({}, "win32", HOME / "AppData" / "Roaming" / "Linkwright" / "materials"),
        ({VARIABLE: "mine", "XDG_CONFIG_HOME": "set"}, "linux", Path("mine")),
        ({VARIABLE: "", "XDG_CONFIG_HOME": ""}, "linux", HOME / ".config" / "linkwright" / "materials"),
    ],
)
def test_the_folder_is_where_the_system_keeps_settings(environ, platform, folder):
    assert own_folder(environ, platform, HOME) == folder


def test_it_lies_outside_the_extension_and_is_read(tmp_path, monkeypatch):
    monkeypatch.setenv(VARIABLE, str(tmp_path))
    assert own_materials() == load_materials()
    assert list(tmp_path.iterdir()) == [], "nothing is written there"
    (tmp_path / "flasks.toml").write_text("[mine]\ndiameter_mm = 95\nheight_mm = 70\n", encoding="utf-8")
    assert own_materials().flasks[-1].name == "mine"
    monkeypatch.setenv(VARIABLE, str(tmp_path / "moved"))
    assert "there is no folder" in own_materials().warnings[0]

"""Process profiles: every figure of the file is read and checked, and what a job may and may not override."""

from dataclasses import fields
from pathlib import Path

import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import DATA, OVERRIDES, load_profile, override, profile_names
from addon.rules.base.tables import Table, read_toml

BENCH = read_toml(DATA / "profiles.toml")["bench"]


def written(folder: Path, values: dict[str, object]) -> Path:
    """A data folder with one profile of these values."""
    lines = [f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}" for key, value in values.items()]
    (folder / "profiles.toml").write_text("\n".join(["[own]", *lines]))
    return folder


def test_the_bench_profile_is_read_to_the_last_figure() -> None:
    profile = load_profile("bench")
    assert profile.name == "bench"
    assert "bench" in profile_names()
    # How far metal feeds goes by the alloy, not by the profile.
    read = {f.name: getattr(profile, f.name) for f in fields(profile)[1:] if f.name != "feed_wires"}
    assert {key: value for key, value in read.items() if value is not None} == {
        key: value for key, value in BENCH.items() if key != "note"
    }


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("blind_share", 1.2, r"1\.2 does not work; give a number from 0 to 1 \(a share\)"),
        ("blind_share", -0.1, "from 0 to 1"),
        ("blind_share", "little", "must be a number"),
        ("build_x_mm", 0.0, "0 does not work; give a number above 0 and up to 1000 mm"),
        ("build_y_mm", -68.0, "above 0"),
        ("build_z_mm", 1500.0, "up to 1000 mm"),
        ("peel_pressure_kpa", -1.0, "kPa"),
    ],
)
def test_a_figure_that_does_not_work_is_named(tmp_path: Path, key: str, value: object, words: str) -> None:
    folder = written(tmp_path, {**BENCH, key: value})
    with pytest.raises(BadInput, match=rf"profiles\.toml: own\.{key}: .*{words}"):
        load_profile("own", folder)


@pytest.mark.parametrize("key", [key for key in BENCH if key != "note"])
def test_every_figure_must_be_there(tmp_path: Path, key: str) -> None:
    folder = written(tmp_path, {other: value for other, value in BENCH.items() if other != key})
    with pytest.raises(BadInput, match=rf"own\.{key}: missing; give a number"):
        load_profile("own", folder)


def test_a_key_that_is_none_is_refused(tmp_path: Path) -> None:
    folder = written(tmp_path, {**BENCH, "build_w_mm": 10.0})
    with pytest.raises(BadInput, match="build_w_mm"):
        load_profile("own", folder)


def test_a_job_overrides_what_belongs_to_it_and_keeps_the_printer() -> None:
    """Peel, light and the printer's room belong to the machine and the resin, not to one job."""
    assert not {"blind_share", "build_x_mm", "build_y_mm", "build_z_mm", "peel_pressure_kpa"} & set(OVERRIDES)
    bench = load_profile("bench")
    changed = override(bench, Table({"layer_mm": 0.03}, "process", known=OVERRIDES))
    assert changed.layer_mm == 0.03
    assert changed == override(changed, Table({}, "process", known=OVERRIDES))
    left = [field.name for field in fields(bench) if getattr(bench, field.name) != getattr(changed, field.name)]
    assert left == ["layer_mm"]

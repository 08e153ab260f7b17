"""Materials: all there, every figure with its source, a user's own laid over them and nothing of theirs lost."""

import dataclasses
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import DATA
from addon.rules.cast.figures import STATUSES, BySection, Figure
from addon.rules.cast.materials import FILES, load_materials
from addon.rules.cast.weights import mass_mix_density_g_cm3

OURS = load_materials()
EVERYTHING = [*OURS.alloys, *OURS.investments, *OURS.resins, *OURS.spin_arms]

# Handbook figures, for the order of size of every alloy at once: the melting points of the pure metals in degC
# (silver and gold: CRC Handbook; copper and platinum: common tables), and the CRC densities.
PURE = {"fine-silver": (961.78, 10.5), "fine-gold": (1064.18, 19.3), "copper": (1084.62, 8.96)}


def figures(thing):
    for field in dataclasses.fields(thing):
        value = getattr(thing, field.name)
        if isinstance(value, Figure | BySection):
            yield field.name, value


def test_the_alloys_of_the_job_format_are_all_there():
    names = "fine-silver sterling-silver gold-9-yellow gold-14-yellow gold-18-yellow gold-14-white gold-18-white "
    names += "fine-gold tin-bronze silicon-bronze brass copper platinum-950"
    assert [a.name for a in OURS.alloys] == names.split()
    assert OURS.warnings == ()


@pytest.mark.parametrize("thing", EVERYTHING, ids=lambda t: t.name)
def test_every_figure_says_where_it_comes_from_and_lies_in_its_spread(thing):
    found = list(figures(thing))
    assert len(found) >= 3
    for key, figure in found:
        assert figure.status in STATUSES[:-1], key
        assert len(figure.source) > 5, key
        if isinstance(figure, Figure):
            assert figure.low <= figure.value <= figure.high, key
            assert "memory" not in figure.source or figure.status != "published" or "(from memory)" in figure.source
        else:
            assert all(a <= b for a, b in zip(figure.low, figure.high, strict=True)), key


@pytest.mark.parametrize(("name", "melts_and_density"), PURE.items())
def test_pure_metals_are_those_of_the_handbook(name, melts_and_density):
    alloy = OURS.alloy(name)
    assert (alloy.liquidus_c.value, alloy.density_g_cm3.value) == melts_and_density
    assert alloy.solidus_c.value == alloy.liquidus_c.value


@pytest.mark.parametrize("alloy", [a for a in OURS.alloys if a.mix_percent], ids=lambda a: a.name)
def test_densities_agree_with_the_mix(alloy):
    """Volumes of a mix add up within 1 % in these systems (75Au 12.5Ag 12.5Cu: 15.452 against a published 15.45)."""
    assert mass_mix_density_g_cm3(alloy.mix_percent) == pytest.approx(alloy.density_g_cm3.value, rel=0.01)
    molten = {"Ag": 9.320, "Au": 17.31, "Cu": 8.02, "Zn": 6.57, "Sn": 6.99}
    if alloy.liquid_density_g_cm3.status == "derived":
        assert mass_mix_density_g_cm3(alloy.mix_percent, molten) == pytest.approx(
            alloy.liquid_density_g_cm3.value, abs=0.006
        )


@pytest.mark.parametrize("alloy", OURS.alloys, ids=lambda a: a.name)
def test_alloys_are_sound(alloy):
    """Metal shrinks as it freezes, thin sections take hotter flasks, and every flask is cooler than its metal."""
    assert 0.85 < alloy.liquid_density_g_cm3.value / alloy.density_g_cm3.value < 0.96
    assert alloy.solidus_c.value <= alloy.liquidus_c.value
    assert list(alloy.flask_c.high) == sorted(alloy.flask_c.high, reverse=True)
    assert alloy.flask_c.high[0] < alloy.solidus_c.value
    assert (alloy.gypsum == "no") == (alloy.name == "platinum-950")


def test_published_flask_ranges_of_sterling():
    """Bench table for vacuum casting of sterling: 399 to 482 heavy, 566 to 621 light, 704 paper thin."""
    flask = OURS.alloy("sterling-silver").flask_c
    assert flask.at(6.0) == (399.0, 482.0)
    assert flask.at(2.2) == (566.0, 621.0)
    assert flask.at(0.5) == (704.0, 704.0)
    assert flask.at(0.8) == (704.0, 704.0)
    assert flask.at(0.81) == (621.0, 677.0)


def test_an_unknown_name_lists_those_there_are():
    with pytest.raises(BadInput, match=r"cast\.alloy.*did you mean 'tin-bronze'"):
        OURS.alloy("tin-bronz")
    with pytest.raises(BadInput, match=r"cast\.investment.*gypsum-bonded, phosphate-bonded"):
        OURS.investment("plaster")
    with pytest.raises(BadInput, match=r"cast\.resin"):
        OURS.resin("x")


# The user's own folder


def written(folder, name, text):
    (folder / name).write_text(text, encoding="utf-8")
    return load_materials(user=folder)


def test_a_user_changes_one_figure_of_ours(tmp_path):
    found = written(tmp_path, "alloys.toml", "[sterling-silver]\ndensity_g_cm3 = 10.4\nflask_c = [500, 540]\n")
    silver, ours = found.alloy("sterling-silver"), OURS.alloy("sterling-silver")
    assert silver.density_g_cm3 == Figure(10.4, 10.4, 10.4, "your own", "your materials folder")
    assert silver.flask_c.at(1.0) == silver.flask_c.at(9.0) == (500.0, 540.0)
    assert silver.liquidus_c == ours.liquidus_c
    assert [a.name for a in found.alloys] == [a.name for a in OURS.alloys]
    assert found.warnings == ()


def test_a_user_adds_an_alloy_by_its_mix(tmp_path):
    text = '[rose]\nlike = "gold-18-yellow"\nlabel = "my rose gold"\nmix_percent = { Au = 75, Ag = 4.5, Cu = 20.5 }\n'
    rose = written(tmp_path, "alloys.toml", text).alloy("rose")
    assert rose.density_g_cm3.status == "derived"
    assert rose.density_g_cm3.value == pytest.approx(100 / (75 / 19.3 + 4.5 / 10.5 + 20.5 / 8.96), rel=1e-12)
    assert rose.label == "my rose gold"
    assert rose.liquidus_c == OURS.alloy("gold-18-yellow").liquidus_c


def test_an_investment_of_an_earlier_version_still_counts(tmp_path):
    """Complete as it was then: what was added since comes from ours of the same bond, what it writes stays its own."""
    text = (DATA / "investments.toml").read_text(encoding="utf-8")
    begin = text.index("[phosphate-bonded]")
    own = text[begin:].replace("phosphate-bonded", "mine").replace('bond = "mine"', 'bond = "phosphate"')
    lines = [line for line in own.splitlines() if not line.startswith(("interface_w_m2_k", "permeability_m2"))]
    found = written(tmp_path, "investments.toml", "\n".join(lines))
    mine, ours = found.investment("mine"), OURS.investment("phosphate-bonded")
    assert found.warnings == ()
    assert mine.permeability_m2 == ours.permeability_m2
    assert mine.interface_w_m2_k == ours.interface_w_m2_k
    other = "\n".join(lines).replace('bond = "phosphate"', 'bond = "gypsum"')
    assert (
        written(tmp_path, "investments.toml", other).investment("mine").permeability_m2
        == OURS.investment("gypsum-bonded").permeability_m2
    )


def test_a_user_adds_flasks_and_they_stay_in_order(tmp_path):
    found = written(tmp_path, "flasks.toml", "[mine]\ndiameter_mm = 95\nheight_mm = 70\n")
    assert [f.name for f in found.flasks] == [*(f.name for f in OURS.flasks), "mine"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[sterling-silver]\ndensity_g_cm3 = -1\n", "density_g_cm3: -1 does not work"),
        ("[sterling-silver]\ndensity = 1\n", "density: unknown key; did you mean"),
        ("[sterling-silver]\ndensity_g_cm3 = nan\n", "density_g_cm3: nan does not work"),
        ("[sterling-silver]\nsolidus_c = 950\n", "solidus_c: 950 is above the liquidus"),
        ("[sterling-silver]\nflask_c = [600, 500]\n", "600 is above 500"),
        ("[sterling-silver]\nflask_c = [600]\n", "must be a list of 2 numbers"),
        ("[sterling-silver]\nmix_percent = { Ag = 50 }\n", "add up to 50"),
        ("[sterling-silver]\nmix_percent = { Ag = 50, Xx = 50 }\n", "no density is kept for Xx"),
        ('[sterling-silver]\ncautions = ["fire"]\n', "cautions: must be a list of words"),
        ('[sterling-silver]\nliquidus_c = { value = 890, status = "sure", source = "me" }\n', "status: 'sure'"),
        ('[sterling-silver]\nliquidus_c = { value = 890, low = 900, status = "derived", source = "me" }\n', "low: 900"),
        ('[sterling-silver]\nliquidus_c = { value = 890, status = "derived", source = " " }\n', "source: is empty"),
        ("[new]\ndensity_g_cm3 = 9\n", "missing"),
        ('[new]\nlike = "nothing"\n', "no other entry 'nothing'"),
        ('sterling-silver = "yes"\n', "must be a table"),
        ("[sterling-silver\n", "not valid TOML"),
    ],
)
def test_a_bad_user_entry_is_named_and_left_out(tmp_path, text, says):
    """Whatever is wrong: one message with the file's name, and our own entry stands as if it were not there."""
    found = written(tmp_path, "alloys.toml", text)
    assert len(found.warnings) == 1
    assert says in found.warnings[0]
    assert "alloys.toml" in found.warnings[0]
    assert "left out" in found.warnings[0]
    assert found.alloys == OURS.alloys


# A file with a fault in its middle, by the name of the fault: its lines, the line at fault, what is said of it.
BROKEN = {
    "broken header": (b"[copper", 4, "not valid TOML"),
    "comma for a point": (b"[copper]\nscrap_percent = 20,5", 5, "numbers take a point"),
    "text without quotes": (b"[copper]\nlabel = my copper", 5, "words stand in quotes"),
    "never closed": (b"[copper]\nflask_c = [500, 540", 4, "not valid TOML"),
    "twice the same key": (b"[copper]\nscrap_percent = 20\nscrap_percent = 30", 6, "each name comes once"),
    "twice the same table": (b"[copper]\nscrap_percent = 20\n[copper]\nlabel = 'x'", 6, "each name comes once"),
    "wrong type": (b"[copper]\n\nscrap_percent = 'half'", 6, "scrap_percent: must be a number"),
    "unknown key": (b"[copper]\n# a remark\nscrap_per_cent = 20", 6, "did you mean 'scrap_percent'?"),
    "impossible value": (b"[copper]\nlabel = 'x'\nscrap_percent = 120", 6, "give a number from 0 to 100"),
    "impossible value of a figure": (
        b"[copper]\nsolidus_c = { value = 9, status = 'derived', source = 'me' }", 5, "solidus_c.value: 9 does not work"
    ),
    "no table": (b"[[copper]]\nscrap_percent = 20", 4, "must be a table, is a list"),
    "latin-1 letters": ("[copper]\nlabel = 'Kupfer für mich'".encode("latin-1"), 5, "not UTF-8 text"),
    "a huge number": (b"[copper]\nscrap_percent = " + b"9" * 400, 5, "scrap_percent"),
    "a number without end": (b"[copper]\nscrap_percent = " + b"9" * 5000, 4, "not valid TOML"),
    "very deep": (b"[copper]\nlabel = " + b"[" * 4000, 4, "nested too deeply"),
}  # fmt: skip


@pytest.mark.parametrize("fault", BROKEN)
def test_a_broken_entry_is_named_by_its_line_and_the_rest_of_its_file_counts(tmp_path, fault):
    lines, line, says = BROKEN[fault]
    before, after = b"# mine\n[brass]\nscrap_percent = 30\n", b"\r\n[fine-gold]\nscrap_percent = 10\n"
    (tmp_path / "alloys.toml").write_bytes(before + lines + after)
    (tmp_path / "flasks.toml").write_text("[mine]\ndiameter_mm = 95\nheight_mm = 70\n", encoding="utf-8")
    found = load_materials(user=tmp_path)
    (warning,) = found.warnings
    assert warning.startswith(f"{tmp_path / 'alloys.toml'} line {line}: ")
    assert says in warning
    assert warning.endswith("(the entry copper was left out)")
    assert found.alloy("copper") == OURS.alloy("copper")
    assert found.alloy("brass").scrap_percent.value == 30.0
    assert found.alloy("fine-gold").scrap_percent.value == 10.0
    assert found.flasks[-1].name == "mine"


def test_a_fault_in_a_row_of_a_burnout_is_found_in_its_row(tmp_path):
    row = "[[gypsum-bonded.burnout]]\ndiameter_mm = 90\nheight_mm = 90\nhold_c = [150, 700]\nhold_h = [2, {}]\n"
    text = "[gypsum-bonded]\nlimit_c = 740\n" + (row + "cast_hold_h = 1\n").format(3) + row.format(300)
    (warning,) = written(tmp_path, "investments.toml", text).warnings
    assert warning.startswith(f"{tmp_path / 'investments.toml'} line 13: gypsum-bonded.burnout 2.hold_h: 300 does not")


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", None),
        (b"\n\n# nothing yet\n", None),
        (b"\xef\xbb\xbf[mine]\r\ndiameter_mm = 95\r\nheight_mm = 70\r\n", None),
        ("[mine]".encode("utf-16"), "line 1: is UTF-16 text; save it as UTF-8"),
        (b"\x00\x01\x02", "line 1: not valid TOML"),
        (b"diameter_mm = 95\n", "line 1: diameter_mm: must be a table"),
        (b"#" * 5_000_000, "larger than 4 MB"),
    ],
)
def test_odd_files_are_taken_or_named(tmp_path, content, says):
    (tmp_path / "flasks.toml").write_bytes(content)
    found = load_materials(user=tmp_path)
    assert found.flasks[: len(OURS.flasks)] == OURS.flasks
    assert [says in w for w in found.warnings] == ([] if says is None else [True])


def test_a_folder_or_a_misspelt_name_in_place_of_a_file_is_said(tmp_path):
    (tmp_path / "resins.toml").mkdir()
    (tmp_path / "alloy.toml").write_text("[copper]\nscrap_percent = 1\n", encoding="utf-8")
    found = load_materials(user=tmp_path)
    assert found == dataclasses.replace(OURS, warnings=found.warnings)
    assert "is a folder" in found.warnings[0]
    assert "alloy.toml: is not read; rename it to one of alloys.toml" in found.warnings[1]


def test_what_was_meant_as_a_table_is_named_and_notes_are_let_be(tmp_path):
    """An editor that adds an ending of its own, or a file in place of the folder, would else go unseen."""
    for name in ("alloys.toml.txt", "flasks.json", "readme.txt", "kiln.png", ".hidden"):
        (tmp_path / name).write_text("", encoding="utf-8")
    told = load_materials(user=tmp_path).warnings
    assert [Path(w.split(": is not read")[0]).name for w in told] == ["alloys.toml.txt", "flasks.json"]
    assert "is no folder" in load_materials(user=tmp_path / "readme.txt").warnings[0]
    assert load_materials(user=tmp_path / "nowhere") == OURS


@settings(derandomize=True, deadline=None, max_examples=20)
@given(
    st.lists(st.sampled_from(["[", "]", "=", "\n", "'", '"', "copper", "scrap_percent", "5", ".", "{", ",", "#", " "]))
)
def test_no_text_whatever_stops_the_others(tmp_path_factory, pieces):
    folder = tmp_path_factory.mktemp("own")
    (folder / "alloys.toml").write_text("".join(pieces), encoding="utf-8")
    found = load_materials(user=folder)
    assert [a.name for a in found.alloys[: len(OURS.alloys)]] == [a.name for a in OURS.alloys]


def test_a_bad_entry_does_not_cost_its_neighbours(tmp_path):
    found = written(tmp_path, "alloys.toml", "[copper]\ndensity_g_cm3 = 'x'\n[brass]\nscrap_percent = 30\n")
    assert len(found.warnings) == 1
    assert found.alloy("brass").scrap_percent.value == 30.0
    assert found.alloy("copper") == OURS.alloy("copper")


def test_a_bad_built_in_file_raises(tmp_path):
    for name in FILES:
        (tmp_path / name).write_bytes((DATA / name).read_bytes())
    assert load_materials(tmp_path) == OURS
    (tmp_path / "resins.toml").write_text("[r]\ndensity_g_cm3 = 1\n", encoding="utf-8")
    with pytest.raises(BadInput, match=r"resins\.toml: r"):
        load_materials(tmp_path)


def test_no_user_folder_is_no_error(tmp_path):
    assert load_materials(user=tmp_path / "nowhere") == OURS

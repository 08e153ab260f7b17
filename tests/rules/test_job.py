"""Job files: read, checked, written back."""

import copy
import tomllib
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import OVERRIDES, load_profile
from addon.rules.cast.spec import CastSpec
from addon.rules.chain.families import draw
from addon.rules.chain.options import UNASKED
from addon.rules.chain.spec import FAMILIES, ChainSpec, LayoutSpec
from addon.rules.feed.spec import FeedSpec
from addon.rules.files import job_chain, job_layout, stl
from addon.rules.files.job import Job, job_text, parse_job
from addon.rules.solid.mesh import Mesh, merged
from tests.mesh_shapes import moved, torus

GOOD = """
schema = 1
name = "Harbour bracelet"
[chain]
family = "curb"
wire_mm = 2.2
link_length_mm = 12.2
link_width_mm = 9.7
gap_mm = 0.4
[layout]
shape = "ring"
inner_length_mm = 186.0
[process]
profile = "bench"
bleed_mm = 0.03
[feed]
base_ring = true
upper_ring = true
tip_mm = 1.0
gate_mm = 2.4
ring_mm = 4.0
[cast]
alloy = "tin-bronze"
metal_c = 1120
flask_c = 550
head = "vacuum"
flask = "100x150"
"""


def good() -> dict[str, Any]:
    return tomllib.loads(GOOD)


def changed(**changes: object) -> dict[str, Any]:
    """Give the good job with table.key (written table__key) set, or taken away by None."""
    values = good()
    for path, value in changes.items():
        table, key = path.split("__")
        values.setdefault(table, {})
        if value is None:
            values[table].pop(key, None)
        else:
            values[table][key] = value
    return values


def test_a_good_job_reads_as_written() -> None:
    job = parse_job(good(), "job.toml")
    assert (job.name, job.chain.family, job.chain.wire_mm) == ("Harbour bracelet", "curb", 2.2)
    assert (job.layout.shape, job.layout.inner_length_mm, job.layout.face) == ("ring", 186.0, "out")
    assert job.profile.bleed_mm == 0.03
    assert (job.feed.upper_ring, job.feed.gate_mm) == (True, 2.4)
    assert job.cast.flask_mm == (100.0, 150.0)


def test_only_the_required_keys_are_required() -> None:
    values = good()
    for table in ("process", "feed", "cast", "name"):
        del values[table]
    job = parse_job(values, "job.toml")
    assert job.profile == load_profile("bench")
    assert job.cast.alloy == "tin-bronze"
    for table, key in [("chain", k) for k in good()["chain"]] + [("layout", "shape"), ("layout", "inner_length_mm")]:
        short = copy.deepcopy(values)
        del short[table][key]
        with pytest.raises(BadInput, match=f"{table}.{key}"):
            parse_job(short, "job.toml")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"chain__wire_mm": 0}, "chain.wire_mm: 0 does not work"),
        ({"chain__wire_mm": -2.2}, r"chain\.wire_mm"),
        ({"chain__wire_mm": float("nan")}, "chain.wire_mm"),
        ({"chain__gap_mm": "wide"}, "chain.gap_mm: must be a number"),
        ({"chain__famly": "curb"}, "did you mean 'family'"),
        ({"chain__family": "snake"}, "chain.family"),
        ({"layout__shape": "knot"}, "layout.shape"),
        ({"layout__links": 30}, "layout.links: inner_length_mm says the size already"),
        ({"layout__inner_length_mm": None, "layout__length_mm": 186}, "layout.length_mm: a closed chain is measured"),
        ({"layout__inner_length_mm": None, "layout__links": 1}, "from 2 to 5000"),
        ({"layout__inner_length_mm": None, "layout__links": 2.5}, "whole number"),
        ({"layout__ease_mm": 10}, "goes with wrist_mm"),
        ({"layout__face": "up"}, "layout.face"),
        ({"process__profile": "dream"}, "there is no profile 'dream'; choose"),
        ({"process__layer_mm": 0}, "process.layer_mm"),
        ({"process__scale": "big"}, "process.scale"),
        ({"feed__base_ring": False}, "feed.base_ring"),
        ({"feed__gate_mm": 0}, "feed.gate_mm"),
        ({"feed__trunk": "wood"}, "feed.trunk"),
        ({"feed__keep_out": [-1]}, "feed.keep_out"),
        ({"feed__pinned": {}}, r"feed\.pinned: must be tables; write \[\[feed\.pinned\]\]"),
        ({"feed__pinned": [{"body": "link 1"}]}, r"feed\.pinned\[0\]\.points"),
        ({"feed__pinned": [{"body": "link 1", "points": [[0, 0, 0]] * 5}]}, "two neighbours lie in one place"),
        ({"feed__barred": [{"body": "link 1", "at": [0, 0]}]}, r"feed\.barred\[0\]\.at"),
        ({"cast__flask": "100"}, "cast.flask"),
        ({"cast__flask": "100x9"}, "cast.flask"),
        ({"cast__head": "steam"}, "cast.head"),
    ],
)
def test_what_cannot_be_is_named(changes: dict[str, object], words: str) -> None:
    with pytest.raises(BadInput, match=words):
        parse_job(changed(**changes), "job.toml")


def test_schema() -> None:
    values = good()
    values["schema"] = 2
    with pytest.raises(BadInput, match="newer than this version"):
        parse_job(values, "job.toml")
    del values["schema"]
    with pytest.raises(BadInput, match="schema: missing"):
        parse_job(values, "job.toml")


def test_wrist_and_ease_make_the_inner_length() -> None:
    job = parse_job(changed(layout__inner_length_mm=None, layout__wrist_mm=165, layout__ease_mm=20), "job.toml")
    assert job.layout.inner_length_mm == 185.0


@pytest.mark.parametrize("points", [[], [[0, 0, 0]], [[0, 0, 0], [1, 2]], [[0, 0, 0], [0, 0, "x"]], "curve", 5])
def test_bad_points(points: object) -> None:
    with pytest.raises(BadInput, match=r"layout\.points"):
        parse_job(changed(layout__inner_length_mm=None, layout__shape="curve", layout__points=points), "job.toml")


def test_a_curve_that_ends_where_it_began_is_closed() -> None:
    square = [[0, 0, 0], [60, 0, 0], [60, 60, 0], [0, 60, 0], [0, 0, 0]]
    closed = parse_job(changed(layout__inner_length_mm=None, layout__shape="curve", layout__points=square), "job.toml")
    assert closed.layout.cyclic
    assert len(closed.layout.points) == 4
    half = changed(layout__inner_length_mm=None, layout__shape="curve", layout__points=square[:3])
    assert not parse_job(half, "job.toml").layout.cyclic


# Every key of a job once in a value that goes with its family or its shape, by table.
CHAINS: list[dict[str, object]] = [
    {"family": "curb", "strands": 2, "facet_mm": 0.0},
    {"family": "curb", "facet_mm": 0.45, "chord_mm": 0.01},
    {"family": "figaro", "repeat": 2, "long_link_mm": 21.7, "facet_mm": 0.2},
    {"family": "trace", "section": "rectangle", "wire_width_mm": 3.3, "corner_mm": 0.35},
    {"family": "belcher", "section": "D", "wire_width_mm": 4.1, "corner_mm": 0.05},
    {"family": "curb", "section": "D", "wire_width_mm": 2.5},
    {"family": "anchor", "stud_mm": 1.9},
    {"family": "box", "section": "rectangle", "wire_width_mm": 3.0},
    {"family": "rope", "end_wire_mm": 1.9, "end_link_length_mm": 10.05, "end_link_width_mm": 8.3},
    {"family": "weave"},
    {"family": "mesh", "file": "link.stl", "axis": [0.3, 0.1, -0.2], "turn_deg": -33.5},
    {"family": "mesh", "file": "link.stl"},
]
ARC = [[0, 0, 0.125], [50, 0, 0], [60, 30, 0]]
LAYOUTS: list[dict[str, object]] = [
    {"shape": "ring", "inner_length_mm": 186.0, "hand_mm": 205.5, "fit": "ease", "face": "flat", "ends": "closed"},
    {"shape": "ring", "links": 30, "ends": "cover"},
    {"shape": "ring", "links": 30, "ends": "open", "clasp": "hook-eye", "clasp_length_mm": 12.25},
    {"shape": "straight", "length_mm": 180.1, "clasp": "eyes", "fit": "ease"},
    {"shape": "straight", "inner_length_mm": 180.1},
    {"shape": "spiral", "inner_length_mm": 420, "clasp": "ring-bar", "turn_pitch_mm": 18.2, "turn_radius_mm": 14},
    {"shape": "coil", "links": 80, "turn_pitch_mm": 18.2, "turn_radius_mm": 24.0},
    {"shape": "serpentine", "length_mm": 400, "turn_pitch_mm": 30, "turn_radius_mm": 15.0, "row_mm": 66.6},
    {"shape": "curve", "points": ARC},
    {"shape": "curve", "points": ARC, "links": 7, "ends": "open"},
    {"shape": "curve", "points": ARC, "ends": "closed"},
    {"shape": "curve", "points": [*ARC, ARC[0]], "inner_length_mm": 120},
    {"shape": "curve", "points": [*ARC, ARC[0]], "ends": "cover"},
    {"shape": "curve", "points": [*ARC, ARC[0]], "ends": "open"},
]
PROCESSES: list[dict[str, object]] = [
    {"profile": "bench", "feed_distance_mm": 12.5, "scale": 1.01, "layer_mm": 0.04, "bleed_mm": 0.03},
    {"scale": "auto", "over_cure_mm": 0.11, "gap_floor_mm": 0.21, "web_floor_mm": 0.22, "strut_web_mm": 0.7},
    {"wall_floor_mm": 0.75, "overhang_deg": 44.5, "bridge_mm": 2.25},
]
FIVE = [[0.0, 0.5, -9.0], [0.0, 0.5, -7.0], [0.0, 0.25, -4.0], [0.0, 0.25, -2.5], [0.0, 0.25, -2.0]]
FEEDS: list[dict[str, object]] = [
    {"base_ring": True, "upper_ring": True, "tip_mm": 1.05, "gate_mm": 2.45, "gate_length_mm": 3.3, "ring_mm": 4.1},
    {"upper_ring": False},
    {"upper_ring_mm": 3.1, "post_mm": 3.2, "spoke_mm": 5.1, "hub_mm": 12.5, "trunk": "printed", "cut": "nipper"},
    {"trunk_length_mm": 16.5, "fillet_mm": 0.4, "keep_out": [3, 7]},
    {
        "pinned": [{"body": "link 3", "above": False, "points": FIVE, "shaft_mm": 2.4, "tip_mm": 1.1}],
        "wanted": [{"body": "link 5", "at": [0.5, 0.0, -2.25], "above": True}],
        "barred": [{"body": "link 4", "at": [1.5, 0.0, -2.25], "above": False}],
        "removed": [{"body": "link 6", "at": [2.5, 0.0, -2.25], "above": False}],
    },
]
CASTS: list[dict[str, object]] = [
    {"alloy": "gold-14-yellow", "metal_c": 1001.5, "flask_c": 551.5, "head": "spin", "flask": "100.25x150"},
    {
        "alloy": "sterling-silver",
        "investment": "gypsum",
        "flask": "auto",
        "resin": "printed-wax",
        "tilt": True,
        "spin_arm": "bench-arm",
    },
    {"metal_price_per_g": 0.95, "investment_price_per_kg": 3.5, "currency": "€"},
]
JOBS = [
    *({"chain": one} for one in CHAINS),
    *({"layout": one} for one in LAYOUTS),
    *({"process": one} for one in PROCESSES),
    *({"feed": one} for one in FEEDS),
    *({"cast": one} for one in CASTS),
]
# Keys that say the size in other words: what is written back is the inside length they make.
OTHER_WORDS = {"wrist_mm", "ease_mm", "finger_size"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a link mesh in it: a ring of radius 5 and wire 1 about z."""
    stl.write(tmp_path / "link.stl", torus())
    return tmp_path


def whole(part: dict[str, dict[str, object]]) -> dict[str, object]:
    """Complete one table of a job with what it requires, and the job with its other tables."""
    sizes: dict[str, object] = {"wire_mm": 2.2, "link_length_mm": 12.2, "link_width_mm": 9.7}
    if part.get("chain", {}).get("family") == "mesh":
        sizes = {}
    chain = {"family": "curb", **sizes, "gap_mm": 0.4, **part.get("chain", {})}
    rest = {key: value for key, value in part.items() if key not in ("chain", "layout")}
    return {"schema": 1, "chain": chain, "layout": part.get("layout", {"shape": "ring", "links": 30}), **rest}


def comparable(job: Job) -> object:
    """Give a job as values that compare: a mesh by its points and triangles."""
    own = job.chain.own
    mesh = None if own is None else (own.points.tolist(), own.triangles.tolist())
    return replace(job, chain=replace(job.chain, own=None)), mesh


@pytest.mark.parametrize("part", JOBS, ids=lambda part: next(iter(part)))
def test_written_text_reads_back_the_same(part: dict[str, dict[str, object]], folder: Path) -> None:
    job = parse_job(whole(part), "job.toml", folder=folder)
    text = job_text(job, load_profile("bench"))
    assert comparable(parse_job(tomllib.loads(text), "job.toml", folder=folder)) == comparable(job)
    assert job_text(parse_job(tomllib.loads(text), "job.toml", folder=folder), load_profile("bench")) == text


@pytest.mark.parametrize("part", JOBS, ids=lambda part: next(iter(part)))
def test_what_is_written_is_what_was_asked(part: dict[str, dict[str, object]], folder: Path) -> None:
    """A key that is read but not used, or not written, would read back the same as well."""
    text = tomllib.loads(job_text(parse_job(whole(part), "job.toml", folder=folder), load_profile("bench")))
    unsaid = {("chain", "facet_mm"): 0.0, ("cast", "flask"): "auto", ("process", "scale"): "auto"}
    unsaid |= {("layout", "ends"): "closed", ("layout", "fit"): "nearest"}
    for table, keys in part.items():
        for key, value in keys.items():
            if key == "points":
                value = [*ARC, ARC[0]] if keys.get("ends") in ("closed", "cover") else value
            assert text[table].get(key, unsaid.get((table, key))) == value, key


def test_every_key_is_tried_both_ways() -> None:
    tried = {(table, key) for part in JOBS for table, keys in whole(part).items() if table != "schema" for key in keys}
    known = {("chain", key) for key in job_chain.KEYS} | {("layout", key) for key in set(job_layout.KEYS) - OTHER_WORDS}
    known |= {("process", key) for key in ("profile", *OVERRIDES)}
    known |= {("feed", f.name) for f in fields(FeedSpec)}
    known |= {("cast", "flask" if f.name == "flask_mm" else f.name) for f in fields(CastSpec)}
    assert tried == known


def test_every_field_of_the_specs_has_its_key() -> None:
    chain = {"file" if f.name == "own_file" else f.name for f in fields(ChainSpec)} - {"own"}
    assert set(job_chain.KEYS) == chain
    assert set(job_layout.KEYS) == {f.name for f in fields(LayoutSpec)} - {"cyclic"} | OTHER_WORDS


@pytest.mark.parametrize("family", FAMILIES)
def test_a_key_of_another_family_says_whose_it_is(family: str, folder: Path) -> None:
    """And every key of the family's own is taken."""
    said = {key: value for part in CHAINS for key, value in part.items() if key != "family"}
    for key, families in job_chain.BELONGS.items():
        values = whole({"chain": {"family": family, "file": "link.stl"} if family == "mesh" else {"family": family}})
        values["chain"] |= {key: said[key]}  # type: ignore[operator]
        if family in families:
            parse_job(values, "job.toml", folder=folder)
            continue
        with pytest.raises(BadInput, match=rf"job\.toml: chain\.{key}: belongs to family .*{families[-1]}"):
            parse_job(values, "job.toml", folder=folder)


@pytest.mark.parametrize("key", sorted(UNASKED.keys() - {"own", "own_file"}))
def test_the_families_take_the_options_that_the_job_file_says_are_theirs(key: str) -> None:
    values: dict[str, Any] = {key: value for part in CHAINS for key, value in part.items()}
    values |= {"axis": (1.0, 0.0, 0.0), "section": "D", "strands": 2, "facet_mm": 0.2}
    for family in set(FAMILIES) - {"mesh"}:
        spec = ChainSpec(family, 1.8, 14.0, 10.0, 0.3, **{key: values[key]})
        try:
            draw(spec)
            foreign = False
        except BadInput as error:
            foreign = f"chain.{key}: does not belong" in str(error)
        assert foreign == (family not in job_chain.BELONGS[key]), family


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ({"family": "curb", "strands": 3}, "chain.strands: 3 does not work; give a whole number from 1 to 2"),
        ({"family": "curb", "facet_mm": -0.1}, "chain.facet_mm"),
        ({"family": "figaro", "repeat": 0}, "chain.repeat: 0 does not work"),
        ({"family": "figaro", "repeat": 2.0}, "chain.repeat: must be a whole number"),
        ({"family": "figaro", "long_link_mm": 0}, "chain.long_link_mm"),
        ({"family": "anchor", "stud_mm": "thick"}, "chain.stud_mm: must be a number"),
        ({"family": "box", "section": "oval"}, "chain.section: 'oval' is not one of its words; .* D, rectangle"),
        ({"family": "belcher", "section": "oval"}, "chain.section: 'oval' is not one of its words"),
        ({"family": "belcher", "wire_width_mm": 0}, "chain.wire_width_mm: 0 does not work; give a number above 0"),
        ({"family": "trace", "corner_mm": -1}, "chain.corner_mm"),
        ({"family": "curb", "end_wire_mm": 0}, "chain.end_wire_mm: 0 does not work"),
        ({"family": "curb", "end_link_length_mm": -3}, "chain.end_link_length_mm"),
        ({"family": "curb", "chord_mm": 0}, "chain.chord_mm: 0 does not work; give a number from 0.0005 to 1"),
        ({"family": "mesh"}, "chain.file: missing"),
        ({"family": "mesh", "file": 3}, "chain.file: must be a text"),
        ({"family": "mesh", "file": "none.stl"}, "chain.file: .*none.stl: no such file"),
        ({"family": "mesh", "file": "link.step"}, "chain.file: .*link.step: cannot tell"),
        ({"family": "mesh", "file": "link.blend"}, "chain.file: .*only Blender reads .blend"),
        ({"family": "mesh", "file": "two.stl"}, "chain.file: two.stl holds 2 bodies"),
        ({"family": "mesh", "file": "link.stl", "turn_deg": 400}, "chain.turn_deg: 400 does not work"),
        ({"family": "mesh", "file": "link.stl", "axis": [0, 0, 0]}, "chain.axis: .* is no direction"),
        ({"family": "mesh", "file": "link.stl", "axis": [0, 0, 1]}, "chain.axis: it runs through the hole"),
        ({"family": "mesh", "file": "link.stl", "axis": [1, 0]}, "chain.axis: .* is no direction"),
        ({"family": "mesh", "file": "link.stl", "axis": "x"}, "chain.axis: 'x' is no direction"),
    ],
)
def test_wrong_values_of_one_link_are_named(part: dict[str, object], words: str, folder: Path) -> None:
    (folder / "link.blend").write_bytes(b"x")
    stl.write(folder / "two.stl", merged([torus(), moved(torus(), (40.0, 0.0, 0.0))]))
    with pytest.raises(BadInput, match=f"job.toml: {words}"):
        parse_job(whole({"chain": part}), "job.toml", folder=folder)


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ({"shape": "ring"}, "layout.inner_length_mm: missing; give inner_length_mm or links"),
        ({"shape": "spiral"}, "layout.length_mm: missing; give length_mm, inner_length_mm or links"),
        ({"shape": "curve", "links": 9}, "layout.points: missing"),
        ({"shape": "curve", "points": [[1, 2, 3], [1, 2, 3]]}, "layout.points: all its points lie in one place"),
        ({"shape": "ring", "links": 30, "points": ARC}, 'layout.points: only shape = "curve"'),
        ({"shape": "ring", "links": 30, "turn_pitch_mm": 20}, "layout.turn_pitch_mm: a ring has no such size"),
        ({"shape": "spiral", "links": 30, "row_mm": 20}, "layout.row_mm: a spiral has no such size.* serpentine"),
        ({"shape": "spiral", "links": 30, "turn_pitch_mm": 0}, "layout.turn_pitch_mm: 0 does not work"),
        ({"shape": "coil", "links": 30, "turn_radius_mm": -4}, "layout.turn_radius_mm: -4 does not work"),
        ({"shape": "straight", "links": 30, "ends": "closed"}, "layout.ends"),
        ({"shape": "ring", "links": 30, "clasp": "eyes"}, 'layout.clasp: .*ends = "open"'),
        ({"shape": "spiral", "links": 30, "clasp": "lobster"}, "layout.clasp: 'lobster' is not one of its words"),
        ({"shape": "spiral", "links": 30, "clasp_length_mm": 0}, "layout.clasp_length_mm: 0 does not work"),
        ({"shape": "ring", "finger_size": 7}, "layout.finger_size: 7 does not work; give a number from 30 to 100 mm"),
        ({"shape": "ring", "finger_size": 54, "links": 20}, "layout.links: finger_size says the size already"),
        ({"shape": "ring", "wrist_mm": 170, "inner_length_mm": 180}, "layout.wrist_mm: inner_length_mm says the size"),
        ({"shape": "coil", "links": 30, "fit": "ease"}, "layout.fit"),
    ],
)
def test_wrong_values_of_a_layout_are_named(part: dict[str, object], words: str) -> None:
    with pytest.raises(BadInput, match=f"job.toml: {words}"):
        parse_job(whole({"layout": part}), "job.toml")


def test_a_finger_size_is_the_length_round_the_inside() -> None:
    """ISO 8653: a ring size is the inside circumference in mm."""
    job = parse_job(whole({"layout": {"shape": "ring", "finger_size": 54}}), "job.toml")
    assert job.layout.inner_length_mm == 54.0


def test_an_own_link_fills_the_sizes_that_are_left_out(folder: Path) -> None:
    """A ring of radius 5 and wire 2 mm thick (radius 1): 12 mm long and wide, whatever way in its plane it hangs."""
    spec = parse_job(
        whole({"chain": {"family": "mesh", "file": "link.stl", "axis": [0, 1, 0]}}), "job.toml", folder=folder
    ).chain
    assert (spec.link_length_mm, spec.link_width_mm) == pytest.approx((12.0, 12.0), abs=0.1)
    assert spec.wire_mm == pytest.approx(2.0, abs=0.1)
    assert spec.own is not None


@pytest.mark.parametrize("times", [0.001, 1000.0])
def test_an_own_link_in_another_unit_is_told_by_its_size(times: float, tmp_path: Path) -> None:
    """Its sizes were never written, so the file is what to mend."""
    link = torus()
    stl.write(tmp_path / "link.stl", Mesh(link.points * times, link.triangles))
    values = good()
    values["chain"] = {"family": "mesh", "file": "link.stl", "gap_mm": 0.4}
    with pytest.raises(BadInput, match=r"chain\.file: the link mesh measures .* for a link; scale it to mm"):
        parse_job(values, "job.toml", folder=tmp_path)


def test_an_own_link_without_a_file_cannot_be_written() -> None:
    job = parse_job(good(), "job.toml")
    unsaved = replace(job, chain=replace(job.chain, family="mesh", own=torus()))
    with pytest.raises(BadInput, match=r"chain\.file: the link mesh has no file"):
        job_text(unsaved, load_profile("bench"))


def test_names_with_quotes_and_line_breaks_survive() -> None:
    values = good()
    values["name"] = 'The "wide"\\one\n\u2013 \u00e9'
    job = parse_job(values, "job.toml")
    assert parse_job(tomllib.loads(job_text(job, load_profile("bench"))), "job.toml").name == job.name

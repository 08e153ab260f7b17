"""Job files: read, checked, written back."""

import copy
import tomllib
from typing import Any

import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import load_profile
from addon.rules.files.job import job_text, parse_job

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
        ({"chain__family": "rope"}, "chain.family"),
        ({"layout__shape": "knot"}, "layout.shape"),
        ({"layout__links": 30}, "layout.links: inner_length_mm says the size already"),
        ({"layout__inner_length_mm": None, "layout__length_mm": 186}, "layout.length_mm: does not size a ring"),
        ({"layout__inner_length_mm": None, "layout__links": 1}, "from 2 to 5000"),
        ({"layout__inner_length_mm": None, "layout__links": 2.5}, "whole number"),
        ({"layout__ease_mm": 10}, "goes with wrist_mm"),
        ({"layout__face": "up"}, "layout.face"),
        ({"process__profile": "dream"}, "there is no profile 'dream'; choose"),
        ({"process__layer_mm": 0}, "process.layer_mm"),
        ({"process__scale": "big"}, "process.scale"),
        ({"feed__base_ring": False}, "feed.base_ring"),
        ({"feed__gate_mm": 0}, "feed.gate_mm"),
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


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"process__feed_distance_mm": 12.5, "process__scale": 1.01},
        {"layout__inner_length_mm": None, "layout__links": 30},
        {"layout__inner_length_mm": None, "layout__shape": "curve", "layout__points": [[0, 0, 0.125], [50, 0, 0]]},
        {"cast__flask": "auto", "cast__metal_c": None},
    ],
)
def test_written_text_reads_back_the_same(changes: dict[str, object]) -> None:
    job = parse_job(changed(**changes), "job.toml")
    again = parse_job(tomllib.loads(job_text(job, load_profile("bench"))), "job.toml")
    assert again == job


def test_names_with_quotes_and_line_breaks_survive() -> None:
    values = good()
    values["name"] = 'The "wide"\\one\n\u2013 \u00e9'
    job = parse_job(values, "job.toml")
    assert parse_job(tomllib.loads(job_text(job, load_profile("bench"))), "job.toml").name == job.name

"""The figures behind one finding, and the joint it is at, in few words."""

import math

import pytest

from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.inspect.finding import Finding
from addon.rules.inspect.inspection import BodyFacts, Inspection, Pair, WebPatch
from addon.rules.inspect.ladder import ladder
from addon.verbs.inspection_words import Figure, finding_figures, joint_names, where_words

AT = (0.0, 0.0, 0.0)
NAMES = ("link 3", "link 4")


def body(name, wall_mm):
    return BodyFacts(name, 111.0, 204.0, True, 1, (AT, (10.0, 20.0, 2.5)), wall_mm, AT)


def inspection(pair=None, webs=(), wall_mm=1.2):
    bodies = tuple(body(name, wall_mm) for name in NAMES)
    return Inspection(bodies, () if pair is None else (pair,), webs, ())


def near(gap_mm, direction=(1.0, 0.0, 0.0), bleed_mm=0.02):
    steps = ladder(gap_mm, direction, scale=1.02, bleed_mm=bleed_mm, expansion=0.01, shrinkage=0.02)
    return Pair(*NAMES, gap_mm, AT, AT, True, steps)


def figures(finding, seen):
    (found,) = finding_figures((finding,), seen)
    return found


def test_a_gap_goes_down_the_ladder_and_names_its_limit():
    """By hand: 0.3 x 1.02 - 2 x 0.02 = 0.266; x 1.01 = 0.26866; x 0.98 = 0.2632868."""
    finding = Finding("gap-below-floor", "warn", NAMES, "", AT, 0.266, 0.35)
    assert figures(finding, inspection(near(0.3))) == (
        Figure("Gap in Model", "0.300 mm"),
        Figure("Printed", "0.266 mm", "better 0.35"),
        Figure("Mould Web", "0.269 mm"),
        Figure("Cast", "0.263 mm"),
        Figure("Finished", "0.263 mm"),
    )


def test_bodies_named_the_other_way_round_are_the_same_pair():
    there, back = (Finding("not-linked", "stop", names, "", AT) for names in (NAMES, NAMES[::-1]))
    seen = inspection(near(0.3))
    assert figures(there, seen) == figures(back, seen) != ()


def test_a_gap_that_closes_in_print_goes_no_further():
    finding = Finding("gap-below-floor", "stop", NAMES, "", AT, -0.01, 0.25)
    assert figures(finding, inspection(near(0.03))) == (
        Figure("Gap in Model", "0.030 mm"),
        Figure("Printed", "closes up", "needs 0.25"),
    )


@pytest.mark.parametrize(("depth", "words"), [(0.4123, "0.412 mm"), (0.0, "none, they touch"), (2e-5, "<0.001 mm")])
def test_fused_bodies_tell_their_depth(depth, words):
    finding = Finding("fused", "stop", NAMES, "", AT, 0.0, 0.25)
    fused = Pair(*NAMES, 0.0, AT, AT, None, depth_mm=depth)
    assert figures(finding, inspection(fused)) == (Figure("Fused Depth", words),)


def test_a_gap_that_was_not_searched_for_has_no_figures():
    finding = Finding("not-linked", "note", NAMES, "", AT)
    assert figures(finding, inspection(Pair(*NAMES, None, None, None, True))) == ()


def test_a_web_tells_its_width_and_depth_under_the_ladder():
    finding = Finding("web-weak", "stop", NAMES, "", AT, 12.5, 8.66)
    web = WebPatch(*NAMES, AT, 0.4, 7.5, 5.0, 2.5)
    found = {figure.name: figure for figure in figures(finding, inspection(near(0.3), (web,)))}
    assert list(found)[:2] == ["Gap in Model", "Printed"]
    assert (found["Web Width"].value, found["Web Depth"].value) == ("5.000 mm", "2.500 mm")
    assert found["Wide / Thick"] == Figure("Wide / Thick", "12.5", "at most 8.66")


def test_a_web_without_an_open_edge_has_no_width():
    finding = Finding("web-weak", "stop", NAMES, "", AT, 999.0, 8.66)
    web = WebPatch(*NAMES, AT, 0.4, 7.5, math.inf, math.inf)
    found = figures(finding, inspection(near(0.3), (web,)))
    assert Figure("Web Width", "no open edge", "at most 8.66") in found
    assert not any("inf" in figure.value for figure in found)


def test_a_thin_wall_tells_what_it_is_in_the_model_and_in_print():
    finding = Finding("wall-thin", "stop", ("link 3",), "", AT, 0.612, 0.8)
    seen = inspection(wall_mm=0.6)
    assert figures(finding, seen) == (
        Figure("Wall in Model", "0.600 mm"),
        Figure("Printed", "0.612 mm", "needs 0.8"),
    )


@pytest.mark.parametrize(
    "finding",
    [
        Finding("no-gate", "stop", ("link 3",), ""),
        Finding("strut-near", "stop", ("gate 2", "link 4"), ""),
        Finding("size-off", "note", (), ""),
        Finding("undecided-link", "warn", ("link 3", "link 4", "link 5"), ""),
    ],
)
def test_what_no_gap_stands_behind_has_no_figures(finding):
    assert figures(finding, inspection(near(0.3))) == ()


def test_joints_are_numbered_along_the_chain_and_round_it():
    ring = finish(build_chain(ChainSpec("trace", 1.2, 7.0, 5.0, gap_mm=0.4), LayoutSpec("ring", links=30)))
    names = joint_names(ring)
    assert len(names) == ring.links
    assert names[frozenset(("link 3", "link 4"))] == "joint 3\u20134"
    assert names[frozenset(("link 1", f"link {ring.links}"))] == f"joint {ring.links}\u20131"


@pytest.mark.parametrize(
    ("bodies", "words"),
    [
        (("link 4", "link 3"), "joint 3\u20134"),
        (("link 3", "link 5"), "link 3, link 5"),
        (("Clasp", "My ring"), "Clasp, My ring"),
        (("link 3",), "link 3"),
        ((), ""),
        (("a", "b", "c", "d"), "a, b, c ..."),
    ],
)
def test_only_neighbours_of_our_chain_are_a_joint(bodies, words):
    joints = {frozenset(("link 3", "link 4")): "joint 3\u20134"}
    assert where_words(Finding("fused", "stop", bodies, ""), joints) == words

"""The upper ring and its posts: they print alone by the layer inspection, and posts are as few as can be."""

from functools import cache
from itertools import combinations, pairwise

import numpy as np
import pytest
from lattices import BENCH, chain, codes, curve_way, planned, ring_way, straight_way

from addon.rules.base.progress import finish
from addon.rules.feed.lattice import Lattice
from addon.rules.feed.posts import fewest
from addon.rules.feed.upper import span_findings
from addon.rules.inspect.layers import slice_layers
from addon.rules.inspect.overhang import LEDGE_MM, SAMPLE_MM, overhangs
from addon.rules.solid.mesh import Body, Mesh
from addon.rules.solid.topology import facts

SAW_ROOM_MM = 3.0
TURNS = np.linspace(0.0, 3 * np.pi, 25)
SPIRAL = np.stack(((9.0 + 2.1 * TURNS) * np.cos(TURNS), (9.0 + 2.1 * TURNS) * np.sin(TURNS), 0 * TURNS), axis=1)
BENDS = np.linspace(0.0, 50.0, 9)
SERPENTINE = np.stack((BENDS, 9 * np.sin(BENDS / 9), 0 * BENDS), axis=1)
CLIMB = np.stack((BENDS, 0 * BENDS, 0.12 * BENDS), axis=1)


@cache
def job(name: str) -> Lattice:
    ways = {
        "ring": lambda: ring_way(12, 6.8),
        "odd ring": lambda: ring_way(13, 6.8),
        "fine ring": lambda: ring_way(16, 4.8),
        "spiral": lambda: curve_way(_even(SPIRAL, 6.8)),
        "serpentine": lambda: curve_way(_even(SERPENTINE, 6.8)),
        "climbing": lambda: curve_way(_even(CLIMB, 6.8)),
        "line": lambda: straight_way(6, 6.8),
    }
    way = ways[name]()
    sizes = {"wire": 1.5, "length": 8.6, "width": 7.0} if name == "fine ring" else {}
    lattice = planned(chain(way, samples=64, **sizes), way, upper_ring=True)
    return lattice.moved(np.array([0.0, 0.0, -lattice.plate_z_mm]))


def _even(points: np.ndarray, step: float) -> np.ndarray:
    fine = np.stack([np.interp(np.linspace(0, 1, 4001), np.linspace(0, 1, len(points)), x) for x in points.T], axis=1)
    walked = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(fine, axis=0), axis=1))))
    at = np.arange(0.0, walked[-1], step)
    return np.stack([np.interp(at, walked, x) for x in fine.T], axis=1)


JOBS = ("ring", "odd ring", "fine ring", "spiral", "serpentine", "climbing", "line")


def roles(lattice: Lattice, *names: str) -> list:
    return [s for s in lattice.solids if s.role in names]


def carried_alone(lattice: Lattice) -> Body:
    """The base ring, the posts and the upper ring, joined by a general library."""
    manifold = pytest.importorskip("manifold3d")
    parts = []
    for solid in roles(lattice, "ring", "post", "upper"):
        mesh = manifold.Mesh64(solid.mesh.points, solid.mesh.triangles.astype(np.uint64))
        parts.append(manifold.Manifold(mesh))
    whole = manifold.Manifold.batch_boolean(parts, manifold.OpType.Add)
    assert len(whole.decompose()) == 1
    made = whole.to_mesh64()
    return Body("carried", Mesh(np.array(made.vert_properties)[:, :3], np.array(made.tri_verts).astype(np.int64)))


@pytest.mark.parametrize("name", JOBS)
def test_posts_and_hoop_print_alone_by_the_layer_inspection(name):
    lattice = job(name)
    assert codes(lattice.findings, "stop") == []
    assert "bridge" not in codes(lattice.findings)
    body = carried_alone(lattice)
    layers = finish(slice_layers([body], 0.1))
    assert layers.islands == ()
    found = finish(overhangs([body], layers, BENCH.overhang_deg))
    assert max(one.span_mm for one in found) <= BENCH.bridge_mm + SAMPLE_MM
    assert max(one.reach_mm for one in found) <= LEDGE_MM + SAMPLE_MM
    # The level crowns are long: the inspection has looked at what it should.
    assert max(one.span_mm for one in found) > 0.7 * BENCH.bridge_mm


@pytest.mark.parametrize("name", JOBS)
def test_spans_are_longer_than_the_bridge_limit_where_the_hoop_dips_and_its_flanks_are_steep(name):
    lattice = job(name)
    (hoop,) = roles(lattice, "upper")
    assert facts(hoop.mesh).closed
    tops = np.array([p.struts[-1].end for p in roles(lattice, "post")])
    line = np.array([s.start for s in hoop.struts] + [hoop.struts[-1].end])
    assert max(np.linalg.norm(line - top, axis=1).min() for top in tops) < hoop.struts[0].d_start_mm / 2
    step = np.diff(line, axis=0)
    slope = np.degrees(np.arctan2(np.abs(step[:, 2]), np.linalg.norm(step[:, :2], axis=1)))
    # Between level and a flank there is nothing: what slopes is either the chain's own climb or carries itself.
    climb = 8.0 if name == "climbing" else 0.5
    assert ((slope < climb) | (slope > BENCH.overhang_deg)).all()
    assert (slope > BENCH.overhang_deg).any()


@pytest.mark.parametrize("name", JOBS)
def test_gates_over_a_dip_keep_the_saw_room_and_end_in_the_hoop(name):
    lattice = job(name)
    (hoop,) = roles(lattice, "upper")
    line = np.array([s.start for s in hoop.struts] + [hoop.struts[-1].end])
    low = np.array([s.feeds is not None and s.above for s in lattice.solids])
    assert low.any()
    for solid in (s for s in lattice.solids if s.feeds is not None and s.above):
        start = np.array(solid.struts[0].start)
        away = [_to_line(start, a, b) for a, b in pairwise(line)]
        assert min(away) < 0.26 * hoop.struts[0].d_start_mm / 2 + 0.02
        length = sum(s.length_mm for s in solid.struts) - hoop.struts[0].d_start_mm / 2
        # The sunk end takes up to a third of the tip's diameter, and a round tip stands less deep at its rim.
        assert SAW_ROOM_MM - 1e-6 <= length <= 4.0 + solid.struts[-1].d_end_mm


def _to_line(p, a, b):
    t = np.clip((p - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
    return float(np.linalg.norm(p - a - t * (b - a)))


def test_two_links_share_a_post_where_a_level_ring_needs_one_for_less():
    """Twelve links of 6.8 mm: a level hoop may span 10 mm and 0.6 of a post, so it needs eight posts at the least."""
    lattice = job("ring")
    posts = roles(lattice, "post")
    (hoop,) = roles(lattice, "upper")
    plan = np.array([s.start for s in hoop.struts])[:, :2]
    round_mm = np.linalg.norm(plan - np.roll(plan, 1, axis=0), axis=1).sum()
    level = int(np.ceil(round_mm / (BENCH.bridge_mm + 0.6 * posts[0].struts[0].d_start_mm)))
    assert len(posts) == 6 < level


def test_a_dip_is_no_deeper_than_its_spans_ask_for():
    """Six equal spans: each has a crown as long as may be, so the layer inspection finds it within a few tenths."""
    lattice = job("ring")
    body = carried_alone(lattice)
    found = finish(overhangs([body], finish(slice_layers([body], 0.1)), BENCH.overhang_deg))
    crowns = [one.span_mm for one in found if one.span_mm > 5.0]
    assert len(crowns) == 6
    assert min(crowns) > BENCH.bridge_mm - 1.0


def test_a_level_hoop_is_measured_between_its_posts_and_a_post_taken_away_is_told():
    lattice = job("ring")
    assert span_findings(lattice, BENCH) == []
    posts = roles(lattice, "post")
    for gone in (posts[0], posts[-1]):
        (found,) = span_findings(Lattice(tuple(s for s in lattice.solids if s is not gone), 0.0), BENCH)
        assert found.code == "bridge"
        # Two crowns, and the dip that nothing holds: its flanks no longer carry.
        assert found.value > 2 * BENCH.bridge_mm
        assert np.linalg.norm(np.subtract(found.at, gone.struts[-1].end)) < 8.0
    (bare,) = span_findings(Lattice(tuple(roles(lattice, "upper")), 0.0), BENCH)
    assert bare.value == pytest.approx(12 * 6.8, rel=0.03)


def best_by_trying(at, run, reach, apart, round_mm):
    """Every choice there is, fewest first."""
    n = len(at)
    for count in range(1 if round_mm else 2, n + 1):
        for row in combinations(range(n), count):
            if round_mm is None and (row[0], row[-1]) != (0, n - 1):
                continue
            ends = [*row, row[0]] if round_mm else row
            spans = [(at[b] - at[a], run[a] + run[b]) for a, b in pairwise(ends)]
            if round_mm:
                spans[-1] = (spans[-1][0] + round_mm, spans[-1][1])
            if all(apart <= s <= reach + r for s, r in spans):
                return count
    return None


@pytest.mark.parametrize("closed", [True, False])
def test_posts_are_as_few_as_by_trying_every_choice(closed):
    random = np.random.default_rng(20 + closed)
    found = 0
    for _ in range(60):
        n = int(random.integers(4, 11))
        at = np.sort(random.uniform(0.0, 40.0, n))
        run, worth = random.choice([0.0, 1.2, 2.5], n), random.uniform(0.0, 1.0, n)
        round_mm = 40.0 if closed else None
        best = best_by_trying(at, run, 9.0, 3.0, round_mm)
        row = fewest(at, run, worth, reach_mm=9.0, apart_mm=3.0, round_mm=round_mm)
        assert sorted(set(row.tolist())) == row.tolist()
        if best is not None:
            found += 1
            assert len(row) == best
            assert best_by_trying(at[row], run[row], 9.0, 3.0, round_mm) == best
    assert found > 10


def test_a_gap_without_places_is_crossed_and_the_rest_keeps_the_limit():
    at = np.array([0.0, 8.0, 16.0, 40.0, 48.0, 56.0])
    row = fewest(at, np.zeros(6), np.zeros(6), reach_mm=9.0, apart_mm=3.0, round_mm=64.0)
    assert row.tolist() == [0, 1, 2, 3, 4, 5]


def test_posts_stand_where_their_fillets_find_room_and_are_no_more_for_it():
    """Foot to foot and head to head: between two rods of radius r and s that carry fillets f, web + 2 f is wanted."""
    way, fillet = ring_way(10, 7.6), 0.3
    bodies = chain(way, samples=48)
    room, count = [], []
    for wanted in (0.0, fillet):
        lattice = planned(bodies, way, upper_ring=True, fillet_mm=wanted)
        posts, gates = roles(lattice, "post"), roles(lattice, "gate")
        count.append(len(posts))
        ends = [(np.array(p.struts[k].start if k == 0 else p.struts[k].end), k != 0) for p in posts for k in (0, -1)]
        r = min(s.d_start_mm for s in posts[0].struts) / 2
        room.append(
            min(
                np.linalg.norm(end - g.struts[0].start) - r - min(s.d_end_mm for s in g.struts if s.role == "brace") / 2
                for end, high in ends
                for g in gates
                if g.above == high
            )
        )
    assert count[1] == count[0]
    assert room[0] < BENCH.strut_web_mm + 2 * fillet <= room[1]

"""Joining: few unions, each checked; whatever the solver does wrong is a stop that names the operands.

The sound unions here are made by a general solid library handed in as the boolean; what Blender makes of the same
operands, and whether it is right, is checked in tests/host/test_solid.py by other means.
"""

from dataclasses import replace

import numpy as np
import pytest
from lattices import chain, outside_boolean, planned, straight_way

from addon.rules.base.errors import CannotBuild
from addon.rules.base.progress import finish
from addon.rules.feed.join import join
from addon.rules.feed.lattice import Lattice
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import Body, Mesh, merged
from addon.rules.solid.topology import bodies_of, facts

WAY = straight_way(3, 6.8)
BODIES = chain(WAY, samples=48)
VOLUME = sum(volume_mm3(b.mesh) for b in BODIES)


@pytest.fixture(scope="module")
def lattice():
    return planned(BODIES, WAY, upper_ring=True)


@pytest.fixture(scope="module")
def solver():
    return outside_boolean()


def test_bodies_and_lattice_become_one_closed_solid_that_adds_up(lattice, solver):
    asked = []

    def counted(op, a, b):
        asked.append(op)
        return solver(op, a, b)

    solid = finish(join(BODIES, lattice, counted))
    assert solid.findings == ()
    assert solid.shells == 1
    found = facts(solid.mesh)
    assert found.closed
    assert not found.inside_out
    assert solid.volume_mm3 == pytest.approx(volume_mm3(solid.mesh), rel=1e-12)
    assert solid.bodies_volume_mm3 == pytest.approx(VOLUME, rel=1e-12)
    assert solid.volume_mm3 == pytest.approx(VOLUME + solid.lattice_volume_mm3, rel=1e-6)
    assert abs(solid.residue) <= 1e-6
    assert solid.lattice_volume_mm3 < lattice.volume_mm3
    assert solid.mesh.points[:, 2].min() == lattice.plate_z_mm
    assert asked[-2:] == ["union", "intersect"]
    assert len(asked) <= 5


def test_links_keep_their_rings_and_the_lattice_adds_its_own(lattice, solver):
    """Genus by counting: every joint of struts that closes a loop adds one handle, and each link is one already.

    V - E + F = 2 - 2 g for the shell, and cycles = pieces - nodes + 1 for the struts, here taken from the joined pairs.
    """
    solid = finish(join(BODIES, lattice, solver))
    mesh = solid.mesh
    edges = len(mesh.triangles) * 3 // 2
    assert 2 - 2 * solid.genus == len(mesh.points) - edges + len(mesh.triangles)
    assert solid.genus > len(BODIES)


def test_a_body_without_a_gate_is_a_second_shell_and_a_stop(lattice, solver):
    cut = replace(lattice, solids=tuple(s for s in lattice.solids if s.feeds != "link 2"))
    solid = finish(join(BODIES, cut, solver))
    assert solid.shells == 2
    assert [(f.code, f.severity, f.value) for f in solid.findings] == [("solid", "stop", 2.0)]


def test_bodies_that_cross_do_not_add_up(lattice, solver):
    crossed = (*BODIES[:2], BODIES[2].moved(np.array([-5.0, 0.0, 0.0])))
    solid = finish(join(crossed, lattice, solver))
    assert solid.mesh is None or any(f.severity == "stop" for f in solid.findings)


def stopped(bodies, lattice, boolean):
    solid = finish(join(bodies, lattice, boolean))
    assert solid.mesh is None
    assert [(f.code, f.severity) for f in solid.findings] == [("solid", "stop")]
    assert solid.volume_mm3 == 0.0
    assert solid.bodies_volume_mm3 == pytest.approx(sum(volume_mm3(b.mesh) for b in bodies))
    return solid.findings[0].text


def test_a_first_operand_given_back_unchanged_is_found_out(lattice):
    for given_back in (lambda _op, a, _b: a, lambda _op, _a, b: b):
        assert "the union of gates with posts and gates added nothing" in stopped(BODIES, lattice, given_back)


def test_an_open_result_is_found_out(lattice, solver):
    def leaky(op, a, b):
        out = solver(op, a, b)
        return Mesh(out.points, out.triangles[1:])

    assert "came back open" in stopped(BODIES, lattice, leaky)


def test_an_empty_result_is_found_out(lattice):
    nothing = Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))
    assert "came back empty" in stopped(BODIES, lattice, lambda _op, _a, _b: nothing)


def test_shells_laid_side_by_side_are_no_union(lattice):
    """A solver that only puts both meshes into one: closed, of the summed volume, and not one solid."""

    def heap(op, a, b):
        return merged([a, b]) if op == "union" else a

    solid = finish(join(BODIES, lattice, heap))
    assert any(f.code == "solid" and f.severity == "stop" for f in solid.findings)
    assert solid.shells > 1


def test_a_solver_that_refuses_is_told_of_with_the_operands(lattice):
    def refusing(_op, _a, _b):
        raise CannotBuild("the solver gave nothing back")

    text = stopped(BODIES, lattice, refusing)
    assert "the union of gates with posts and gates failed" in text
    assert "the solver gave nothing back" in text


NOTHING = Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))


def refused(_solver, _a, _b):
    raise CannotBuild("nothing came of it")


def torn(solver, a, b):
    out = solver("intersect", a, b)
    return Mesh(out.points, out.triangles[1:])


@pytest.mark.parametrize("shared", [refused, torn, lambda *_: NOTHING, lambda _solver, a, _b: a])
def test_what_is_shared_does_not_prove_it_then_the_difference_does(lattice, solver, shared):
    """Whatever the solver gives wrong for what bodies and struts share, the sum does not come out by it."""
    asked = []

    def wrong(op, a, b):
        asked.append(op)
        return shared(solver, a, b) if op == "intersect" else solver(op, a, b)

    solid = finish(join(BODIES, lattice, wrong))
    assert asked[-2:] == ["intersect", "difference"]
    assert solid.findings == ()
    assert abs(solid.residue) <= 1e-6
    assert solid.lattice_volume_mm3 == pytest.approx(solid.volume_mm3 - VOLUME, rel=1e-6)


def test_a_solver_that_fails_at_the_last_step_leaves_nothing_half_made(lattice, solver):
    def last(op, a, b):
        if op != "union":
            raise CannotBuild(f"no {op}")
        return solver(op, a, b)

    assert "no difference" in stopped(BODIES, lattice, last)


@pytest.mark.parametrize("lost", [0.02, -0.02])
def test_metal_lost_or_won_in_the_union_is_a_stop(lattice, solver, lost):
    """A closed whole of one shell whose bodies came out a little thinner or thicker: 2e-6 of the volume is seen."""

    def careless(op, a, b):
        out = solver(op, a, b)
        if op != "union" or volume_mm3(a) != pytest.approx(VOLUME, rel=1e-9):
            return out
        size = (1.0 - lost * 1e-4) ** (1 / 3)
        return Mesh(out.points * size, out.triangles)

    solid = finish(join(BODIES, lattice, careless))
    assert [(f.code, f.severity) for f in solid.findings] == [("solid", "stop")]
    assert "does not add up" in solid.findings[0].text
    assert solid.residue == pytest.approx(-lost * 1e-4, rel=1e-2)


def test_a_foot_lifted_off_the_plate_by_rounding_stands_on_it_again(lattice, solver):
    def lifting(op, a, b):
        out = solver(op, a, b)
        if op != "union" or volume_mm3(a) != pytest.approx(VOLUME, rel=1e-9):
            return out
        points = out.points.copy()
        points[points[:, 2] <= lattice.plate_z_mm, 2] += 1e-5
        return Mesh(points, out.triangles)

    solid, wanted = finish(join(BODIES, lattice, lifting)), finish(join(BODIES, lattice, solver))
    standing, wanted_standing = (s.mesh.points[:, 2] == lattice.plate_z_mm for s in (solid, wanted))
    assert standing.sum() == wanted_standing.sum() > 0
    assert not (solid.mesh.points[:, 2] < lattice.plate_z_mm).any()
    assert solid.volume_mm3 == pytest.approx(wanted.volume_mm3, rel=1e-7)


def test_an_open_or_turned_body_is_named_before_anything_is_joined(lattice):
    def never(_op, _a, _b):
        raise AssertionError("no union of an open body")

    mesh = BODIES[1].mesh
    for triangles in (mesh.triangles[1:], mesh.triangles[:, ::-1]):
        broken = (BODIES[0], Body("link 2", Mesh(mesh.points, triangles), BODIES[1].pose), BODIES[2])
        solid = finish(join(broken, lattice, never))
        assert solid.mesh is None
        assert "link 2 is open or inside out" in solid.findings[0].text


def test_no_struts_are_no_job(solver):
    assert "no struts" in stopped(BODIES, Lattice((), 0.0), solver)


@pytest.mark.parametrize("aside_mm", [None, 0.4])
def test_struts_that_meet_never_share_an_operand(lattice, solver, aside_mm):
    """Every operand holds solids apart from each other: united one by one, its shells have the volume of their sum."""

    def looking(op, a, b):
        if op == "union":
            for operand in (a, b):
                assert united_mm3(bodies_of(operand), solver) == pytest.approx(volume_mm3(operand), rel=1e-9)
        return solver(op, a, b)

    more = () if aside_mm is None else (s.moved(np.array([aside_mm, 0, 0])) for s in lattice.solids)
    solid = finish(join(BODIES, replace(lattice, solids=(*lattice.solids, *more)), looking))
    assert solid.mesh is not None


def united_mm3(shells, solver):
    """Give the volume of shells united one by one: less than their sum where two overlap."""
    united, *rest = (Mesh(shell.points.copy(), shell.triangles.copy()) for shell in shells)
    for shell in rest:
        united = solver("union", united, shell)
    return volume_mm3(united)

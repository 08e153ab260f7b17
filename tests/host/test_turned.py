"""A chain whose object is turned is fed, checked and exported as it stands in the scene."""

import bpy
import numpy as np
import pytest

from addon.host.conversions import double
from addon.host.print_view import section
from addon.host.result_state import state_of
from addon.host.showing import parts
from tests.host.test_print_check import light, look, rows, state, three_links


def world(objects):
    return np.concatenate(
        [np.array([ob.matrix_world @ v.co for v in ob.data.vertices], dtype=np.float64) for ob in objects]
    )


def test_the_lattice_of_a_turned_chain_stands_level_under_it(add_chain, tmp_path):
    ob = three_links(add_chain)
    ob.rotation_euler, ob.location = (0.0, 0.4, 0.7), (0.02, 0.01, 0.05)
    bpy.context.view_layer.update()
    bpy.ops.linkwright.add_lattice()
    bpy.context.view_layer.update()
    struts, links = world(parts(ob, "STRUT")), world(parts(ob, "LINK"))
    lowest = struts[:, 2].min()
    # The base is flat on a level plate: many points at its height, and the links above it.
    assert (struts[:, 2] < lowest + 1e-6).sum() > 50
    assert links[:, 2].min() > lowest + 1e-3
    light("PREVIEW")
    bpy.ops.linkwright.check_print()
    assert not rows("no-gate")
    state().section_share = 1
    ends = section.held @ double(ob.matrix_world)[:3, :3].T + double(ob.matrix_world)[:3, 3]
    assert np.ptp(ends[:, 2]) == pytest.approx(0.0, abs=1e-6)
    assert ends[:, 2].mean() == pytest.approx(lowest, abs=5e-4)
    for row in state_of(bpy.context).findings:
        if row.has_place:
            place = double(ob.matrix_world)[:3, :3] @ np.array(row.at) + double(ob.matrix_world)[:3, 3]
            assert np.linalg.norm(np.concatenate([struts, links]) - place, axis=1).min() < 1e-3
    bpy.ops.linkwright.export(directory=str(tmp_path))
    ob.rotation_euler = (0.0, 0.0, 0.7)
    look()
    assert state().turned

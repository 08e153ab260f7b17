"""Finger-sized chains against ISO 8653: a size is the circumference in mm of the largest cylinder that enters the ring.

The inner diameters are those of the table in the encyclopaedia entry "Ring size" (after ISO 8653:2016).
"""

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.files.job import parse_job

DIAMETERS_MM = {49: 15.6, 52: 16.6, 54: 17.2, 56: 17.8, 58: 18.5, 60: 19.1, 62: 19.7, 65: 20.7, 70: 22.3, 72: 22.9}
CURB = {"family": "curb", "wire_mm": 0.8, "link_length_mm": 4.6, "link_width_mm": 3.7, "gap_mm": 0.12}


@pytest.mark.parametrize(("size", "diameter"), DIAMETERS_MM.items())
def test_a_job_of_a_ring_size_asks_for_the_published_diameter(size, diameter):
    layout = {"shape": "ring", "finger_size": float(size)}
    job = parse_job({"schema": 1, "chain": CURB, "layout": layout}, "job")
    assert job.layout.inner_length_mm / np.pi == pytest.approx(diameter, abs=0.051)


@pytest.mark.parametrize("size", [56, 65])
def test_the_largest_cylinder_that_enters_has_the_length_told(size):
    """Of the printed ring by its meshes, which lie up to the chord tolerance inside the true wire."""
    chain = finish(build_chain(ChainSpec(**CURB, chord_mm=0.005), LayoutSpec("ring", inner_length_mm=float(size))))
    inside = min(np.hypot(*body.points()[:, :2].T).min() for body in chain.bodies)
    assert 2 * np.pi * inside == pytest.approx(chain.printed_inner_length_mm, abs=2 * np.pi * 0.006)
    nearest = min(chain.sizes, key=lambda made: abs(made.worn_mm - size))
    assert nearest.links == chain.links
    assert chain.worn_mm == nearest.worn_mm

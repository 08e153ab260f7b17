"""Make the sample scenes and job files in sample_scenes/: `python3 scripts/make_samples.py [FOLDER]`.

They are made from the figures below, each time the same; nothing in them is a copy of anyone's piece.
"""

import math
import os
import shutil
import sys
import tempfile
from pathlib import Path

import _setup

JOBS = {
    "tidewater": """# A curb bracelet that passes over a hand of 205 mm, poured in tin bronze.
schema = 1
name = "Tidewater bracelet"

[chain]
family = "curb"
wire_mm = 2.2
link_length_mm = 12.2
link_width_mm = 9.7
gap_mm = 0.4

[layout]
shape = "ring"
inner_length_mm = 210.0
hand_mm = 205.0
face = "out"
ends = "closed"

[process]
profile = "bench"

[feed]
upper_ring = false

[cast]
alloy = "tin-bronze"
head = "vacuum"
""",
    "saltmarsh": """# A trace chain along a meandering open line, poured in sterling silver.
schema = 1
name = "Saltmarsh chain"

[chain]
family = "trace"
wire_mm = 1.6
link_length_mm = 10.0
link_width_mm = 7.6
gap_mm = 0.35

[layout]
shape = "curve"
points = {points}

[process]
profile = "bench"

[cast]
alloy = "sterling-silver"
head = "vacuum"
""",
    "lantern": """# A trace bracelet of a given number of links, with an upper ring.
schema = 1
name = "Lantern bracelet"

[chain]
family = "trace"
wire_mm = 1.8
link_length_mm = 10.6
link_width_mm = 7.6
gap_mm = 0.4

[layout]
shape = "ring"
links = 32
hand_mm = 195.0

[feed]
upper_ring = true

[cast]
alloy = "silicon-bronze"
head = "gravity"
""",
}

# The control points of the hand-drawn line: Bezier knots with automatic handles, in mm.
MEANDER = ((-70.0, -18.0, 0.0), (-38.0, 16.0, 0.0), (-4.0, -14.0, 0.0), (30.0, 18.0, 0.0), (68.0, -6.0, 0.0))


def main():
    """Write all samples into the folder named on the command line, or sample_scenes/."""
    # Blender puts the home folder into every file it saves (its file browsers start there).
    os.environ["HOME"] = tempfile.gettempdir()
    import bpy

    sys.path.append(_setup.ROOT)
    import _sample_jobs

    import addon

    folder = Path(sys.argv[1] if len(sys.argv) > 1 else Path(_setup.ROOT) / "sample_scenes")
    folder.mkdir(parents=True, exist_ok=True)
    addon.register()
    try:
        _sample_jobs.write(folder)
        for make in (curb_bracelet, trace_on_curve, loose_links, figaro_spiral, own_link):
            bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
            bpy.ops.linkwright.set_millimetres()
            make(bpy)
            _save(bpy, folder / "{0}.blend".format(make.__name__))
            if make is trace_on_curve:
                line = _line(bpy)
        _jobs(folder, line)
    finally:
        addon.unregister()
    sys.stdout.write("written to {0}: {1}\n".format(folder, ", ".join(sorted(p.name for p in folder.iterdir()))))


def curb_bracelet(bpy):
    """A curb bracelet on a ring."""
    bpy.ops.linkwright.add_chain(where="ring", family="curb", length_mm=210.0)
    ob = bpy.context.active_object
    ob.name = "Tidewater bracelet"
    ob.linkwright.has_hand, ob.linkwright.hand_mm = True, 205.0
    bpy.context.scene.linkwright.job_name = "Tidewater bracelet"
    _shade(ob, (0.70, 0.42, 0.20, 1.0))


def trace_on_curve(bpy):
    """A trace chain on a hand-drawn open curve."""
    data = bpy.data.curves.new("meander", "CURVE")
    data.dimensions = "3D"
    spline = data.splines.new("BEZIER")
    spline.bezier_points.add(len(MEANDER) - 1)
    for point, place in zip(spline.bezier_points, MEANDER, strict=True):
        point.co = place
        point.handle_left_type = point.handle_right_type = "AUTO"
    curve = bpy.data.objects.new("meander", data)
    bpy.context.scene.collection.objects.link(curve)
    bpy.context.view_layer.objects.active = curve
    curve.select_set(True)
    bpy.ops.linkwright.add_chain(
        where="curve", family="trace", wire_mm=1.6, link_length_mm=10.0, link_width_mm=7.6, gap_mm=0.35
    )
    ob = bpy.context.active_object
    ob.name = "Saltmarsh chain"
    bpy.context.scene.linkwright.job_name = "Saltmarsh chain"
    bpy.context.scene.linkwright.alloy = "sterling-silver"
    _shade(ob, (0.75, 0.76, 0.78, 1.0))


def figaro_spiral(bpy):
    """A figaro bracelet with its clasp, wound up as a flat spiral."""
    _from_job(bpy, "sandbar", (0.80, 0.80, 0.82, 1.0))


def own_link(bpy):
    """A bracelet of a link mesh of our own, which stands beside it."""
    _from_job(bpy, "driftwood", (0.70, 0.42, 0.20, 1.0))
    link = bpy.context.active_object.linkwright.own_link
    link.location = (0.0, 0.0, 0.0)
    link.data.shade_smooth()


def _from_job(bpy, name, colour):
    """Make the chain of a sample job, measured exactly."""
    import _sample_jobs

    with tempfile.TemporaryDirectory() as folder:
        _sample_jobs.write(Path(folder))
        bpy.ops.linkwright.load_job(filepath=str(Path(folder) / "{0}.toml".format(name)))
    bpy.ops.linkwright.verify()
    _shade(bpy.context.active_object, colour)


def loose_links(bpy):
    """Nine loose rings in a row, each through the next: the fourth and fifth are fused, the last hangs in nothing."""
    data = _ring_mesh(bpy, major_mm=4.2, minor_mm=0.8)
    places = (0.0, 6.0, 12.0, 18.0, 22.4, 28.4, 34.4, 40.4, 56.0)
    upright = (0, 1, 0, 1, 1, 0, 1, 0, 1)
    for k, (x, turned) in enumerate(zip(places, upright, strict=True)):
        ob = bpy.data.objects.new("ring {0}".format(k + 1), data)
        ob.location = (x, 0.0, 0.0)
        ob.rotation_euler = (math.pi / 2 * turned, 0.0, 0.0)
        bpy.context.scene.collection.objects.link(ob)


def _ring_mesh(bpy, major_mm, minor_mm, around=64, across=24):
    points = []
    for i in range(around):
        u = 2 * math.pi * i / around
        for j in range(across):
            v = 2 * math.pi * j / across
            reach = major_mm + minor_mm * math.cos(v)
            points.append((reach * math.cos(u), reach * math.sin(u), minor_mm * math.sin(v)))
    faces = []
    for i in range(around):
        for j in range(across):
            a, b = i * across, (i + 1) % around * across
            k = (j + 1) % across
            faces.append((a + j, b + j, b + k, a + k))
    data = bpy.data.meshes.new("ring")
    data.from_pydata(points, [], faces)
    data.shade_smooth()
    return data


def _shade(ob, colour):
    for child in ob.children:
        child.color = colour


def _save(bpy, path):
    """Save in a folder that is soon gone: a saved file holds its own path, and nobody's folders belong in a sample."""
    with tempfile.TemporaryDirectory() as folder:
        draft = Path(folder) / path.name
        bpy.ops.wm.save_as_mainfile(filepath=str(draft), check_existing=False, compress=True)
        shutil.copyfile(draft, path)


def _line(bpy):
    """Points of the meander, about 1 mm apart, as the job file lists them."""
    from addon.host.chain_object import followed_line

    points = followed_line(bpy.context.active_object, bpy.context).points
    return points[:-1:5].tolist() + [points[-1].tolist()]


def _jobs(folder, line):
    points = "[\n{0}\n]".format("\n".join("    [{0:.2f}, {1:.2f}, {2:.2f}],".format(*place) for place in line))
    for name, text in JOBS.items():
        (folder / "{0}.toml".format(name)).write_text(text.replace("{points}", points), encoding="utf-8")


if __name__ == "__main__":
    _setup.enter(blender=True)
    main()

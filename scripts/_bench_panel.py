"""`bench.py panel`: what the Blender side costs while nothing is asked of it: panels, buttons, handlers, overlays.

A chain on its lattice, inspected, with as long a list of findings as is kept, in a scene of many other objects and
without a window. Every figure is the middle of several runs, in processor time. What only a window has is left out: of
an overlay what is worked out in Python is measured, not what the graphics card does with it.
"""

import argparse
import os
import platform
import statistics
import sys
import time
from pathlib import Path
from types import FunctionType, SimpleNamespace

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import bpy
import numpy as np

import addon
from addon.host import handlers, legend
from addon.host.gap_colours import colours
from addon.host.in_view import viewports
from addon.host.mending import mender
from addon.host.overlay import Overlay
from addon.host.result_state import state_of
from addon.host.showing import parts

GOAL_MS = 1.0
# What is neither drawn nor a handler of edits: by a timer when all stands still, in slices, or as a file opens.
ONCE = "once"
FINDINGS = 500


class Silent:
    """Takes what a panel draws and does nothing with it."""

    def __getattr__(self, name):
        return self._part

    def _part(self, *_, **__):
        return Silent()

    def panel(self, *_, **__):
        """Give header and body of a sub-panel that is open."""
        return Silent(), Silent()

    def template_list(self, kind, _id, data, name, active_data, active, rows=5, **_):
        """Draw as many lines of a list as it shows."""
        for number, item in enumerate(list(getattr(data, name)[:rows])):
            getattr(bpy.types, kind).draw_item(None, bpy.context, Silent(), data, item, 0, active_data, active, number)


def run(arguments):
    """Print the table; returns the exit code, 1 when a figure is over the goal."""
    parser = argparse.ArgumentParser(prog="bench.py panel", description=__doc__.splitlines()[0])
    parser.add_argument("--links", type=int, default=500, help="links of the chain")
    parser.add_argument("--objects", type=int, default=2000, help="other objects in the scene")
    parser.add_argument("--runs", type=int, default=21, help="runs of everything")
    parser.add_argument("--no-lattice", action="store_true", help="the chain alone")
    options = parser.parse_args(arguments)
    addon.register()
    try:
        ob, line, other = _scene(options)
        # As in a window: what needs a look at all parts waits for a moment of rest.
        handlers.later.at_once = mender.at_once = False
        print(f"{len(bpy.data.objects)} objects, {ob.linkwright.figures.links} links, {len(parts(ob, 'STRUT'))} struts")
        rows = [*_panels(options), *_handlers(ob, line, other, options), *_polls(options), *_overlays(options)]
        rows.append(_time(f"{ONCE}, before a file is opened", lambda: handlers.before_load(""), options.runs))
        rows.append(_time(f"{ONCE}, after a file was opened", lambda: handlers.after_load(""), options.runs))
    finally:
        addon.unregister()
    over = [row for row in rows if row[1] > GOAL_MS and not row[0].startswith(ONCE)]
    late = {row[0] for row in over}
    for name, middle, most in rows:
        print(f"{name:52} {middle:9.3f} ms {most:9.3f} {'over' if name in late else ''}".rstrip())
    print(
        f"{len(rows)} figures, {len(over)} over {GOAL_MS:g} ms; Blender {bpy.app.version_string}, "
        f"Python {platform.python_version()}, numpy {np.__version__}, {os.cpu_count()} cores, {platform.machine()}"
    )
    return 1 if over else 0


def _scene(options):
    """Make the scene: an inspected chain, a curve that another chain follows, and many objects that are neither."""
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    scene = bpy.context.scene
    scene.unit_settings.scale_length = 0.001
    for number in range(options.objects):
        scene.collection.objects.link(bpy.data.objects.new(f"thing {number}", None))
    mesh = bpy.data.meshes.new("stone")
    mesh.from_pydata(((0, 0, 0), (1, 0, 0), (0, 1, 0)), (), ((0, 1, 2),))
    other = bpy.data.objects.new("stone", mesh)
    scene.collection.objects.link(other)
    line = bpy.data.objects.new("line", bpy.data.curves.new("line", "CURVE"))
    line.data.dimensions = "3D"
    spline = line.data.splines.new("POLY")
    spline.points.add(1)
    spline.points[1].co = (100.0, 0.0, 0.0, 1.0)
    scene.collection.objects.link(line)
    line.select_set(True)
    bpy.context.view_layer.objects.active = line
    bpy.ops.linkwright.add_chain(where="curve")
    bpy.ops.linkwright.add_chain(where="straight")
    ob = bpy.context.active_object
    ob.linkwright.straight_size, ob.linkwright.links = "LINKS", options.links
    bpy.ops.linkwright.inspect() if options.no_lattice else bpy.ops.linkwright.add_lattice()
    _fill(ob)
    return ob, line, other


def _fill(ob):
    """Fill up the list of findings as if every joint had one; `add_lattice` keeps no colours, so paint some."""
    state = state_of(bpy.context)
    links = parts(ob, "LINK")
    for number in range(len(state.findings), FINDINGS):
        row = state.findings.add()
        row.code, row.severity, row.has_place = "gap", ("stop", "warn", "note")[number % 3], True
        row.at = links[number % len(links)].location
        row.bodies = f"{links[number % len(links)].name}, {links[(number + 1) % len(links)].name}"
        row.where, row.figure, row.text = f"joint {number}-{number + 1}", "0.21", "Too close: 0.21 mm"
    state.stop_count = state.warn_count = state.note_count = FINDINGS // 3


def _time(name, work, runs, before=lambda: None):
    """Run a work often; give its name with the middle and the longest, ms of processor time."""
    took = []
    for _ in range(runs + 1):
        before()
        begin = time.process_time()
        work()
        took.append(1e3 * (time.process_time() - begin))
    # The first one loads what the others find at hand.
    return name, statistics.median(took[1:]), max(took[1:])


def _panels(options):
    for name in sorted(dir(bpy.types)):
        panel = getattr(bpy.types, name)
        if not name.startswith("LINKWRIGHT_PT_") or not hasattr(panel, "draw"):
            continue
        if hasattr(panel, "poll"):
            yield _time(f"{name} poll", lambda p=panel: p.poll(bpy.context), options.runs)
            if not panel.poll(bpy.context):
                continue
        if "draw" in panel.__dict__:
            stand_in = _standing_in(panel)
            yield _time(f"{name} draw", lambda p=panel, s=stand_in: p.draw(s, bpy.context), options.runs)
        if hasattr(panel, "draw_header_preset"):
            stand_in = _standing_in(panel)
            yield _time(
                f"{name} header", lambda p=panel, s=stand_in: p.draw_header_preset(s, bpy.context), options.runs
            )


def _standing_in(panel):
    """Give what a panel's methods are called on: its own, with a layout that draws nothing."""
    made = SimpleNamespace(layout=Silent())
    for cls in reversed(panel.__mro__):
        if cls.__module__.startswith("addon."):
            for name, value in cls.__dict__.items():
                if not name.startswith("__"):
                    own = isinstance(value, FunctionType)
                    setattr(made, name, value.__get__(made) if own else getattr(panel, name))
    return made


def _handlers(ob, line, other, options):
    """Time the handlers when something was moved; what Blender itself takes for it is left out."""
    edited = bpy.app.handlers.depsgraph_update_post
    edited.remove(handlers.edited)
    took = []

    def timed(scene, depsgraph):
        begin = time.process_time()
        handlers.edited(scene, depsgraph)
        took.append(1e3 * (time.process_time() - begin))

    edited.append(timed)
    try:
        strut = next(iter(parts(ob, "STRUT")), None)
        things = {
            "a link moved": parts(ob, "LINK")[-1], "a strut moved": strut, "the chain moved": ob, "a curve moved": line,
            "another object moved": other, "an empty moved": bpy.data.objects["thing 7"],
        }  # fmt: skip
        for name, thing in things.items():
            if thing is None:
                continue
            took.clear()
            for number in range(2 * options.runs):
                thing.location.y += 0.01 * (-1) ** number
                bpy.context.view_layer.update()
            yield f"edited: {name}", statistics.median(took), max(took)
        took.clear()
        for number in range(options.runs):
            other.hide_set(number % 2 == 0)
            bpy.context.view_layer.update()
        if took:
            yield "edited: another object hidden", statistics.median(took), max(took)
    finally:
        edited.remove(timed)
        edited.append(handlers.edited)
    yield _time("undo handler", lambda: handlers.after_undo(bpy.context.scene), options.runs)
    yield from _slices(options)
    yield _time(f"{ONCE}, mender's look at rest", lambda: mender.look(bpy.context), options.runs)


def _slices(options):
    """Time the looks at all parts, a moment after an undo, a deletion or a change of what is hidden."""
    later, context, whole, slices = handlers.later, bpy.context, [], []

    def look():
        later.ask(None)
        later._due = 0.0
        whole.append(0.0)
        left = 0.0
        while left is not None:
            begin = time.process_time()
            left = later._wait()
            slices.append(1e3 * (time.process_time() - begin))
            whole[-1] += slices[-1]

    for _ in range(options.runs + 1):
        look()
    yield "at rest: a slice of the look at all parts", statistics.median(slices), max(slices[len(slices) // 10 :])
    yield f"{ONCE}, at rest: the look at all parts, its slices together", statistics.median(whole), max(whole[1:])
    yield _time("at rest: objects counted", later._count, options.runs,
                lambda: later._uncounted.add((context.scene.name, context.view_layer.name)))  # fmt: skip


def _polls(options):
    """Time every operator's poll, and of a group the longest."""
    ours = [name for name in sorted(dir(bpy.types)) if name.startswith("LINKWRIGHT_OT_")]
    for name in ours:
        kind = getattr(bpy.types, name)
        if "poll" in dir(kind):
            yield _time(f"{name} poll", lambda k=kind: k.poll(bpy.context), options.runs)


def _overlays(options):
    """Time what overlays work out in Python at a redraw, with all on; and with all off."""
    context, state = bpy.context, state_of(bpy.context)
    area = next(one for one in context.screen.areas if one.type == "VIEW_3D")
    region = next(one for one in area.regions if one.type == "WINDOW")
    here = SimpleNamespace(scene=context.scene, view_layer=context.view_layer, space_data=area.spaces.active)
    seen = viewports.of(state, here)
    overlay = Overlay()
    flat = SimpleNamespace(perspective_matrix=np.diag((0.001, 0.001, 0.001, 1.0)))
    placed = overlay.placed(state, seen, region, flat)
    corners = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])
    yield _time("overlay: which objects a viewport shows, kept", lambda: viewports.of(state, here), options.runs)
    yield _time("overlay: legend's lines", lambda: overlay._keys(context, state), options.runs)
    yield _time("overlay: marks placed", lambda: overlay.placed(state, seen, region, flat), options.runs)
    yield _time("overlay: marks as triangles", lambda: legend.fans(placed[0], corners), options.runs)
    yield _time("overlay: which colours stand", lambda: colours.shown(state, context.scene), options.runs)
    yield _time("overlay: room for the legend", lambda: legend.free_room(area, region), options.runs)
    yield _time("overlay: looked anew after something was hidden",
                lambda: viewports.of(state, here), options.runs, lambda: viewports.changed(others=False))  # fmt: skip
    yield _time(f"{ONCE}, overlay: looked anew after objects came or went",
                lambda: viewports.of(state, here), options.runs, viewports.changed)  # fmt: skip
    state.overlay = state.colours = state.section = False
    yield _time("overlay: all off", lambda: (overlay._draw(), colours._draw()), options.runs)

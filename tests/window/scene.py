"""What the jobs share: the chain and its results as they stand, and the moves that every job makes."""

import sys

import bpy

# Half of the sidebar's share of the view, seen through Blender's usual lens, as a share of the distance.
ASIDE = 0.15


def state():
    """Give the results beside the window."""
    return bpy.context.window_manager.linkwright


def chain():
    """Give the one chain of the scene, or None."""
    return next((ob for ob in bpy.data.objects if ob.linkwright.schema), None)


def host(name):
    """Give a module of the extension's Blender side, however it is installed."""
    return next(module for called, module in sys.modules.items() if called.endswith(f"linkwright.host.{name}"))


def idle():
    """Tell whether nothing runs."""
    return not state().running and not state().planning


def struts():
    """Give the lattice's objects."""
    return [ob for ob in bpy.data.objects if ob.linkwright.part == "STRUT"]


def empty():
    """Take everything out of the scene that Blender starts with."""
    for ob in list(bpy.data.objects):
        bpy.data.objects.remove(ob)
    # A display may be drawn by the processor: longer slices of work leave it less to draw.
    host("long_work").SLICE_S = 0.4


def select(ob):
    """Select one object; which place of the window it has depends on the view, and is not what is tested here."""
    for other in bpy.context.selected_objects:
        other.select_set(False)
    ob.select_set(True)
    bpy.context.view_layer.objects.active = ob


def look(hand, distance):
    """Look at the middle of the scene from above and one side, with it in the middle of what the sidebar leaves."""
    from mathutils import Euler, Vector

    view = hand.area.spaces.active.region_3d
    view.view_rotation = Euler((1.05, 0.0, 0.5)).to_quaternion()
    view.view_location = view.view_rotation @ Vector((ASIDE * distance, 0.0, 0.0))
    view.view_distance = distance


def press(hand, words, done, said, seconds=180.0):
    """Click a button and wait until its work is done."""
    x, y = yield from hand.find(words)
    yield from hand.click(x, y)
    yield from hand.wait(done, said, seconds)
    yield 0.5


def fill(hand, words, number, taken):
    """Type a number into a field and wait until it is taken."""
    x, y = yield from hand.find(words, column=0.7)
    yield from hand.click(x, y)
    yield 0.2
    yield from hand.key("A", at=(x, y), ctrl=True)
    yield from hand.type(number, at=(x, y))
    yield from hand.key("RET", at=(x, y))
    yield from hand.wait(taken, f"{number} typed is taken", 20.0)


def export(hand, folder):
    """Press Export, give the folder in the file browser, and wait until it is done."""
    state().exported = ""
    bpy.context.scene.linkwright.folder = str(folder)
    x, y = yield from hand.find("linkwright.export(")
    yield from hand.picture("export")
    yield from hand.click(x, y)
    yield from hand.wait(lambda: hand.browser() is not None, "the file browser opens", 30.0)
    yield 0.5
    yield from hand.confirm_browser(folder)
    yield from hand.wait(lambda: idle() and bool(state().exported), "the export is done", 300.0)

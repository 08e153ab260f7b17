"""Looking at a place, and at one object: the 3D views of the current screen turn to it."""

from typing import Any

from mathutils import Vector

# What turns the view, and is left to Blender while one points or waits.
TURNS = ("MIDDLEMOUSE", "WHEEL", "TRACKPAD", "MOUSEROTATE", "MOUSESMARTZOOM", "NUMPAD_", "NDOF", "HOME", "ACCENT_GRAVE")


def views(context: Any) -> list[Any]:
    """Give the 3D view areas of all windows."""
    manager = context.window_manager
    return [area for window in manager.windows for area in window.screen.areas if area.type == "VIEW_3D"]


def turns_view(event: Any) -> bool:
    """Tell whether an event over a 3D view turns it; with Ctrl or Alt the wheel would change numbers or frames."""
    held = event.type.startswith("WHEEL") and (event.ctrl or event.alt)
    return event.type.startswith(TURNS) and not held and event.type not in ("NUMPAD_ENTER", "NUMPAD_SLASH")


def redraw(context: Any) -> None:
    """Draw all 3D views anew."""
    for area in views(context):
        area.tag_redraw()


def frame_place(context: Any, place: tuple[float, float, float], reach: float) -> int:
    """Look at a place (scene units) from a distance that shows ``reach`` around it; give how many views turned.

    Only the view the click came from turns, or every 3D view of the screen when it came from elsewhere.
    """
    areas = [context.area] if context.area is not None and context.area.type == "VIEW_3D" else []
    if not areas and context.screen is not None:
        areas = [area for area in context.screen.areas if area.type == "VIEW_3D"]
    for area in areas:
        view = area.spaces.active.region_3d
        if view.view_perspective == "CAMERA":
            view.view_perspective = "PERSP"
        view.view_location = Vector(place)
        view.view_distance = max(3.0 * reach, 1e-6)
        area.tag_redraw()
    return len(areas)


def rescale_views(context: Any, factor: float, mm: float) -> None:
    """Keep the 3D views on what they show when its numbers grow by ``factor``; clip from 0.5 mm to 20 m."""
    for area in views(context):
        space = area.spaces.active
        space.region_3d.view_location = space.region_3d.view_location * factor
        space.region_3d.view_distance = space.region_3d.view_distance * factor
        space.clip_start, space.clip_end = 0.5 / mm, 20_000.0 / mm


def select_only(context: Any, ob: Any) -> None:
    """Select one object and make it the active one."""
    for other in context.selected_objects:
        other.select_set(False)
    ob.select_set(True)
    context.view_layer.objects.active = ob


def hide_parent_lines(context: Any) -> None:
    """Switch off the dashed lines from children to parents in the screen's 3D views: a chain has one to every part."""
    for area in [] if context.screen is None else context.screen.areas:
        if area.type == "VIEW_3D":
            area.spaces.active.overlay.show_relationship_lines = False


def approach(context: Any, place: tuple[float, float, float], reach: float) -> None:
    """Come near a new piece that would be a speck, or larger than the view; a view that shows it stays."""
    if context.area is None or context.area.type != "VIEW_3D":
        return
    if not 1.0 < context.area.spaces.active.region_3d.view_distance / max(reach, 1e-9) < 15.0:
        frame_place(context, place, reach)

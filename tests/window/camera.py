"""Pictures of the 3D view with its sidebar, taken by Blender itself: nothing outside it is asked for its screen.

The view is put together of what Blender draws apart: the scene, what lies over it, and the sidebar.
"""

import sys
from pathlib import Path

import bpy
import gpu
import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[2] / "scripts"))

from _png import write_png


class Camera:
    """Writes pictures into a folder. ``take`` is a generator of seconds to wait, like the steps of a hand."""

    def __init__(self, folder):
        self.folder = Path(folder)

    def take(self, hand, name, crop=None):
        """Take the view and its sidebar; crop is (left, top, right, bottom) in shares of the view."""
        seen = {}
        area = hand.area
        handles = [
            (bpy.types.SpaceView3D.draw_handler_add(_keep, (seen, kind, area.as_pointer()), kind, "POST_PIXEL"), kind)
            for kind in ("WINDOW", "UI")
        ]
        try:
            area.tag_redraw()
            yield 0.3
        finally:
            for handle, kind in handles:
                bpy.types.SpaceView3D.draw_handler_remove(handle, kind)
        picture = _over(_scene(hand), seen["WINDOW"], 0, 0)
        window, sidebar = hand.region("WINDOW"), hand.region("UI")
        if "UI" in seen:
            picture = _over(picture, seen["UI"], sidebar.x - window.x, sidebar.y - window.y)
        pixels = np.round(picture[::-1]).astype(np.uint8)
        rows, columns = pixels.shape[:2]
        left, top, right, bottom = crop or (0.0, 0.0, 1.0, 1.0)
        pixels = pixels[int(top * rows) : int(bottom * rows), int(left * columns) : int(right * columns)]
        write_png(self.folder / f"{name}.png", pixels)


def _keep(seen, kind, area):
    """Keep what was just drawn of a region: (rows, columns, 4), the lowest row first."""
    if bpy.context.area is None or bpy.context.area.as_pointer() != area:
        return
    drawn = gpu.state.active_framebuffer_get()
    x, y, width, height = drawn.viewport_get()
    pixels = drawn.read_color(x, y, width, height, 4, 0, "UBYTE")
    pixels.dimensions = width * height * 4
    seen[kind] = np.array(pixels, dtype=np.uint8).reshape(height, width, 4)


def _scene(hand):
    """Draw the scene once more without what lies over it: (rows, columns, 4)."""
    area, region, window = hand.area, hand.region("WINDOW"), hand.window
    space = area.spaces.active
    gradient = bpy.context.preferences.themes[0].view_3d.space.gradients
    kept, space.overlay.show_overlays = space.overlay.show_overlays, False
    ground = tuple(gradient.high_gradient)
    # Drawn like this, the ground gets the curve of the display once too often.
    gradient.high_gradient = _linear(ground)
    offscreen = gpu.types.GPUOffScreen(region.width, region.height)
    try:
        with bpy.context.temp_override(window=window, area=area, region=region):
            view = space.region_3d
            offscreen.draw_view3d(
                window.scene, window.view_layer, space, region, view.view_matrix, view.window_matrix,
                do_color_management=True,
            )  # fmt: skip
        pixels = offscreen.texture_color.read()
        pixels.dimensions = region.width * region.height * 4
        drawn = np.array(pixels, dtype=np.float64)
        if drawn.max() <= 1.0:
            drawn = drawn * 255.0
        return drawn.reshape(region.height, region.width, 4)
    finally:
        offscreen.free()
        space.overlay.show_overlays = kept
        gradient.high_gradient = ground


def _linear(colour):
    """Take the display's curve off a colour: IEC 61966-2-1."""
    return [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour]


def _over(below, above, x, y):
    """Lay premultiplied pixels over others with their lower left corner at (x, y)."""
    below = below[..., :3].copy()
    height = min(above.shape[0], below.shape[0] - y)
    width = min(above.shape[1], below.shape[1] - x)
    above = above[:height, :width].astype(np.float64)
    part = below[y : y + height, x : x + width]
    part[:] = np.clip(part * (1.0 - above[..., 3:] / 255.0) + above[..., :3], 0.0, 255.0)
    return below

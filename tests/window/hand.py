"""A hand on mouse and keyboard inside a running Blender, by Blender's own event simulation.

Start Blender with ``--enable-event-simulate``. Steps are generators that yield seconds to wait: Blender handles events
and draws only between two of them. Places are pixels of the window from its lower left corner.
"""

import contextlib
import time

import bpy

STEP_PX = 12


class Hand:
    """Points, clicks and types in Blender's main window, and keeps what was expected of it."""

    def __init__(self, picture=None):
        self.failures = []
        self.checks = 0
        self._picture = picture

    @property
    def window(self):
        """Give the main window; fetched each time, since opening a file replaces it."""
        return bpy.context.window_manager.windows[0]

    @property
    def area(self):
        """Give the largest 3D view."""
        views = [area for area in self.window.screen.areas if area.type == "VIEW_3D"]
        return max(views, key=lambda area: area.width * area.height)

    def region(self, kind):
        """Give a region of the 3D view."""
        return next(region for region in self.area.regions if region.type == kind)

    def expect(self, condition, words):
        """Keep a check; a failed one does not end the steps."""
        self.checks += 1
        if not condition:
            self.failures.append(words)

    def picture(self, name):
        """Take a picture where someone listens."""
        yield 0.2
        if self._picture is not None:
            self._picture(name)
            yield 0.2

    def sidebar(self):
        """Show our tab of the sidebar."""
        self.area.spaces.active.show_region_ui = True
        yield 0.3
        self.region("UI").active_panel_category = "Linkwright"
        self.region("UI").tag_redraw()
        yield 0.3

    def move(self, x, y):
        """Put the pointer somewhere."""
        for dx in (1, 0):
            self.window.event_simulate(type="MOUSEMOVE", value="NOTHING", x=int(x) + dx, y=int(y))
        yield 0.03

    def click(self, x, y):
        """Click the left button."""
        yield from self.move(x, y)
        yield 0.1
        self.window.event_simulate(type="LEFTMOUSE", value="PRESS", x=int(x), y=int(y))
        yield 0.05
        self.window.event_simulate(type="LEFTMOUSE", value="RELEASE", x=int(x), y=int(y))
        yield 0.1

    def key(self, kind, **held):
        """Press and release a key over the middle of the 3D view."""
        x, y = self.middle()
        yield from self.move(x, y)
        for value in ("PRESS", "RELEASE"):
            self.window.event_simulate(type=kind, value=value, x=int(x), y=int(y), **held)
            yield 0.05

    def middle(self):
        """Give the middle of the 3D view."""
        region = self.region("WINDOW")
        return region.x + region.width // 3, region.y + region.height // 2

    def scroll(self, notches):
        """Turn the wheel over the sidebar: downwards for positive numbers."""
        region = self.region("UI")
        # At the very edge: over a list the wheel would turn the list.
        x, y = region.x + 4, region.y + region.height // 2
        yield from self.move(x, y)
        for _ in range(abs(notches)):
            kind = "WHEELDOWNMOUSE" if notches > 0 else "WHEELUPMOUSE"
            self.window.event_simulate(type=kind, value="PRESS", x=x, y=y)
            yield 0.05
        yield 0.3

    def find(self, words, column=0.5):
        """Find a button of the sidebar by its operator call or data path; scrolls for it. Gives (x, y)."""
        for notches in (0, -40, 8, 8, 8, 8, 8, 8):
            if notches:
                yield from self.scroll(notches)
            region = self.region("UI")
            x = region.x + int(region.width * column)
            for y in range(region.y + region.height - STEP_PX, region.y, -STEP_PX):
                yield from self.move(x, y)
                if words in self.under_pointer():
                    return x, y - 2
        raise LookupError(f"no button with {words!r} in the sidebar")

    def under_pointer(self):
        """Give the operator call or data path of the button under the pointer, or an empty text."""
        manager = bpy.context.window_manager
        with bpy.context.temp_override(window=self.window, area=self.area, region=self.region("UI")):
            for operator, options in (
                (bpy.ops.ui.copy_python_command_button, {}),
                (bpy.ops.ui.copy_data_path_button, {"full_path": True}),
            ):
                if operator.poll():
                    kept, manager.clipboard = manager.clipboard, ""
                    with contextlib.suppress(RuntimeError):
                        operator(**options)
                    found, manager.clipboard = manager.clipboard, kept
                    if found:
                        return found
        return ""

    def wait(self, condition, words, seconds=60.0):
        """Wait until something holds; a time-out is a failure."""
        until = time.monotonic() + seconds
        while not condition():
            if time.monotonic() > until:
                self.expect(False, f"waited {seconds:g} s: {words}")
                return
            yield 0.2
        self.expect(True, words)

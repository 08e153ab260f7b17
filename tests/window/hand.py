"""A hand on mouse and keyboard inside a running Blender, by Blender's own event simulation.

Start Blender with ``--enable-event-simulate``. Steps are generators that yield seconds to wait: Blender handles events
and draws only between two of them. Places are pixels of the window from its lower left corner.
"""

import contextlib
import sys
import time

import bpy

# Under the height of a button, so that none is passed over.
STEP_PX = 14


SIGNS = {" ": "SPACE", "-": "MINUS", ".": "PERIOD"}
DIGITS = ("ZERO", "ONE", "TWO", "THREE", "FOUR", "FIVE", "SIX", "SEVEN", "EIGHT", "NINE")


class Hand:
    """Points, clicks and types in Blender's main window, and keeps what was expected of it."""

    def __init__(self, camera=None):
        self.failures = []
        self.checks = 0
        self._camera = camera
        self._start = time.monotonic()

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
        # Where a run is ended from outside, this tells how far it came.
        sys.stdout.write(f"{time.monotonic() - self._start:.0f} s: {'' if condition else 'NOT '}{words}\n")
        sys.stdout.flush()
        if not condition:
            self.failures.append(words)

    def picture(self, name, crop=None):
        """Take a picture where there is a camera."""
        yield 0.2
        if self._camera is not None:
            yield from self._camera.take(self, name, crop)

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

    def key(self, kind, at=None, **held):
        """Press and release a key over the middle of the 3D view, or over a place."""
        x, y = at or self.middle()
        yield from self.move(x, y)
        for value in ("PRESS", "RELEASE"):
            self.window.event_simulate(type=kind, value=value, x=int(x), y=int(y), **held)
            yield 0.05

    def type(self, text, at=None):
        """Type letters and figures."""
        x, y = at or self.middle()
        for letter in text:
            kind = DIGITS[int(letter)] if letter.isdigit() else SIGNS.get(letter, letter.upper())
            shown = {"unicode": letter}
            self.window.event_simulate(type=kind, value="PRESS", x=int(x), y=int(y), **shown)
            self.window.event_simulate(type=kind, value="RELEASE", x=int(x), y=int(y))
            yield 0.05

    def drag(self, x, y, across):
        """Press on a place, move sidewards, let go."""
        yield from self.move(x, y)
        yield 0.1
        self.window.event_simulate(type="LEFTMOUSE", value="PRESS", x=int(x), y=int(y))
        for step in range(1, 11):
            yield 0.05
            self.window.event_simulate(type="MOUSEMOVE", value="NOTHING", x=int(x + across * step / 10), y=int(y))
        yield 0.05
        self.window.event_simulate(type="LEFTMOUSE", value="RELEASE", x=int(x + across), y=int(y))
        yield 0.1

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
            yield 0.03
        yield 0.15

    def scrolled(self):
        """Give the height of the sidebar's contents that stands at its lower edge."""
        return self.region("UI").view2d.region_to_view(0, 0)[1]

    def find(self, words, column=0.5):
        """Find a button of the sidebar by its operator call or data path; scrolls for it. Gives (x, y).

        It looks where the sidebar stands, then from its top, page by page, until scrolling moves nothing any more.
        """
        found = yield from self._look(words, column)
        if found is None:
            yield from self.to_top()
        while found is None:
            found = yield from self._look(words, column)
            if found is None:
                moved = yield from self._page_down()
                if not moved:
                    raise LookupError(f"no button with {words!r} in the sidebar")
        return found

    def to_top(self):
        """Scroll to the top of the sidebar."""
        before = None
        while before != self.scrolled():
            before = self.scrolled()
            yield from self.scroll(-20)

    def _page_down(self):
        """Scroll down by most of what is seen; gives how far that was."""
        page, start = 0.8 * self.region("UI").height, self.scrolled()
        moved, before = 0.0, None
        while moved < page and before != moved:
            before = moved
            yield from self.scroll(2)
            moved = abs(self.scrolled() - start)
        return moved

    def _look(self, words, column):
        """Look for a button in what is seen of the sidebar."""
        region = self.region("UI")
        x = region.x + int(region.width * column)
        for y in range(region.y + region.height - STEP_PX, region.y + 2, -STEP_PX):
            yield from self.move(x, y)
            if words in self.under_pointer():
                return x, y - 2
        return None

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
                yield from self.picture(f"failed {len(self.failures)}")
                return
            yield 0.2
        self.expect(True, words)

    def browser(self):
        """Give the window and area of a file browser that is open, or None."""
        for window in bpy.context.window_manager.windows:
            for area in window.screen.areas:
                if area.type == "FILE_BROWSER" and area.spaces.active.active_operator is not None:
                    return window, area
        return None

    def confirm_browser(self, folder):
        """Go to a folder in the file browser and confirm with the key."""
        _, area = self.browser()
        area.spaces.active.params.directory = str(folder).encode()
        yield 0.5
        region = next(region for region in area.regions if region.type == "WINDOW")
        x, y = region.x + region.width // 2, region.y + region.height // 2
        for kind, value in (("MOUSEMOVE", "NOTHING"), ("RET", "PRESS"), ("RET", "RELEASE")):
            # The press closes the window: it must not be touched after that.
            if self.browser() is not None:
                self.browser()[0].event_simulate(type=kind, value=value, x=x, y=y)
                yield 0.3

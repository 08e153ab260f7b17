"""The tree of errors, all of it.

    LinkwrightError
    +-- BadInput     what was given cannot be used: says what, where, and the range that works
    +-- CannotBuild  the sizes contradict each other: says which size to change and by how much
    +-- Bug          our own mistake: never caught, so that it is seen

The command line and the operators each print the first two in one place.
"""


class LinkwrightError(Exception):
    """Base of every error we raise on purpose. ``str(error)`` is one line for the jeweller."""

    exit_code = 2


class BadInput(LinkwrightError):
    """The input cannot be used. The message names what, where, and how to mend it."""


class CannotBuild(LinkwrightError):
    """The input is well formed, but no such piece exists. The message names the size to change."""


class Bug(LinkwrightError):
    """A state that our own rules exclude. Nothing catches it."""

    exit_code = 70

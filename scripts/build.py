"""Build the extension's zip with Blender's own tool and validate it: `python3 scripts/build.py [FOLDER]`."""

import sys

import _setup


def main():
    """Build into the folder named on the command line, or dist/; prints where the zip lies."""
    from _extension import BuildFailed, build

    folder = sys.argv[1] if len(sys.argv) > 1 else None
    if len(sys.argv) > 2 or (folder or "").startswith("-"):
        _setup.fail("use: python3 scripts/build.py [FOLDER]")
    try:
        sys.stdout.write("{0}\n".format(build(folder)))
    except BuildFailed as failure:
        _setup.fail(str(failure))


if __name__ == "__main__":
    _setup.enter(blender=False)
    main()

"""Fill in the figures and pictures of the pages in sample_scenes/pages/ from their jobs themselves.

python3 scripts/make_pages.py [--pictures] [--reports FOLDER] [NAME ...]
"""

import sys

import _setup

if __name__ == "__main__":
    _setup.enter()
    import _pages

    sys.exit(_pages.main())

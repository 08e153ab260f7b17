"""The extension stands registered throughout; every test starts from factory settings with an empty scene.

At the end everything is unregistered: on Blender 4.5 a callback left over would hang the process at exit.
"""

import bpy
import pytest

import addon


@pytest.fixture(scope="session", autouse=True)
def _registered():
    addon.register()
    yield
    addon.unregister()


@pytest.fixture(autouse=True)
def _empty_scene(_registered):
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)


@pytest.fixture
def add_chain():
    """Add a chain by its operator and give its object."""

    def add(**sizes):
        bpy.ops.linkwright.add_chain(**sizes)
        return bpy.context.active_object

    return add

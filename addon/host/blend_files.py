"""Meshes out of and into .blend files, beside the file that is open and without touching it."""

import os
from pathlib import Path
from typing import Any

import bpy

from ..rules.base.errors import BadInput
from ..rules.files.named import Named
from ..rules.solid.mesh import Mesh
from .conversions import SOLID_TYPES, fill_mesh, world_mesh
from .quiet import quiet
from .units import mm_per_unit


def read_blend(path: Path) -> tuple[Named, ...]:
    """Read every object with a surface in a .blend file's scenes, in world mm by each scene's own unit.

    Hidden objects, objects of hidden collections and those linked from other files come too: what is in the file is
    looked at. Modifiers count as in the viewport. The names are the file's. Raises BadInput for a file that is missing,
    not a .blend, from a newer Blender that cannot be read, or without surfaces.
    """
    _check_readable(path)
    with quiet():
        before = _all_data()
        libraries: Any = bpy.data.libraries
        try:
            try:
                with libraries.load(str(path), link=False) as (stored, wanted):
                    scene_names = list(stored.scenes)
                    object_names = list(stored.objects)
                    # Blender puts the data in the place of the names, so each list is a copy.
                    wanted.scenes = list(scene_names)
                    wanted.objects = list(object_names)
            except OSError as error:
                raise BadInput(
                    f"{path}: cannot be read as a .blend file ({_one_line(error)}); save it again from Blender"
                ) from None
            scenes = [s for s in wanted.scenes if s is not None]
            if not scenes:
                raise BadInput(f"{path}: has no scene in it; open it in Blender and save it as a file")
            # Appending renames what the open file also has: the file's own names are those asked for.
            names = {ob: name for ob, name in zip(wanted.objects, object_names, strict=True) if ob is not None}
            found = _read_scenes(scenes, names)
        finally:
            _remove_new(before)
    if not found:
        raise BadInput(f"{path}: has no object with a surface; put the links into it as meshes and save it")
    return tuple(found)


def write_blend(path: Path, meshes: tuple[Named, ...]) -> None:
    """Write meshes in mm as the objects of a new .blend file whose scene is set to millimetres.

    The file appears whole or not at all. Objects whose mesh is the same value share it. Raises BadInput when the folder
    is missing or cannot be written.
    """
    folder = path.parent
    if not folder.is_dir():
        raise BadInput(f"{folder}: no such folder; make it first or name another")
    draft = path.with_name(f".{path.stem}.{os.getpid()}.blend")
    with quiet():
        before = _all_data()
        aside = _names_aside({named.name for named in meshes})
        try:
            scene: Any = bpy.data.scenes.new("Scene")
            set_millimetres(scene)
            made: dict[int, Any] = {}
            for named in meshes:
                data = made.get(id(named.mesh))
                if data is None:
                    data = made[id(named.mesh)] = bpy.data.meshes.new(named.name)
                    fill_mesh(data, named.mesh.points, named.mesh.triangles, smooth=False)
                scene.collection.objects.link(bpy.data.objects.new(named.name, data))
            # Blender 5.2 crashes on writing a scene whose view layer has never been brought up to date.
            scene.view_layers[0].update()
            try:
                bpy.data.libraries.write(str(draft), {scene}, fake_user=False, compress=True)
                os.replace(draft, path)
            except (OSError, RuntimeError) as error:
                raise BadInput(
                    f"{path}: cannot be written ({_one_line(error)}); check the folder's permissions and free space"
                ) from None
        finally:
            draft.unlink(missing_ok=True)
            _remove_new(before)
            for ob, name in aside:
                ob.name = name


def set_millimetres(scene: Any) -> None:
    """Set a scene's unit to the millimetre. Geometry already there keeps its numbers."""
    settings = scene.unit_settings
    settings.system = "METRIC"
    settings.scale_length = 0.001
    settings.length_unit = "MILLIMETERS"


def _read_scenes(scenes: list[Any], names: dict[Any, str]) -> list[Named]:
    found: list[Named] = []
    seen: set[Any] = set()
    for scene in scenes:
        fresh = [ob for ob in scene.objects if ob.type in SOLID_TYPES and ob not in seen]
        seen.update(fresh)
        # A scene of our own, since hidden or excluded objects are not evaluated in theirs.
        stage: Any = bpy.data.scenes.new("linkwright reading")
        for ob in scene.objects:
            ob.hide_viewport = False
            stage.collection.objects.link(ob)
        stage.frame_set(scene.frame_current)
        layer = stage.view_layers[0]
        layer.update()
        depsgraph = layer.depsgraph
        mm = mm_per_unit(scene)
        for ob in fresh:
            mesh = _surface(ob, depsgraph, mm)
            if mesh is not None:
                found.append(Named(names.get(ob, ob.name), mesh))
    return found


def _surface(ob: Any, depsgraph: Any, mm: float) -> Mesh | None:
    """Read an object's surface; None for a curve, text or mesh without faces, which is no solid of the file."""
    evaluated = ob.evaluated_get(depsgraph)
    data = evaluated.to_mesh()
    empty = data is None or not len(data.polygons)
    evaluated.to_mesh_clear()
    return None if empty else world_mesh(ob, depsgraph, mm)


def _names_aside(wanted: set[str]) -> list[tuple[Any, str]]:
    """Free names for the file being written: objects of the open file that bear them step aside until it is done."""
    aside = [(ob, ob.name) for ob in bpy.data.objects if ob.name in wanted and ob.library is None]
    for k, (ob, _) in enumerate(aside):
        ob.name = f"linkwright aside {k}"
    return aside


def _check_readable(path: Path) -> None:
    if path.is_dir():
        raise BadInput(f"{path}: is a folder; name a .blend file in it")
    try:
        with path.open("rb") as file:
            head = file.read(12)
    except FileNotFoundError:
        raise BadInput(f"{path}: no such file; check the name and the folder") from None
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror or error}); check its permissions") from None
    if not head:
        raise BadInput(f"{path}: is empty; save it again from Blender")
    packed = head.startswith((b"\x1f\x8b", b"\x28\xb5\x2f\xfd"))
    if not packed and not head.startswith(b"BLENDER"):
        raise BadInput(f"{path}: is not a .blend file; give it the ending of what it is, or save it from Blender")


def _collections() -> list[Any]:
    """Give the lists of data that a file can bring in; windows, screens and workspaces are never appended."""
    out = []
    for prop in bpy.data.bl_rna.properties:
        if prop.type == "COLLECTION" and prop.identifier not in ("window_managers", "screens", "workspaces"):
            out.append(getattr(bpy.data, prop.identifier))
    return out


def _all_data() -> set[int]:
    return {item.as_pointer() for collection in _collections() for item in collection}


def _remove_new(before: set[int]) -> None:
    fresh = [item for collection in _collections() for item in collection if item.as_pointer() not in before]
    bpy.data.batch_remove(fresh)


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split()).removeprefix("Error: ")

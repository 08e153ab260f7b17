"""A picture of the job without a screen: Cycles on the processor, which needs no graphics driver at all."""

from pathlib import Path

import bpy
import numpy as np
from mathutils import Vector

SIZE = (840, 560)
SAMPLES = 8
METAL = (0.80, 0.52, 0.24)
PRINTED = (0.16, 0.30, 0.55)
GROUND = (0.62, 0.62, 0.60)


def draw_picture(path: Path) -> None:
    """Draw all that is shown in the scene, links as metal, struts in blue, on a ground, and write a PNG."""
    scene = bpy.context.scene
    shown = [ob for ob in bpy.context.view_layer.objects if ob.type == "MESH" and ob.visible_get()]
    links, struts = _material("Demo Metal", METAL, 0.9, 0.3), _material("Demo Print", PRINTED, 0.0, 0.5)
    for ob in shown:
        # Links share one mesh; a slot on the object leaves that mesh as it is.
        if not ob.material_slots:
            ob.data.materials.append(None)
        ob.material_slots[0].link = "OBJECT"
        ob.material_slots[0].material = struts if ob.linkwright.part == "STRUT" else links
    corners = np.array([ob.matrix_world @ Vector(corner) for ob in shown for corner in ob.bound_box], dtype=np.float64)
    low, high = corners.min(axis=0), corners.max(axis=0)
    _ground(scene, low, high)
    _light(scene)
    _camera(scene, low, high)
    scene.render.engine = "CYCLES"
    scene.cycles.device = "CPU"
    scene.cycles.samples = SAMPLES
    scene.cycles.use_denoising = True
    scene.cycles.denoising_quality = "FAST"
    scene.cycles.denoising_prefilter = "NONE"
    scene.cycles.max_bounces = 3
    scene.cycles.seed = 1
    scene.render.resolution_x, scene.render.resolution_y = SIZE
    scene.render.resolution_percentage = 100
    scene.render.image_settings.file_format = "PNG"
    scene.render.filepath = str(path)
    bpy.ops.render.render(write_still=True)


def _material(name, colour, metallic, roughness):
    material = bpy.data.materials.new(name)
    if bpy.app.version < (5, 0):
        material.use_nodes = True
    shader = next(node for node in material.node_tree.nodes if node.type == "BSDF_PRINCIPLED")
    shader.inputs["Base Color"].default_value = (*colour, 1.0)
    shader.inputs["Metallic"].default_value = metallic
    shader.inputs["Roughness"].default_value = roughness
    return material


def _ground(scene, low, high):
    reach = 20.0 * float(np.max(high - low))
    x, y = (low + high)[:2] / 2.0
    mesh = bpy.data.meshes.new("Demo Ground")
    square = [(x - reach, y - reach), (x + reach, y - reach), (x + reach, y + reach), (x - reach, y + reach)]
    mesh.from_pydata([(*corner, low[2]) for corner in square], [], [(0, 1, 2, 3)])
    mesh.materials.append(_material("Demo Ground", GROUND, 0.0, 0.9))
    _add(scene, "Demo Ground", mesh)


def _light(scene):
    sun = bpy.data.lights.new("Demo Sun", "SUN")
    sun.energy, sun.angle = 3.0, 0.3
    _add(scene, "Demo Sun", sun).rotation_euler = (0.6, 0.2, 0.8)
    world = bpy.data.worlds.new("Demo Sky")
    if bpy.app.version < (5, 0):
        world.use_nodes = True
    sky = next(node for node in world.node_tree.nodes if node.type == "BACKGROUND")
    sky.inputs["Color"].default_value = (0.75, 0.80, 0.90, 1.0)
    sky.inputs["Strength"].default_value = 0.7
    scene.world = world


def _camera(scene, low, high):
    """Look down at the job from one side, from as far as its bounding sphere needs."""
    data = bpy.data.cameras.new("Demo Camera")
    data.lens = 70.0
    middle, radius = Vector((low + high) / 2.0), float(np.linalg.norm(high - low)) / 2.0
    aim = Vector((0.45, -1.0, 0.85)).normalized()
    half_angle = np.arctan(data.sensor_width / (2.0 * data.lens)) * SIZE[1] / SIZE[0]
    data.clip_end = 100.0 * radius
    data.clip_start = radius / 100.0
    camera = _add(scene, "Demo Camera", data)
    camera.location = middle + aim * (0.72 * radius / np.sin(half_angle))
    camera.rotation_euler = aim.to_track_quat("Z", "Y").to_euler()
    scene.camera = camera


def _add(scene, name, data):
    ob = bpy.data.objects.new(name, data)
    scene.collection.objects.link(ob)
    return ob

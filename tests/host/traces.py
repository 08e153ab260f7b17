"""What an extension can leave behind in Blender, read as plain sets so that two moments can be compared."""

import sys

import bpy


def traces(package):
    """Everything of ours that Blender holds at this moment; `package` is the extension's module name."""
    found = {f"type {name}" for name in dir(bpy.types)}
    found |= {f"operator {name}" for name in _operators()}
    for name in dir(bpy.types):
        kind = getattr(bpy.types, name, None)
        rna = getattr(kind, "bl_rna", None)
        if rna is not None:
            found |= {f"property {name}.{key}" for key in rna.properties.keys() if "linkwright" in key}  # noqa: SIM118
        # A menu, panel or header that was appended to keeps the list of what it draws on its draw function.
        draws = getattr(getattr(kind, "draw", None), "_draw_funcs", ())
        found |= {f"entry of {name}: {fn.__module__}.{fn.__qualname__}" for fn in draws if _is_of(fn, package)}
    for name in dir(bpy.app.handlers):
        handlers = getattr(bpy.app.handlers, name)
        if isinstance(handlers, list):
            found |= {f"handler {name}: {fn.__module__}.{fn.__qualname__}" for fn in handlers}
    found |= {
        f"timer {fn.__module__}.{fn.__qualname__}" for fn in _functions(package) if bpy.app.timers.is_registered(fn)
    }
    for config in bpy.context.window_manager.keyconfigs:
        for keymap in config.keymaps:
            found |= {
                f"key {keymap.name}: {item.idname}" for item in keymap.keymap_items if "linkwright" in item.idname
            }
    found |= {f"presets {path}" for path in bpy.utils.preset_paths("linkwright")}
    return found


def _operators():
    """The operators under `bpy.ops.linkwright`."""
    return dir(bpy.ops.linkwright)


def _is_of(fn, package):
    return getattr(fn, "__module__", "").startswith(package)


def _functions(package):
    for name, module in list(sys.modules.items()):
        if name == package or name.startswith(package + "."):
            yield from (value for value in vars(module).values() if callable(value) and hasattr(value, "__qualname__"))

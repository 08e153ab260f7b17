"""A stand-in for a panel's layout that checks every property, operator and icon drawn against Blender's own tables."""

from types import SimpleNamespace

import bpy

ICONS = set(bpy.types.UILayout.bl_rna.functions["prop"].parameters["icon"].enum_items.keys())


class Recorder:
    """Takes the calls of a `draw` and keeps what was drawn as (kind, text)."""

    def __init__(self, drawn=None):
        self.drawn = [] if drawn is None else drawn
        self.use_property_split = self.use_property_decorate = self.enabled = self.active = True
        self.alert = False

    def _part(self, *_, **__):
        return Recorder(self.drawn)

    row = column = box = split = _part

    def separator(self, **_):
        pass

    def label(self, *, text="", icon="NONE", translate=True, **_):
        assert icon in ICONS, icon
        # A sentence of the rules may be broken after a colon.
        assert not translate or not text.endswith(":"), text
        self.drawn.append(("label", text))

    def prop(self, data, name, *, text=None, icon="NONE", **_):
        assert icon in ICONS, icon
        found = data.bl_rna.properties[name]
        getattr(data, name)
        self.drawn.append(("prop", found.name if text is None else text))
        if name not in ("name",):
            assert found.description, f"{name} has no tooltip"

    def prop_enum(self, data, name, value, **_):
        assert value in data.bl_rna.properties[name].enum_items
        self.drawn.append(("enum", f"{name} {value}"))

    def operator(self, idname, *, text="", icon="NONE", **_):
        assert icon in ICONS, icon
        module, name = idname.split(".")
        kind = getattr(getattr(bpy.ops, module), name).get_rna_type()
        assert kind.description
        self.drawn.append(("operator", text or kind.name))
        return SimpleNamespace()

    def menu(self, idname, *, text=None, icon="NONE", **_):
        assert icon in ICONS, icon
        self.drawn.append(("menu", getattr(bpy.types, idname).bl_label if text is None else text))

    def popover(self, panel, *, icon="NONE", **_):
        assert icon in ICONS, icon
        self.drawn.append(("popover", getattr(bpy.types, panel).bl_label))

    def panel(self, idname, **_):
        assert idname.startswith("linkwright_")
        return Recorder(self.drawn), Recorder(self.drawn)

    def progress(self, *, factor, text, **_):
        assert 0.0 <= factor <= 1.0
        self.drawn.append(("progress", text))

    def template_list(self, kind, _id, data, rows_name, active_data, active_name, **_):
        ui = getattr(bpy.types, kind)
        for item in getattr(data, rows_name):
            ui.draw_item(None, bpy.context, Recorder(self.drawn), data, item, 0, active_data, active_name)
        self.drawn.append(("list", rows_name))


def panels(parent=""):
    """Give our panels of the sidebar in their order, or those that stand under another, by its name."""
    ours = [getattr(bpy.types, name) for name in dir(bpy.types) if name.startswith("LINKWRIGHT_PT_")]
    ours = [panel for panel in ours if panel.bl_region_type == "UI"]
    own = [panel for panel in ours if getattr(panel, "bl_parent_id", "") == parent]
    return sorted(own, key=lambda panel: panel.bl_order)


def draw_all(parent="", below=None):
    """Draw every panel that shows itself and give what was drawn, by the panel's label; sub-panels with theirs."""
    out = {}
    for panel in panels(parent):
        if hasattr(panel, "poll") and not panel.poll(bpy.context):
            continue
        layout = Recorder(below)
        stand_in = SimpleNamespace(layout=layout)
        stand_in.prepare = lambda context, s=stand_in, p=panel: p.prepare(s, context)
        panel.draw(stand_in, bpy.context)
        draw_all(panel.__name__, layout.drawn)
        out[panel.bl_label] = layout.drawn
    return out


def headers():
    """Give what the headers of the panels tell of their steps, by the panels' labels."""
    out = {}
    for panel in panels():
        if hasattr(panel, "draw_header_preset") and (not hasattr(panel, "poll") or panel.poll(bpy.context)):
            layout = Recorder()
            panel.draw_header_preset(
                SimpleNamespace(layout=layout, step=panel.step, presets=panel.presets), bpy.context
            )
            out[panel.bl_label] = layout.drawn
    return out


def texts(drawn):
    """Give all texts drawn, in one string."""
    return " | ".join(text for _, text in drawn)

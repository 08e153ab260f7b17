"""The link preset of this name."""
import bpy
active = bpy.context.active_object
settings = (active if active.linkwright.schema else active.parent).linkwright

settings.family = 'curb'
settings.wire_mm = 3.0
settings.link_length_mm = 16.6
settings.link_width_mm = 13.2
settings.gap_mm = 0.4
settings.chord_mm = 0.02
settings.section = 'round'
settings.wire_width_mm = 0.0
settings.own_corner = False
settings.corner_mm = 0.3
settings.strands = 'SINGLE'
settings.facet_mm = 0.0
settings.repeat = 3
settings.long_link_mm = 0.0
settings.stud_mm = 0.0
settings.tapered = False
settings.end_wire_mm = 0.0
settings.end_link_length_mm = 0.0
settings.end_link_width_mm = 0.0

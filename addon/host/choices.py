"""The choices of a chain as Blender's enums keep them: identifier, name, tooltip, icon, number.

The number is what a file keeps: it is never given to another item.
"""

FAMILY_ITEMS = (
    ("curb", "Curb", "Oval links twisted so that all of them lie flat and alike", "NONE", 1),
    ("trace", "Trace", "Flat oval links, each turned a quarter against the next", "NONE", 2),
    ("belcher", "Belcher", "Rounded links of broad wire, each turned a quarter against the next", "NONE", 3),
    ("figaro", "Figaro", "Curb links in a repeat: some short ones, then a long one", "NONE", 4),
    ("anchor", "Anchor", "Oval links with a bar across the middle, turned a quarter each", "NONE", 5),
    ("box", "Box", "Broad square links, turned a quarter each", "NONE", 6),
    ("rope", "Rope", "Round rings, each through the two before it, winding round like a rope", "NONE", 7),
    ("weave", "Ring Weave", "Single rings and pairs of rings in turn", "NONE", 8),
    ("mesh", "Own Link", "Your own mesh as the link", "NONE", 9),
)
SHAPE_ITEMS = (
    ("straight", "Straight", "One straight row", "NONE", 1),
    ("ring", "Ring", "A ring, as the bracelet or necklace is worn", "NONE", 2),
    ("curve", "Curve", "Along a curve object, open or closed as the curve is", "NONE", 3),
    ("spiral", "Flat Spiral", "Wound up flat on the plate: low, for a small flask", "NONE", 4),
    ("coil", "Coil", "Wound up in turns one above the other: narrow and tall", "NONE", 5),
    ("serpentine", "Serpentine", "To and fro in rows", "NONE", 6),
)
RING_SIZE_ITEMS = (
    ("INNER", "Inside Length", "The length measured on the inside of the worn chain", "NONE", 1),
    ("WRIST", "Wrist", "The girth of the wrist, and how much longer the chain is", "NONE", 2),
    ("LINKS", "Links", "A number of links; the length follows", "NONE", 3),
    ("FINGER", "Finger Size", "A finger ring's size: the length round its inside in mm (ISO 8653)", "NONE", 4),
    ("LENGTH", "Length", "The length between the outer ends, for open ends", "NONE", 5),
)
STRAIGHT_SIZE_ITEMS = (
    ("LENGTH", "Length", "The length between the outer ends", "NONE", 1),
    ("LINKS", "Links", "A number of links; the length follows", "NONE", 2),
    ("INNER", "Inside Length", "The length measured on the inside once worn round, the clasp counted", "NONE", 3),
    ("WRIST", "Wrist", "The girth of the wrist, and how much longer the chain is, the clasp counted", "NONE", 4),
)
CURVE_SIZE_ITEMS = (
    ("FILL", "Curve", "As many links as the curve takes", "NONE", 1),
    ("LINKS", "Links", "A number of links", "NONE", 2),
    ("INNER", "Inside Length", "The length measured on the inside once worn round, the clasp counted", "NONE", 3),
    ("WRIST", "Wrist", "The girth of the wrist, and how much longer the chain is, the clasp counted", "NONE", 4),
    ("LENGTH", "Length", "The length between the outer ends of an open chain", "NONE", 5),
)
SECTION_ITEMS = (
    ("round", "Usual", "What the family usually has: round wire, and a flat strip for a box", "NONE", 1),
    ("D", "D", "Flat on the inside of the link, round on its outside", "NONE", 2),
    ("rectangle", "Rectangle", "Flat wire with eased corners", "NONE", 3),
)
STRAND_ITEMS = (
    ("SINGLE", "Single", "One wire", "NONE", 1),
    ("DOUBLE", "Double", "Two wires side by side, grown together", "NONE", 2),
)
AXIS_ITEMS = (
    ("AUTO", "By Its Shape", "Along the way in which the link's opening is longest", "NONE", 0),
    ("X", "X", "Along the X axis of the link mesh", "NONE", 1),
    ("Y", "Y", "Along the Y axis of the link mesh", "NONE", 2),
    ("Z", "Z", "Along the Z axis of the link mesh", "NONE", 3),
    ("OWN", "Direction", "Along a direction given by three numbers", "NONE", 4),
)
ENDS_ITEMS = (
    ("closed", "Closed", "The last link passes through the first", "NONE", 1),
    ("open", "Open", "The ends stay apart, with a clasp or without", "NONE", 2),
    ("cover", "Cover", "A block over the seam, one piece with both end links", "NONE", 3),
)
CLASP_ITEMS = (
    ("NONE", "None", "Bare end links", "NONE", 0),
    ("ring-bar", "Ring and Bar", "A bar that passes through a ring and then lies across it", "NONE", 1),
    ("hook-eye", "Hook and Eye", "A hook at one end, an eye at the other", "NONE", 2),
    ("eyes", "Two Eyes", "An eye at each end, for a jump ring closed by hand", "NONE", 3),
)
FACE_ITEMS = (
    (
        "out",
        "Outward",
        "The face looks outward, the width stands upright on the plate: prints and feeds best",
        "NONE",
        1,
    ),
    ("flat", "Flat", "The chain lies on its back", "NONE", 2),
)
FIT_ITEMS = (
    ("nearest", "Nearest", "Keep the link as it is and take the nearest whole number of links", "NONE", 1),
    ("ease", "Ease", "Change the link's length by up to 3 % to meet the length exactly", "NONE", 2),
)
PART_ITEMS = (
    ("NONE", "None", "Not part of a chain", "NONE", 0),
    ("LINK", "Link", "A link of the chain it is parented to", "NONE", 1),
    ("STRUT", "Strut", "A piece of the lattice of the chain it is parented to", "NONE", 2),
)
GATE_ITEMS = (
    ("planned", "Planned", "Where the planner put it", "DOT", 0),
    ("pinned", "Pinned", "Kept exactly as it is when the lattice is planned again", "PINNED", 1),
    ("wanted", "Added", "Led to the place the maker pointed at", "ADD", 2),
)

"""All geometry and casting rules: pure Python and numpy, no Blender. Units: mm, g, s, degC."""

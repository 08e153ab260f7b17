"""Meshes and what is true of one or two of them."""

"""Comes in: dimensions and points of a record.

Goes out: outline, arching, openings, distances, meshes, level lines.

May not know: wood, force, file.
"""

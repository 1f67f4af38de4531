"""Comes in: facets with their stiffness, thickness per facet, forces. Goes out: displacement,
stress, hertz, exact derivatives.

May not know: names of woods, strings, instruments, files.
"""

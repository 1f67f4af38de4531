"""Comes in: species, the maker's own board. Goes out: facet stiffness, strength,
spread, source.

May not know: shell, box, screens.
"""

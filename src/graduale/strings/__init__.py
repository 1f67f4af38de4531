"""Comes in: pitch, gauge, length, bridge and neck. Goes out: force vectors at nut, feet and saddle.

May not know: mesh, wood, screens.
"""

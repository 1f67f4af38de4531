"""Comes in: nothing. Goes out: frozen plain data of what is known, with spread, source, how known.

May not know: physics, files, screens.
"""

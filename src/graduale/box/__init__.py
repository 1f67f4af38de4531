"""Comes in: an instrument's geometry, woods, strings, a thickness at the nodes. Goes out: plates,
box, cases, verdicts.

May not know: how a thickness is chosen, files, readings, prints.
"""

"""Comes in: plates, boxes, verdicts' limits. Goes out: a few numbers <-> thickness per node; the
chosen map; floor maps.

May not know: readings, prints, files.
"""

"""Comes in: plain Python values. Goes out: units, findings, frozen arrays, tables, digests, progress.

May not know: anything else in the house.
"""

"""Comes in: plain Python values. Goes out: units, findings, frozen arrays, tables, digests.

Also progress, settings and the number of threads.

May not know: anything else in the house.
"""

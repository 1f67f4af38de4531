"""Comes in: requests of one browser on this computer. Goes out: pages, JSON, events.

A thin face over the bench's use cases. May not know: physics, SQLite, files.
"""

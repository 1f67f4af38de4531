"""Comes in: bytes and plain data with a place to put them. Goes out: files on disk, or a refusal.

The only room that writes to disk. May not know: physics, screens.
"""

"""Comes in: a key and values with units in their names. Goes out: one plain sentence.

One catalogue (`data/words.toml`) holds every text that a face shows.
May not know: physics, files, screens.
"""

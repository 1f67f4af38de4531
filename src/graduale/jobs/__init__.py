"""Comes in: paths and choices of one command. Goes out: a JobResult; files through the store.

One file a use case; the defaults of each room are joined here with what is known.
May not know: arguments, screens, http.
"""

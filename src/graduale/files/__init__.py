"""Comes in: bytes of the maker's files. Goes out: records, each problem as one clear sentence.

May not know: physics, store, screens. It reads; only `store` writes.
"""

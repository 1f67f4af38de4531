"""Comes in: arguments. Goes out: text or JSON, one progress line, an exit code.

A thin face: every command imports its use case when it runs, so that the help loads no solver.
May not know: physics, files, the disk.
"""

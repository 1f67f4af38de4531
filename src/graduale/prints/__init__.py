"""Comes in: decided maps, holes, stations, words, as plain records (`data.py`).

Goes out: sheets at true size as PDF, SVG and PNG bytes, and colour pictures.
May not know: store, screens, solvers; writes no file.
"""

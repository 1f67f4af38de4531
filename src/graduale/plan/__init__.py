"""Comes in: outline, outside surface, target thickness, drill, parts. Goes out: stage maps,
keep-out zones, a hole plan with a setting per hole, a scrap-block card, CSV text.

May not know: store, screens, the web, how the thickness was chosen.
"""

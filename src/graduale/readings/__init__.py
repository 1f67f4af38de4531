"""Comes in: caliper readings, a plate's outside, a surface to expect. Goes out: the plate as it is.

A thickness everywhere with its doubt, the thin spots, where one more reading would help most; from
weight and tap tones the wood.
May not know: store, screens, the web, verdicts.
"""

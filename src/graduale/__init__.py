"""Graduated thickness for carved arched plates: how thick, where, and why that is safe."""

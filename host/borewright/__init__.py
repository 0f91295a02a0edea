"""Borewright: the host program of a leak-down rig."""

__version__ = "0.1.0"

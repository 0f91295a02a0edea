"""Colours, patterns and letters of the window."""

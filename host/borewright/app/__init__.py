"""The window program: the only room that knows Qt."""

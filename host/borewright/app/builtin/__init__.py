"""The built-in rig on the screen: its person, and the guided first run."""

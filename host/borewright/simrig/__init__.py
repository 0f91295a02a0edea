"""The one room that knows the host and the simulator: the built-in rig, its scripted person, the demo."""

"""The keys that serve on every page, as the person reads them. Without Qt."""

from __future__ import annotations

__all__ = ["KEYS", "keys_text"]

KEYS: tuple[tuple[str, str], ...] = (
    ("Esc", "stop: shut and vent, on every page"),
    ("Ctrl+1 … Ctrl+5", "Test, Rig, Engine, Findings, Jobs"),
    ("Ctrl+6", "the built-in rig"),
    ("F8", "at the built-in rig: show me, does with the hands what the step asks"),
    ("F9", "the guided first job on the built-in rig"),
    ("Ctrl+7", "surroundings: who, air, temperatures, limits, colours"),
    ("Enter", "the one act of the step that is shown"),
    ("Space, or a foot-switch that types it", "hold down to let air in; letting go shuts and vents"),
    ("H, G", "with air on: keep it on for looking and listening; go on"),
    ("1 … 9", "choose a cylinder; with air on, the place that is looked at"),
    ("N, F, S, R", "how strong the air is there: none, faint, steady, strong"),
    ("S, B", "skip the cylinder that comes; go back"),
    ("Tab, Shift+Tab", "to the next control, to the one before"),
    ("Ctrl+U", "metric or inch"),
    ("Ctrl+T", "light or dark"),
    ("Ctrl + and Ctrl - and Ctrl 0", "everything larger, smaller, as usual"),
    ("Ctrl+M", "all messages of this run"),
    ("Ctrl+L", "save the log for support"),
    ("Ctrl+Q", "end the program; under pressure it vents first"),
    ("F1", "these keys"),
)


def keys_text() -> str:
    """One line for each.

    >>> keys_text().splitlines()[0]
    'Esc: stop: shut and vent, on every page'
    """
    return "\n".join(f"{key}: {what}" for key, what in KEYS)

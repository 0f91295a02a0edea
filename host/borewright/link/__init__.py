"""The byte streams to a rig: the only room that opens ports."""

from borewright.errors import LinkError
from borewright.link.endpoint import Endpoint
from borewright.link.port import PortDescription, list_ports, open_link
from borewright.link.wirelog import RecordingEndpoint, ReplayEndpoint, recording, replaying

__all__ = [
    "Endpoint",
    "LinkError",
    "PortDescription",
    "RecordingEndpoint",
    "ReplayEndpoint",
    "list_ports",
    "open_link",
    "recording",
    "replaying",
]

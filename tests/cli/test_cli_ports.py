"""The list of ports: in words, as JSON, and when there is none."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from borewright.cli import exits
from borewright.link import PortDescription


def test_ports_are_listed(command: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    found = (PortDescription("/dev/ttyACM0", "Rig", "USB 1"), PortDescription("/dev/ttyS0", "", "PNP0501"))
    monkeypatch.setattr("borewright.link.list_ports", lambda: found)
    plain = command("ports")
    assert (plain.code, plain.err) == (exits.OK, "")
    assert [line.split() for line in plain.out.splitlines()[1:]] == [["/dev/ttyACM0", "Rig", "USB", "1"], ["/dev/ttyS0", "PNP0501"]]
    assert json.loads(command("ports", "--json").out) == {
        "ports": [
            {"name": "/dev/ttyACM0", "description": "Rig", "hardware_id": "USB 1"},
            {"name": "/dev/ttyS0", "description": "", "hardware_id": "PNP0501"},
        ]
    }


def test_none_is_no_error_and_says_what_to_do(command: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("borewright.link.list_ports", tuple)
    ended = command("ports")
    assert (ended.code, ended.err) == (exits.OK, "")
    assert "no serial port was found" in ended.out
    assert json.loads(command("ports", "--json").out) == {"ports": []}


def test_the_ports_of_this_computer_can_be_asked_for(command: Callable[..., Any]) -> None:
    ended = command("ports", "--json")
    assert ended.code == exits.OK
    assert all(set(port) == {"name", "description", "hardware_id"} for port in json.loads(ended.out)["ports"])

"""Bringing a board up on the bench: who it is, whether it keeps the protocol, and whether its sensors are alive."""

from host.bringup.board_session import Bench
from host.bringup.by_hand import beep, by_hand
from host.bringup.conformance import Listened, conformance, listen
from host.bringup.findings import Finding, Grade

__all__ = ["Bench", "Finding", "Grade", "Listened", "beep", "by_hand", "conformance", "listen"]

"""The process that owns the port: link to journal, and a way for other processes to talk to it."""

from host.recorder.control import ask, is_recording
from host.recorder.follow import RunFollower, follow
from host.recorder.recorder import Outcome, Recorder, RunPlan, is_alarm

__all__ = ["Outcome", "Recorder", "RunFollower", "RunPlan", "ask", "follow", "is_alarm", "is_recording"]

"""Time in the hand of a test."""


class Clock:
    """Seconds that go on when they are told to."""

    def __init__(self):
        self.now = 1000.0

    def __call__(self):
        return self.now

    def go_on(self, seconds):
        self.now += seconds

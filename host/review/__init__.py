"""What a run did, from its file: totals, passes, health of the recording, exports."""

from host.review.review import review_run

__all__ = ["review_run"]

"""What a run did, from its file: totals, passes, health of the recording, exports."""

from host.review.review import Health, Review, review_run
from host.review.totals import Totals

__all__ = ["Health", "Review", "Totals", "review_run"]

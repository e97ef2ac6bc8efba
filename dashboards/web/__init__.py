"""The usual web parts: middleware, limits, callbacks beside the event loop."""

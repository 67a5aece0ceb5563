"""The doors: thin, and the only place that knows terminals and clocks."""

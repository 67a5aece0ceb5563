"""Past conversations replayed, compared, judged and counted."""

"""Documents for people outside the bench: the report of a job as PDF/A-3b."""

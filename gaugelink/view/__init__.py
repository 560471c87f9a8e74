"""What pages and reports draw: plain documents made from session, verdicts and analyses.

Numbers in them are for drawing only; whatever is shown as a figure is text, as the gauge or the
exact arithmetic gave it.
"""

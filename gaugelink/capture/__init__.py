"""Capture: runs decoders over ports, feeds the session, and acknowledges what is on disk."""

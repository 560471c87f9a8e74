"""Lets ``python -m gaugelink`` do what ``gaugelink`` does."""

from gaugelink.cli import entry

entry()

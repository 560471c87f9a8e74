"""GaugeLink: from the bytes of a digital gauge to a judged, signed-off cylinder head."""

__version__ = "0.1.0"

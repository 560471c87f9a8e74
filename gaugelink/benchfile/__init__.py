"""Bench files: which gauges stand on a bench, where each is plugged in, and the usual job.

Everything is checked before a port is opened: a wrong driver must not look like silence, nor two
gauges on one port like one of them.
"""

from gaugelink.benchfile.reader import BenchFile, Job, PedalAt, Placed, Where, load
from gaugelink.benchfile.tables import PAGE, job_name

__all__ = ["PAGE", "BenchFile", "Job", "PedalAt", "Placed", "Where", "job_name", "load"]

"""The simulated bench: one head, one hand, several gauges, each speaking its own wire format.

It is a simulation, with the physics of stems, guides and rocking hands, not a mock: what comes out
are bytes on a stream of the operating system. Nothing in here imports the decoders.
"""

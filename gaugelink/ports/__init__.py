"""Ports: bytes of a gauge, with the time of their arrival; trouble becomes a lost event, once."""

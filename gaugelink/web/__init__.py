"""The web room: serve the dashboards to browsers on this machine, and nothing to anybody else.

`Hub` hands one stream of documents to many browsers, `make_app` answers their requests, `Server`
runs the answers on a loopback port inside a running asyncio loop.
"""

from gaugelink.web.hub import Hub, Viewer
from gaugelink.web.server import Act, Server, Sweeps, make_app

__all__ = ["Act", "Hub", "Server", "Sweeps", "Viewer", "make_app"]

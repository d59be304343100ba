"""What the server counts, for Prometheus.

By default a caller on this machine needs no key, so that a scraper beside the server has no secret
to keep. A request that a proxy passed on is never one of this machine, even if the proxy is.
"""

from __future__ import annotations

import ipaddress

from flask import Response, current_app, request

from api.web.auth import require_laboratory
from api.web.blueprints import Blueprint
from api.web.metrics import meters

OPEN_TO = "METRICS_OPEN_TO"
LOOPBACK = "loopback"
_PASSED_ON = ("X-Forwarded-For", "Forwarded", "Via", "X-Real-Ip")

blp = Blueprint("metrics", __name__, description="Counters for monitoring")


@blp.route("/metrics")
@blp.response(200, {"type": "string"}, content_type="text/plain")
def show_metrics() -> Response:
    """Show all counters in Prometheus' text form.

    Open to callers on the server's own machine, unless the setting TRACEHOLD_METRICS says nobody;
    others send a key of the laboratory with the scope read.
    """
    if not (current_app.config[OPEN_TO] == LOOPBACK and _from_this_machine()):
        require_laboratory("read")
    text, media_type = meters().written(request.headers.get("Accept", ""))
    return Response(text, 200, content_type=media_type)


def _from_this_machine() -> bool:
    if any(name in request.headers for name in _PASSED_ON):
        return False
    try:
        return ipaddress.ip_address(request.remote_addr or "").is_loopback
    except ValueError:  # a Unix socket has no address
        return False

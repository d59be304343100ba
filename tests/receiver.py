"""A server on this machine that webhooks are delivered to, for tests."""

from __future__ import annotations

import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class Receiver:
    """A server that keeps what it gets and answers with the statuses it is told to, then 204."""

    def __init__(self):
        self.got, self.answers = [], []
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"]))
                receiver.got.append((dict(self.headers), body))
                status = receiver.answers.pop(0) if receiver.answers else 204
                self.send_response(status)
                if status == 302:
                    self.send_header("Location", f"{receiver.url}elsewhere")
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *args):
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}/"
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.05,))
        self.thread.start()

    def close(self):
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()

    def changes(self):
        return [one["certificate"] for _, body in self.got for one in json.loads(body)["changes"]]

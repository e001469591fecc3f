"""Who may talk to the dashboard: loopback only, no other sites, no foreign scripts, no large posts."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterable
from threading import Thread
from urllib.parse import urlsplit

import waitress
from dash import Dash
from flask import Flask, Response, abort, request

from study.errors import DwellbookError

TRUSTED_HOSTS = ["127.0.0.1", "localhost"]
"""Names under which the pages answer and at which they may be served."""
LARGEST_POST_BYTES = 36 * 1024 * 1024
"""Room for one attached file of 25 MB, which the pages send as text a third longer; no other form comes near it."""
THREADS = 8


def guard(server: Flask, *, script_hashes: Callable[[], Iterable[str]]) -> None:
    """Put host check, cross-site refusal, size limit and headers on a server.

    Parameters
    ----------
    server : Flask
        What is guarded.
    script_hashes : callable
        Gives the hashes of the page's own inline scripts; asked at each answer, since the first request adds one.
    """
    server.config["TRUSTED_HOSTS"] = TRUSTED_HOSTS
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_POST_BYTES

    @server.before_request
    def refuse_strangers() -> None:
        host = request.host  # touching it makes Flask check it against TRUSTED_HOSTS before anything else runs
        if request.headers.get("Sec-Fetch-Site", "none") not in ("same-origin", "none"):
            abort(403, "Another site asked for this page.")
        origin = request.headers.get("Origin")
        if origin is not None and urlsplit(origin).netloc != host:
            abort(403, "Another site asked for this page.")

    @server.after_request
    def add_headers(answer: Response) -> Response:
        if "Content-Security-Policy" not in answer.headers:  # a file of the study brings a narrower one
            answer.headers["Content-Security-Policy"] = policy(script_hashes())
        answer.headers["X-Content-Type-Options"] = "nosniff"
        answer.headers["X-Frame-Options"] = "DENY"
        answer.headers["Referrer-Policy"] = "no-referrer"
        answer.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        answer.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        if answer.mimetype in ("text/html", "application/json"):
            answer.headers["Cache-Control"] = "no-store"
        return answer


def policy(script_hashes: Iterable[str]) -> str:
    """The content security policy: own files only, no eval, inline styles because the widgets need them."""
    scripts = " ".join(["'self'", *script_hashes])
    return "; ".join(
        (
            "default-src 'self'",
            f"script-src {scripts}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            "worker-src 'self' blob:",
            "connect-src 'self'",
            "object-src 'none'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        )
    )


def check_address(host: str, port: int) -> None:
    """Refuse an address that others can reach, or a port that is taken, before anything is begun.

    Raises
    ------
    DwellbookError
        For any address but this machine's own, since the pages know no accounts yet; or for a port in use.
    """
    if host not in TRUSTED_HOSTS:
        raise DwellbookError(
            f"“{host}” may be reached by others, and the dashboard has no accounts yet.",
            "Serve it at 127.0.0.1 and open it on this machine.",
        )
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((host, port))
        except OSError:
            raise DwellbookError(
                f"Port {port} is taken by another program.", "End that one, or choose another with --port."
            ) from None


def serve(app: Dash, *, port: int, host: str = "127.0.0.1") -> None:
    """Serve until stopped; what the pages will ask for first is worked out meanwhile."""
    check_address(host, port)
    begin = app.server.config.get("WORK_AHEAD")
    if begin is not None:
        Thread(target=begin, daemon=True).start()
    waitress.serve(
        app.server,
        host=host,
        port=port,
        threads=THREADS,
        max_request_body_size=LARGEST_POST_BYTES,
        ident="dwellbook",
    )

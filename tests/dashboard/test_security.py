"""Only this machine's own pages are answered."""

from __future__ import annotations

import socket
from datetime import date
from pathlib import Path

import pytest
from dash import Dash
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.security import LARGEST_POST_BYTES, check_address, serve
from study.errors import DwellbookError


@pytest.fixture
def app(tmp_path: Path) -> Dash:
    """The dashboard on a file that no request here opens."""
    return create_app(tmp_path / "shelf.sqlite", today=lambda: date(2026, 3, 2))


@pytest.fixture
def client(app: Dash) -> FlaskClient:
    """A client that sends what it is told to."""
    return app.server.test_client()


@pytest.mark.parametrize("host", ["127.0.0.1:8051", "localhost:8051"])
def test_own_names_are_answered(client: FlaskClient, host: str) -> None:
    """The machine's own names open the page."""
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", ["museum.example", "127.0.0.1.example.org", "10.0.0.7"])
def test_a_foreign_host_name_is_refused(client: FlaskClient, host: str) -> None:
    """A name that was bent to point here is refused, page and callback alike."""
    assert client.get("/", headers={"Host": host}).status_code == 400
    assert client.post("/_dash-update-component", json={}, headers={"Host": host}).status_code == 400


@pytest.mark.parametrize("headers", [
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site"},
    {"Origin": "https://elsewhere.example"},
    {"Origin": "null"},
])  # fmt: skip
def test_other_sites_are_refused(client: FlaskClient, headers: dict[str, str]) -> None:
    """Another site's page cannot read from the study or write to it."""
    assert client.post("/_dash-update-component", json={}, headers=headers).status_code == 403
    assert client.get("/_dash-layout", headers=headers).status_code == 403


def test_own_pages_are_answered(client: FlaskClient) -> None:
    """The page's own requests pass."""
    headers = {"Sec-Fetch-Site": "same-origin", "Origin": "http://localhost"}
    assert client.get("/_dash-dependencies", headers=headers).status_code == 200


def test_headers(client: FlaskClient) -> None:
    """No eval, no foreign source, no framing, nothing kept by the browser."""
    answer = client.get("/")
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe-eval" not in policy
    assert "frame-ancestors 'none'" in policy
    assert "http" not in policy.replace("'", "")
    assert "'unsafe-inline'" not in policy.split("script-src")[1].split(";")[0]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["Cross-Origin-Opener-Policy"] == "same-origin"
    assert answer.headers["Cache-Control"] == "no-store"


def test_inline_scripts_are_allowed_by_hash_alone(client: FlaskClient, app: Dash) -> None:
    """Every inline script of the page has its hash in the policy of the same answer."""
    scripts = client.get("/").headers["Content-Security-Policy"].split("script-src")[1].split(";")[0]
    assert all(found in scripts for found in app.csp_hashes())


def test_the_page_says_its_language_and_names_no_other_machine(client: FlaskClient) -> None:
    """The page is in English, and every file it names lies here."""
    text = client.get("/").get_data(as_text=True)
    assert '<html lang="en">' in text
    assert 'src="http' not in text
    assert 'href="http' not in text


def test_large_posts_are_refused(client: FlaskClient) -> None:
    """More than any form needs is refused before it is read."""
    large = b'{"a":"' + b"x" * LARGEST_POST_BYTES + b'"}'
    answer = client.post("/_dash-update-component", data=large, content_type="application/json")
    assert answer.status_code == 413


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_own_addresses_may_be_served(host: str) -> None:
    """This machine's own address passes where the port is free, and is refused with words where it is taken."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(DwellbookError, match=f"Port {port} is taken"):
            check_address(host, port)
    check_address(host, port)
    with socket.socket() as free:
        free.bind(("127.0.0.1", port))
        assert free.getsockname()[1] == port


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.4", "::", "::1", "museum.example", ""])
def test_other_addresses_are_refused(app: Dash, host: str) -> None:
    """Nothing that others can reach is served until there are accounts; the refusal says what to do."""
    with pytest.raises(DwellbookError, match="no accounts yet") as refusal:
        serve(app, port=0, host=host)
    assert "127.0.0.1" in refusal.value.do

"""Who may ask, against a desk that really listens: what a page in the same browser can try on a local server.

Checking Host and Origin against name rebinding and cross-site requests follows the OWASP cheat sheets on request
forgery (from memory); that a browser sends no `Authorization` header by itself is RFC 9110 section 11 and Fetch.
"""

import contextlib
import http.client
import socket

import pytest

from obbligato.desk.guard import LARGEST_JSON, LARGEST_UPLOAD


def raw(desk, head, *pieces):
    """Send a request as written and give the status and what was answered, as far as the server listens."""
    with socket.create_connection(("127.0.0.1", desk.port), timeout=20) as sock:
        sock.sendall(head.replace("\n", "\r\n").encode() + b"\r\n\r\n")
        try:
            for piece in pieces:
                sock.sendall(piece)
        except OSError:
            pass
        response = http.client.HTTPResponse(sock)
        response.begin()
        return response.status, response.read()


def code(body):
    return body["error"]["code"]


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1:1", "127.0.0.1", "127.0.0.1.evil.example:{port}"]
)
def test_another_host_is_refused(kept_desk, host):
    status, body = kept_desk.call("GET", "/api/jobs", Host=host.format(port=kept_desk.port))
    assert (status, code(body)) == (403, "refused")
    assert kept_desk.call("GET", "/", Host=host.format(port=kept_desk.port))[0] == 403


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://localhost:1"])
def test_another_origin_is_refused(kept_desk, origin):
    status, body = kept_desk.call("POST", "/api/jobs", {}, Origin=origin.format(port=kept_desk.port))
    assert (status, code(body)) == (403, "refused")


def test_own_host_and_origin_pass(kept_desk):
    for host in ("127.0.0.1", "localhost"):
        own = f"{host}:{kept_desk.port}"
        assert kept_desk.call("GET", "/api/jobs", Host=own, Origin=f"http://{own}")[0] == 200


def test_a_request_that_another_site_caused_is_refused(kept_desk):
    assert kept_desk.call("GET", "/api/jobs", Sec_Fetch_Site="cross-site")[0] == 403


@pytest.mark.parametrize(
    "given", ["", "Bearer", "Bearer wrong", "Basic {token}", "{token}", "Bearer {token}x", "Bearer \u00e9"]
)
@pytest.mark.parametrize("path", ["/api/jobs", "/api/events", "/api/openapi.json", "/api/nothing"])
def test_without_this_runs_token_nothing_is_told(kept_desk, given, path):
    header = given.format(token=kept_desk.token).encode("utf-8").decode("latin-1")
    status, body = kept_desk.call("GET", path, Authorization=header)
    assert (status, code(body)) == (401, "refused")


@pytest.mark.parametrize(
    "path",
    [
        "/api/jobs/..",
        "/api/jobs/%2e%2e",
        "/api/jobs/..%2f..%2foutside.txt",
        "/api/jobs/NightFerry%2f..",
        "/../outside.txt",
        "/%2e%2e/%2e%2e/deps.py",
        "/style/..%2f..%2fdeps.py",
        "/..%5cdeps.py",
        "/file/0123/NightFerry/job.json",
        "/file/0123/..%2fNightFerry/../../outside.txt",
        "//etc/passwd",
        "/api/jobs/%00",
    ],
)
def test_no_path_leads_out_of_the_folder(kept_desk, path):
    status, body = raw(
        kept_desk,
        f"GET {path} HTTP/1.1\nHost: 127.0.0.1:{kept_desk.port}\n"
        f"Authorization: Bearer {kept_desk.token}\nConnection: close",
    )
    assert status in {404, 422}
    assert b"secret" not in body
    assert b'"error"' in body


def test_a_signed_link_opens_its_own_file_only(kept_desk):
    job = kept_desk.call("GET", "/api/jobs/NightFerry")[1]
    url = job["guide"]["url"]
    assert kept_desk.call("GET", url, Authorization="")[0] == 200
    signature = url.split("/")[2]
    for other in ("job.json", "guide/guide.wav", "../../outside.txt", "../outside.txt"):
        assert kept_desk.call("GET", f"/file/{signature}/NightFerry/{other}")[0] == 404


def test_five_gigabytes_are_refused_before_they_are_sent(kept_desk):
    head = (
        f"PUT /api/uploads?name=long.wav HTTP/1.1\nHost: 127.0.0.1:{kept_desk.port}\n"
        f"Authorization: Bearer {kept_desk.token}\nContent-Length: {5 * 2**30}\nConnection: close"
    )
    status, body = raw(kept_desk, head)
    assert status == 413
    assert b"too_large" in body
    assert LARGEST_UPLOAD < 5 * 2**30


def test_a_body_longer_than_it_may_be_is_cut_off_though_no_length_was_stated(kept_desk):
    piece = b"10000\r\n" + b" " * 0x10000 + b"\r\n"
    head = (
        f"POST /api/jobs HTTP/1.1\nHost: 127.0.0.1:{kept_desk.port}\nAuthorization: Bearer {kept_desk.token}\n"
        "Content-Type: application/json\nTransfer-Encoding: chunked\nConnection: close"
    )
    status, body = raw(kept_desk, head, *[piece] * (LARGEST_JSON // 0x10000 + 2), b"0\r\n\r\n")
    assert status == 413
    assert b"too_large" in body


@pytest.mark.parametrize(
    ("method", "path", "body", "status"),
    [
        ("POST", "/api/jobs", b"not json", 422),
        ("POST", "/api/jobs", [], 422),
        ("POST", "/api/jobs", {"guide": 3, "instrument": "flute", "brief": {"title": "x"}}, 422),
        ("POST", "/api/jobs", {"guide": "u-1", "instrument": "flute", "brief": {"title": "x", "fee": "NaN"}}, 422),
        ("POST", "/api/jobs", {"guide": "u-1", "instrument": "kazoo", "brief": {"title": "x"}}, 422),
        ("DELETE", "/api/jobs", None, 405),
        ("GET", "/api/jobs/Nowhere", None, 404),
        ("POST", "/api/tasks/t-0/cancel", {}, 404),
        ("PUT", "/api/uploads?name=..", b"x", 422),
        ("PUT", "/api/uploads?name=a.wav", b"", 422),
        ("PUT", "/api/uploads", b"x", 422),
    ],
)
def test_wrong_types_get_one_sentence(kept_desk, method, path, body, status):
    got, answer = kept_desk.call(method, path, body)
    assert got == status
    assert set(answer["error"]) == {"code", "message"}
    assert len(answer["error"]["message"]) > 10


def test_the_page_may_load_nothing_from_elsewhere(kept_desk):
    with contextlib.closing(http.client.HTTPConnection("127.0.0.1", kept_desk.port)) as connection:
        connection.request("GET", "/")
        response = connection.getresponse()
        assert response.status == 200
        assert kept_desk.token.encode() not in response.read()
    policy = response.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self';" in policy
    assert response.headers["X-Content-Type-Options"] == "nosniff"


def test_it_listens_on_loopback_only(kept_desk):
    """Every address of this machine other than the loopback one is deaf on the desk's port (127.0.0.2 is one too)."""
    with socket.socket() as sock:
        sock.settimeout(2)
        assert sock.connect_ex(("127.0.0.2", kept_desk.port)) != 0

"""What stands before every request."""

import httpx
import pytest

from tests.dashboard.conftest import asked


@pytest.mark.parametrize("path", ["/nope", "/docs", "/openapi.json", "/job/x", "/bay/", "/bay/../jobs/", "/job/1/2"])
def test_an_unknown_path_is_404_and_says_where_to_go(page: httpx.Client, path: str) -> None:
    """Dash itself would answer any path with a page and 200."""
    answer = page.get(path)
    assert answer.status_code == 404
    assert 'href="/jobs"' in answer.text


def test_a_person_who_lost_his_way_keeps_the_red_button(page: httpx.Client) -> None:
    """A browser gets the page around it, with 404; Dash's own routes that are not known stay closed."""
    answer = page.get("/_dash/else/../nowhere", headers={"accept": "text/html"})
    assert answer.status_code == 404
    assert "Unkey all" in answer.text


def test_a_path_in_the_page_of_404_is_text_and_never_markup(page: httpx.Client) -> None:
    """What somebody else wrote into a link does not become part of our page."""
    assert "<script>" not in page.get("/<script>alert(1)</script>").text


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8050", "10.0.0.9:8050", ""])
def test_a_name_that_is_not_ours_is_refused(page: httpx.Client, host: str) -> None:
    """A foreign name that points at this machine reaches neither a page nor an order."""
    assert page.get("/live", headers={"host": host}).status_code == 400
    assert page.post("/unkey", headers={"host": host}).status_code == 400


@pytest.mark.parametrize("host", ["127.0.0.1:8050", "localhost:8050", "[::1]:8050", "bench.local"])
def test_names_of_this_machine_and_the_given_one_are_taken(api: str, host: str) -> None:
    """The bench's own name is given on the command line."""
    with asked(api, names=["bench.local"]) as page:
        assert page.get("/live", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
@pytest.mark.parametrize("path", ["/unkey", "/bay/bay-1/soak", "/bay/bay-1/done", "/_dash-update-component"])
def test_an_order_from_another_sites_page_is_refused(page: httpx.Client, path: str, headers: dict[str, str]) -> None:
    """Dash's own POST route checks no Origin; ours stands before it."""
    assert page.post(path, headers=headers).status_code == 403


def test_an_order_from_our_own_page_is_taken(page: httpx.Client) -> None:
    """Also behind the name that the browser used."""
    for host in (page.base_url.netloc.decode(), "localhost:8050"):
        headers = {"host": host, "origin": f"http://{host}", "sec-fetch-site": "same-origin"}
        assert page.post("/unkey", headers=headers).status_code == 200


def test_a_web_socket_from_another_sites_page_is_refused(page: httpx.Client) -> None:
    """Dash opens a socket route even where nobody uses one."""
    headers = {
        "connection": "Upgrade",
        "upgrade": "websocket",
        "sec-websocket-version": "13",
        "sec-websocket-key": "AAAAAAAAAAAAAAAAAAAAAA==",
    }
    assert page.get("/_dash-ws-callback", headers=headers | {"origin": "http://evil.example"}).status_code == 403


def test_every_answer_forbids_foreign_scripts_and_frames(page: httpx.Client) -> None:
    """Nothing is loaded from elsewhere, nothing of ours is framed, no figure is kept by a cache."""
    for path in ("/", "/live", "/nope"):
        headers = page.get(path).headers
        assert "default-src 'self'" in headers["content-security-policy"]
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert headers["cache-control"] == "no-store"
    assert "unsafe-eval" not in page.get("/").headers["content-security-policy"]


def test_scripts_are_compressed_and_live_answers_are_not(page: httpx.Client) -> None:
    """Packing pays once for a file and costs twice a second for the live state."""
    text = page.get("/").text
    script = next(part.split('"')[0] for part in text.split('src="')[1:] if "dash_renderer" in part)
    assert page.get(script, headers={"accept-encoding": "gzip"}).headers["content-encoding"] == "gzip"
    assert "content-encoding" not in page.get("/live", headers={"accept-encoding": "gzip"}).headers


def test_a_script_is_compressed_once_and_comes_whole_again(page: httpx.Client) -> None:
    """The same bytes to all who ask; who has it already is told so, and who takes no gzip gets it plain."""
    name = "/_dash-component-suites/plotly/package_data/plotly.min.js"
    first, second = page.get(name), page.get(name)
    assert first.headers["content-encoding"] == second.headers["content-encoding"] == "gzip"
    assert first.content == second.content
    assert second.headers["x-content-type-options"] == "nosniff"
    assert second.headers.get_list("x-content-type-options") == ["nosniff"]
    assert page.get(name, headers={"if-none-match": first.headers["etag"]}).status_code == 304
    plain = page.get(name, headers={"accept-encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert plain.content == first.content

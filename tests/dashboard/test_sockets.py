"""A page whose web socket can't be had, or dies without a word."""

from playwright.sync_api import Page, WebSocketRoute, expect


def test_where_no_socket_can_be_had_the_page_lives_on_plain_questions(tab: Page, address: str) -> None:
    """As behind a proxy that knows none; it is never loud."""
    tab.route_web_socket("**/live", lambda socket: socket.close())
    tab.goto(address)
    expect(tab.locator(".shelf").first).to_be_visible()
    asked = []
    tab.on("request", lambda request: asked.append(request.url) if request.url.endswith("/live") else None)
    tab.wait_for_timeout(3_000)  # longer than silence is borne
    expect(tab.locator("#outage")).not_to_be_visible()
    assert len(asked) >= 3


def test_a_socket_that_dies_without_a_word_is_given_up_and_made_anew(tab: Page, address: str) -> None:
    """As when the network goes away under it."""
    made: list[WebSocketRoute] = []

    def mute_the_first(socket: WebSocketRoute) -> None:
        made.append(socket)
        server = socket.connect_to_server()
        if len(made) == 1:
            server.on_message(lambda _: None)

    tab.route_web_socket("**/live", mute_the_first)
    tab.goto(address)
    expect(tab.locator(".shelf").first).to_be_visible()
    assert len(made) == 2

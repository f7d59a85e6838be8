"""Debian's Chromium, without a window, as every test that needs a real browser starts it."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, expect, sync_playwright

WORDS = ["--disable-quic", "--disable-background-networking", "--disable-component-update", "--disable-sync"]

#: how long a page may take for what no test times: the machine may be slow, and busy
expect.set_options(timeout=20_000)


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser of one's own."""
    path = shutil.which("chromium")
    assert path, "Chromium is not installed: sh deploy/test.sh installs it"
    # Chromium's own sandbox will not start for root
    words = [*WORDS, "--no-sandbox"] if os.geteuid() == 0 else WORDS
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=words)
        yield browser
        browser.close()

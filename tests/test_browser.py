"""The browser helper sees what it is there to see; else a clean page proves nothing."""

from pathlib import Path

import pytest
from browser import NEED, opened


def test_complaints_of_a_bad_page_are_seen(tmp_path: Path) -> None:
    page = tmp_path / "a bad page.html"
    page.write_text(
        "<!DOCTYPE html><title>x</title><style>@page { size: A4 } p { break-after: page }</style>"
        "<p>one<p>two<p>three<img src='https://example.org/x.png'><script>console.log('hello'); nowhere();</script>",
        encoding="utf-8",
    )

    with opened(page) as seen:
        printed = seen.pages_printed()

    assert any("https://example.org/x.png" in c for c in seen.complaints)
    assert "log: hello" in seen.complaints
    assert any("nowhere is not defined" in c for c in seen.complaints)
    assert printed == 3


def test_without_a_browser_the_reason_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv(NEED, raising=False)
    with (
        pytest.raises(pytest.skip.Exception, match=r"no browser: none of chromium.* apt-get install chromium"),
        opened(tmp_path / "x.html"),
    ):
        pass
    monkeypatch.setenv(NEED, "1")
    with pytest.raises(pytest.fail.Exception, match="no browser"), opened(tmp_path / "x.html"):
        pass

"""The bench page in a real browser: bursts, power cuts, two pages, who is let in, what can be read.

Sizes of targets and letters: 72 and 24 px by our own trials at one metre; contrast 4.5 by WCAG 2.2,
success criterion 1.4.3, relative luminance as defined there.
"""

import http.client
import json
import secrets
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from graduale.records import events as e
from tests.flow.bench_browser import (
    NAME,
    Served,
    browser,
    burst,
    make_book,
    plate_page,
    settled,
    tablet,
    until,
)

pytestmark = pytest.mark.slow
TABLET, UPRIGHT = (1280, 800), (800, 1280)
LOOK = Path(__file__).with_name("look.js").read_text(encoding="utf-8").split("\n", 2)[2]


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as one:
        yield one


@pytest.fixture
def served(tmp_path: Path, decided_folder: Path) -> Iterator[Served]:
    one = Served(make_book(tmp_path, decided_folder), tmp_path)
    yield one
    one.kill()


def readings(served: Served) -> list[e.CaliperRead]:
    """All readings in the book, in order."""
    with served.opened() as book:
        every = book.entries(book.instrument(NAME).id)
    return [x.what for x in every if isinstance(x.what, e.CaliperRead)]


def aims(page: Page) -> list[tuple[str, float]]:
    """Name and target of every station in the order of the round."""
    start = json.loads(page.inner_text("#start") or page.text_content("#start") or "")
    return [(s["name"], s["target_mm"]) for s in start["state"]["stations"]]


def test_a_whole_round_typed_in_bursts_loses_nothing(chromium: Browser, served: Served) -> None:
    page = plate_page(tablet(chromium, TABLET), served, "back")
    stations = aims(page)
    assert len(stations) >= 50
    texts = [f"{aim + 0.01 * (i % 9):.2f}" for i, (_, aim) in enumerate(stations)]
    typed = [t.replace(".", ",") if i % 3 == 0 else f"+0{t}" for i, t in enumerate(texts)]
    burst(page, typed)
    settled(page)
    found = readings(served)
    assert [r.station for r in found] == [name for name, _ in stations]
    assert [r.t_mm for r in found] == pytest.approx([float(t) for t in texts])
    assert [r.typed for r in found] == typed
    page.wait_for_selector("#figures dd:has-text('≈')")
    marks = page.eval_on_selector_all("[data-station]", "all => all.map(a => a.dataset.mark)")
    assert set(marks) == {"within"}
    assert page.input_value("#typed") == ""


def test_readings_go_on_while_the_server_is_away(chromium: Browser, served: Served) -> None:
    """Killed in the middle of a burst, started again on the same port; then the page itself is
    closed and opened again before the rest has gone in."""
    own = tablet(chromium, TABLET)
    page = plate_page(own, served, "top")
    names = [name for name, _ in aims(page)]
    burst(page, ["3.5"] * 4)
    served.kill()
    burst(page, ["3.4"] * 6)
    page.wait_for_selector("#link:has-text('wait in this page')")
    page.close()  # the tablet is put down: the queue lies in the browser's own store
    served.start()
    again = plate_page(own, served, "top")
    settled(again)
    until(lambda: len(readings(served)) == 10)
    assert sorted(r.station for r in readings(served)) == sorted(names[:10])
    assert [r.t_mm for r in readings(served)] == [3.5] * 4 + [3.4] * 6


def test_two_pages_at_once(chromium: Browser, served: Served) -> None:
    one = plate_page(tablet(chromium, TABLET), served, "back")
    other = plate_page(tablet(chromium, UPRIGHT), served, "back")
    (first, aim), *_ = aims(one)
    burst(one, [f"{aim:.2f}"])
    settled(one)
    other.wait_for_selector(f"[data-station='{first}']:not([data-mark=''])")
    burst(other, ["4.8", "4.7"])
    settled(other)
    settled(one)
    assert len(readings(served)) == 3


def test_slips_are_kept_flagged_and_answered(chromium: Browser, served: Served) -> None:
    page = plate_page(tablet(chromium, TABLET), served, "back")
    burst(page, ["32", "thick", "0.01"])
    settled(page)
    page.wait_for_selector("#waiting:has-text('looks like a slip')")
    assert [r.doubtful for r in readings(served)] == [True]  # letters and 0.01 are no readings
    assert "thinner than any plate" in (page.text_content("#kept") or "")
    page.get_by_role("button", name="Strike it").click()
    page.wait_for_selector("#waiting:not(:has(div))", state="attached")
    burst(page, ["1.3"])
    page.wait_for_selector("#alarms div, #waiting div")
    assert "floor" in (page.text_content("#alarms") or "") + (page.text_content("#waiting") or "")


def test_undo_weigh_and_stage_without_the_mouse(chromium: Browser, served: Served) -> None:
    page = plate_page(tablet(chromium, TABLET), served, "back")
    burst(page, ["4.9", "4.8"])
    settled(page)
    page.keyboard.press("u")
    settled(page)
    page.keyboard.press("w")
    burst(page, ["57,3"])
    page.wait_for_selector("#figures:has-text('57.3 g')")
    page.get_by_role("button", name="gouge").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#stages [data-key='gouge'][aria-pressed='true']")
    settled(page)
    with served.opened() as book:
        stands = e.standing(book.entries(book.instrument(NAME).id))
    kinds = [type(s.what).__name__ for s in stands]
    assert kinds.count("CaliperRead") == 1
    assert kinds.count("WeightRead") == 1
    assert kinds.count("StageBegun") == 1


def test_a_tap_anywhere_reads_there(chromium: Browser, served: Served) -> None:
    """On the back seen from inside the bass lies left: a tap left of the middle is y > 0."""
    page = plate_page(tablet(chromium, TABLET), served, "back")
    box = page.locator("#drawing svg").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + 0.31 * box["height"])
    if "tapped" not in (page.text_content("#name") or ""):  # a station was hit: go beside it
        page.mouse.click(box["x"] + 0.47 * box["width"], box["y"] + 0.335 * box["height"])
    assert "tapped" in (page.text_content("#name") or "")
    burst(page, ["4.9"])
    settled(page)
    (one,) = readings(served)
    assert one.y_mm >= 0.0
    assert 150.0 < one.x_mm < 280.0


@pytest.mark.parametrize("size", [TABLET, UPRIGHT], ids=["lying", "upright"])
def test_it_reads_at_one_metre(chromium: Browser, served: Served, size: tuple[int, int]) -> None:
    page = plate_page(tablet(chromium, size), served, "top")
    burst(page, ["4.9", "32", "1.3"])
    settled(page)
    page.wait_for_timeout(300)
    for lamp in ("light", "dark"):
        found = page.evaluate(LOOK)
        assert found["small"] == [], lamp
        assert found["tight"] == [], lamp
        assert found["unnamed"] == [], lamp
        assert found["faint"] == [], lamp
        assert found["beside"] == [], lamp
        assert found["wide"] <= size[0], lamp
        page.click("#lamp")


def ask(
    served: Served, method: str, path: str, body: bytes | None = None, **headers: str
) -> tuple[int, str]:
    """A request as any program may send it; `headers` with _ for -."""
    line = http.client.HTTPConnection("127.0.0.1", served.port, timeout=60)
    told = {k.replace("_", "-"): v for k, v in headers.items()}
    line.request(method, path, body, told)
    answer = line.getresponse()
    return answer.status, answer.read().decode()


def test_nobody_else_is_let_in(served: Served) -> None:
    with served.opened() as book:
        id = book.instrument(NAME).id
    entries = f"/api/{id}/entries"
    note = {"id": secrets.token_hex(16), "kind": "note", "text": "<script>alert(1)</script>"}
    body = json.dumps([note]).encode()
    assert ask(served, "GET", "/book", Host="gauge.example")[0] == 403
    assert ask(served, "POST", entries, body, Origin="http://gauge.example")[0] == 403
    assert ask(served, "POST", entries, body, Sec_Fetch_Site="cross-site")[0] == 403
    assert ask(served, "POST", entries, b"x", Content_Length="200000000")[0] == 413
    assert ask(served, "POST", entries, b"[" * 100_000)[0] == 400
    assert ask(served, "GET", "/static/../app.py")[0] == 404
    assert ask(served, "GET", "/static/%2e%2e/app.py")[0] == 404
    assert ask(served, "GET", "/nothing")[0] == 404
    status, told = ask(served, "GET", "/plate/none/top")
    assert status == 409
    assert "holds no instrument" in told
    status, told = ask(served, "POST", entries, json.dumps([{"kind": "rocket"}, note]).encode())
    assert [one["kept"] for one in json.loads(told)] == [False, True]
    assert "<script>alert" not in ask(served, "GET", f"/plate/{id}/top")[1]
    code, said = served.stop()
    assert "Traceback" not in said
    assert code in (0, -15, 143)

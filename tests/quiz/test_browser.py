"""The quiz page in a real browser: by keyboard alone, every clip decodes, no request leaves, results gather."""

from __future__ import annotations

import json
import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tutor.practice.catalogue import drills
from tutor.practice.drill import Material
from tutor.quiz.gather import gather
from tutor.quiz.make import make
from tutor.quiz.pack import Pack
from tutor.studio import quizzes

pytestmark = pytest.mark.device
COUNT = 20
FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-quic", "--autoplay-policy=no-user-gesture-required",
)  # fmt: skip


@pytest.fixture(scope="module")
def pack() -> Pack:
    return make(drills(), Material(), title="Tide chords", introduction="Listen twice.", count=COUNT, seed=11)


@pytest.fixture(scope="module")
def page(pack: Pack, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "quiz.html"
    path.write_text(quizzes.quiz_page(pack), encoding="utf-8")
    return path


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Any]:
    binary, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not (binary and driver):
        if os.environ.get("LARKSTAIR_REQUIRE_DEVICES"):
            pytest.fail("chromium and chromedriver are not installed")
        pytest.skip("chromium and chromedriver are not installed")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    for flag in (*FLAGS, f"--user-data-dir={tmp_path / 'profile'}"):
        options.add_argument(flag)
    options.binary_location = binary
    options.add_experimental_option("prefs", {"download.default_directory": str(tmp_path)})
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    opened = webdriver.Chrome(options=options, service=Service(driver))
    opened.set_script_timeout(60)
    yield opened
    opened.quit()


def phone(browser: Any) -> None:
    """A small phone; a window alone cannot be made so narrow."""
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 375, "height": 812, "deviceScaleFactor": 2, "mobile": True}
    )


def requests(browser: Any) -> list[str]:
    events = [json.loads(e["message"])["message"] for e in browser.get_log("performance")]
    return [e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"]


def test_page_is_small(page: Path) -> None:
    assert page.stat().st_size < 3_000_000


def test_by_keyboard_alone_and_results_gather(browser: Any, page: Path, pack: Pack, tmp_path: Path) -> None:
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    phone(browser)
    browser.get(page.as_uri())
    wanted = [[c.label for c in i.choices].index(i.right) for i in pack.items]
    wanted[3] = (wanted[3] + 1) % len(pack.items[3].choices)  # one slip

    def tab() -> None:
        ActionChains(browser).send_keys(Keys.TAB).perform()

    done = 0
    for _ in range(COUNT * 40):
        if done == COUNT:
            break
        here = browser.switch_to.active_element
        name = here.get_attribute("name") or ""
        if here.get_attribute("type") == "radio" and name == f"a{done + 1}":
            here.send_keys(Keys.SPACE)
            for _ in range(wanted[done]):
                browser.switch_to.active_element.send_keys(Keys.ARROW_DOWN)
        elif here.tag_name == "button" and here.text == f"Answer question {done + 1}":
            here.send_keys(Keys.ENTER)
            assert browser.switch_to.active_element.get_attribute("class").startswith("verdict")
            done += 1
        tab()
    assert done == COUNT
    while browser.switch_to.active_element.get_attribute("id") != "finish":
        tab()
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    assert browser.find_element("id", "score").text == f"{COUNT - 1} of {COUNT} right"
    verdicts = [v.text for v in browser.find_elements("css selector", ".verdict")]
    assert sum(v.startswith("✓") for v in verdicts) == COUNT - 1
    assert pack.items[3].right_text in verdicts[3]
    whys = [w.text for w in browser.find_elements("css selector", ".why")]
    assert [" ".join(w.split()) for w in whys] == [" ".join(i.explanation.split()) for i in pack.items]

    code = browser.find_element("id", "code").text
    (tmp_path / "chat.txt").write_text(f"Wren {code}\n")
    browser.find_element("id", "nickname").send_keys("Wren")
    browser.find_element("id", "save").send_keys(Keys.ENTER)
    saved = tmp_path / f"answers-{pack.id}.json"
    for _ in range(100):
        if saved.exists() and saved.stat().st_size:
            break
        time.sleep(0.1)
    found = gather(pack, [tmp_path / "chat.txt", saved])
    assert found.figures.sheets == 1
    assert found.figures.mean == COUNT - 1
    assert "handed in before" in found.refused[0]

    inside = ("file:", "data:", "blob:", "chrome:", "chrome-untrusted:")
    assert [u for u in requests(browser) if not u.startswith(inside)] == []
    assert [e for e in browser.get_log("browser") if e["level"] in ("SEVERE", "WARNING")] == []


def test_every_clip_decodes_and_plays(browser: Any, page: Path) -> None:
    browser.get(page.as_uri())
    lengths = browser.execute_async_script("""
        const done = arguments[0];
        Promise.all([...document.querySelectorAll("audio")].map(async (a) => {
            a.muted = true; await a.play(); await new Promise((r) => setTimeout(r, 150)); a.pause();
            return [a.duration, a.currentTime];
        }).map((p) => p.catch((e) => [-1, String(e)]))).then(done);
    """)
    assert lengths
    for n, a in enumerate(lengths):
        assert a[0] > 0.5, (n, a)
    one = browser.execute_async_script("""
        const done = arguments[0], a = document.querySelector("audio");
        a.muted = true; a.currentTime = 0; a.play();
        setTimeout(() => done(a.currentTime), 800);
    """)
    assert one > 0.2


def test_a_reload_begins_anew_and_shows_no_answer_that_does_not_count(browser: Any, page: Path) -> None:
    browser.get(page.as_uri())
    browser.execute_script("document.querySelector('#q1 input').click(); document.querySelector('#q1 .give').click();")
    assert browser.find_element("id", "progress").text == f"1 of {COUNT} answered"
    browser.refresh()
    assert browser.find_element("id", "progress").text == f"0 of {COUNT} answered"
    assert browser.find_elements("css selector", "input:checked") == []
    assert browser.find_elements("css selector", "input:disabled") == []


def test_staves_fit_a_phone_and_keep_the_size_of_print(browser: Any, page: Path) -> None:
    """No drawing is wider than the screen, and a space between staff lines stays above 1.4 mm at 96 pixels an inch."""
    phone(browser)
    browser.get(page.as_uri())
    assert browser.execute_script("return document.documentElement.clientWidth") == 375
    browser.execute_script("document.querySelectorAll('.give').forEach((b) => { "
                           "b.closest('section').querySelector('input').click(); b.click(); });")  # fmt: skip
    sizes = browser.execute_script("""
        return [...document.querySelectorAll(".staff > svg")].map((s) => [
            s.getBoundingClientRect().width, s.getBoundingClientRect().width / s.viewBox.baseVal.width]);
    """)
    assert sizes
    assert max(s[0] for s in sizes) <= browser.execute_script("return document.documentElement.clientWidth")
    assert min(s[1] for s in sizes) * 7.2 * 25.4 / 96 > 1.4


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_accessibility_audit(browser: Any, page: Path, scheme: str) -> None:
    axe = os.environ.get("LARKSTAIR_AXE", "")
    if not axe:
        if os.environ.get("LARKSTAIR_REQUIRE_DEVICES"):
            pytest.fail("LARKSTAIR_AXE does not name axe.min.js (npm package axe-core)")
        pytest.skip("LARKSTAIR_AXE does not name axe.min.js (npm package axe-core)")
    browser.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    )
    browser.get(page.as_uri())
    browser.execute_script("document.querySelectorAll('.give').forEach((b, n) => { "
                           "b.closest('section').querySelector('input').click(); b.click(); }); "
                           "document.getElementById('finish').click();")  # fmt: skip
    # The page's policy forbids foreign scripts, so the audit goes in through the driver.
    browser.execute_script(Path(axe).read_text(encoding="utf-8"))
    found = browser.execute_async_script("axe.run(document).then((r) => arguments[arguments.length - 1](r.violations))")
    assert [(v["id"], v["nodes"][0]["html"][:120]) for v in found] == []

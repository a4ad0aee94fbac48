"""JupyterLab on localhost and a browser driving it, as a user would.

Nothing goes beyond this machine: the server listens on 127.0.0.1 with a token, and the browser
has a profile of its own that is thrown away.
"""

from __future__ import annotations

import json
import os
import secrets
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

FLAGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--window-size=1400,1000")
CHROMIUM, DRIVER = "/usr/bin/chromium", "/usr/bin/chromedriver"
SETTINGS = {
    # Cells that are not in view are drawn too, so that a test can look at all of them.
    "notebook-extension/tracker": {"windowingMode": "none"},
    "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
}
RUN_ALL = '.lm-Menu-item[data-command="runmenu:run-all"]'
START_S, RUN_S = 60, 120


@contextmanager
def lab(folder: Path, private: Path) -> Iterator[str]:
    """JupyterLab serving `folder`; gives its address with the token, and ends it afterwards."""
    token, port = secrets.token_hex(16), _free_port()
    settings = private / "config" / "lab" / "user-settings" / "@jupyterlab"
    for name, values in SETTINGS.items():
        file = settings / f"{name}.jupyterlab-settings"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps(values))
    own = {f"JUPYTER_{kind.upper()}_DIR": str(private / kind)
           for kind in ("config", "data", "runtime")}
    server = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1", f"--port={port}",
         "--ServerApp.port_retries=0", f"--IdentityProvider.token={token}", "--allow-root",
         f"--ServerApp.root_dir={folder}"],
        env={**os.environ, **own, "IPYTHONDIR": str(private / "ipython")}, cwd=folder,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        _wait_for(f"http://127.0.0.1:{port}/api?token={token}", server)
        yield f"http://127.0.0.1:{port}/lab/tree/{{}}?reset&token={token}"
    finally:
        server.terminate()
        try:
            server.wait(20)
        except subprocess.TimeoutExpired:
            server.kill()


@contextmanager
def browser(profile: Path) -> Iterator[Any]:
    """Debian's Chromium, headless, with a fresh profile; fails where it is missing."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    try:
        yield driver
    finally:
        driver.quit()


def run_all_cells(driver: Any, address: str) -> None:
    """Open a notebook, choose Run → Run All Cells, and wait until every code cell has run."""
    from selenium.webdriver.common.by import By
    from selenium.webdriver.support.ui import WebDriverWait

    wait = WebDriverWait(driver, START_S)
    driver.get(address)
    wait.until(lambda d: d.find_elements(By.CSS_SELECTOR, ".jp-Notebook .jp-CodeCell"))
    wait.until(lambda d: d.find_elements(
        By.CSS_SELECTOR, '.jp-Notebook-ExecutionIndicator[data-status="idle"]'))
    WebDriverWait(driver, START_S, poll_frequency=2).until(_running)
    WebDriverWait(driver, RUN_S).until(lambda d: all(_has_run(p) for p in prompts(d)))


def _running(driver: Any) -> bool:
    """Whether the cells run; else one more step towards Run → Run All Cells.

    While the page is still finding its place an opened menu closes again, and its commands may
    have no notebook to work on: then the step is taken once more.
    """
    from selenium.webdriver.common.by import By

    if any(prompt != "[ ]:" for prompt in prompts(driver)):
        return True
    items = driver.find_elements(By.CSS_SELECTOR, f"{RUN_ALL}:not(.lm-mod-disabled)")
    if items:
        items[0].click()
        return False
    menus = driver.find_elements(By.CSS_SELECTOR, ".lm-MenuBar-item")
    next(menu for menu in menus if menu.text == "Run").click()
    return False


def prompts(driver: Any) -> list[str]:
    """What stands before each code cell: `[3]:` once it has run, `[*]:` while it runs."""
    return driver.execute_script(
        "return [...document.querySelectorAll("
        "'.jp-Notebook .jp-CodeCell .jp-InputPrompt')].map(e => e.textContent.trim())")


def errors(driver: Any) -> list[str]:
    """The text of every error and warning that a cell shows."""
    return driver.execute_script(
        "return [...document.querySelectorAll('.jp-OutputArea-output')].filter(e => "
        "/error|stderr/.test(e.dataset.mimeType || '')).map(e => e.textContent)")


def figures(driver: Any) -> list[dict[str, Any]]:
    """Every figure shown: its caption, its words for screen readers, its width and height."""
    return driver.execute_script(
        "return [...document.querySelectorAll('.nidusbook figure')].map(f => {"
        "const s = f.querySelector('svg'), r = s.getBoundingClientRect();"
        "return {caption: f.querySelector('figcaption').textContent, "
        "alt: s.getAttribute('aria-label'), width: r.width, height: r.height}})")


def _has_run(prompt: str) -> bool:
    return prompt.strip("[]: ").isdigit()


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def _wait_for(url: str, server: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + START_S
    while time.monotonic() < end:
        assert server.poll() is None, "JupyterLab ended before it could be reached"
        try:
            urllib.request.urlopen(url, timeout=2).close()
            return
        except OSError:
            time.sleep(0.5)
    raise AssertionError(f"JupyterLab could not be reached within {START_S} s")

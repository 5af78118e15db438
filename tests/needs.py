"""What the tests need of the machine besides Python packages: a browser for the pages, and for 3D a driver and a screen.

``python tests/needs.py`` keeps what the machine has. It installs Debian's packages for the rest where it may, else playwright's
download of a browser. It prints a line for each thing that it could not install, and never fails: the tests that miss
something are skipped, and the summary of the run gives the reason. With CI=true a skipped test is an error.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Playwright

PACKAGES = ("libegl1", "libgl1-mesa-dri", "xvfb", "xdotool")
"""Debian's packages for 3D: a driver, a screen without hardware, and a hand that presses keys on it."""

BROWSERS = ("google-chrome", "google-chrome-stable", "chrome", "chromium", "chromium-browser")
"""Programs that serve as the browser, looked for on PATH."""

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
)
"""No window, no graphics card, no network of the browser's own."""


def browser_path(driver: Playwright) -> Path | None:
    """The machine's browser, else the one that playwright has downloaded, else None."""
    own = Path(driver.chromium.executable_path)
    return next((Path(found) for found in map(shutil.which, BROWSERS) if found), own if own.exists() else None)


def launched(driver: Playwright) -> Browser:
    """The browser, running; FileNotFoundError where there is none."""
    path = browser_path(driver)
    if path is None:
        raise FileNotFoundError(f"none of {', '.join(BROWSERS)} on PATH, and no download of playwright's")
    return driver.chromium.launch(executable_path=path, args=FLAGS)


def bring() -> None:
    """Install what is missing, and name on a line of its own what can't be installed."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        wanted = [*PACKAGES, *([] if browser_path(driver) else ["chromium"])]
        missing = [package for package in wanted if not installed(package)]
        if missing and shutil.which("apt-get"):
            install(missing)
        if browser_path(driver) is None:
            download_browser()


def installed(package: str) -> bool:
    """Whether Debian's package manager, if the machine has it, lists the package as installed."""
    words = ["dpkg-query", "--show", "--showformat=${db:Status-Status}", package]
    return shutil.which(words[0]) is not None and subprocess.run(words, capture_output=True, text=True).stdout == "installed"


def install(packages: list[str]) -> None:
    """Debian's packages, one by one because a relative of Debian may lack one of them."""
    if as_root() and fault([*as_root(), "true"]):
        print(f"needs.py: {', '.join(packages)} not installed: apt-get needs root, or sudo without a password")
        return
    get = [*as_root(), "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-qq", "-o", "DPkg::Lock::Timeout=600"]
    fault([*get, "update"])
    for package in packages:
        reason = fault([*get, "install", "--no-install-recommends", package])
        if reason:
            print(f"needs.py: {package} not installed: {reason}")


def download_browser() -> None:
    """The browser that playwright keeps for itself, and where possible the system libraries that it needs."""
    playwright = [sys.executable, "-m", "playwright"]
    if shutil.which("apt-get"):
        fault([*as_root(), *playwright, "install-deps", "chromium"])
    reason = fault([*playwright, "install", "chromium"])
    if reason:
        print(f"needs.py: no browser downloaded: {reason}")


def as_root() -> list[str]:
    """What stands before a command that installs packages."""
    return [] if os.geteuid() == 0 else ["sudo", "-n"]


def fault(words: list[str]) -> str:
    """Run a command; its first line about an error if it failed, else an empty string."""
    if shutil.which(words[0]) is None:
        return f"there is no {words[0]}"
    ended = subprocess.run(words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    if ended.returncode == 0:
        return ""
    lines = ended.stdout.splitlines()
    return next((line for line in lines if line.startswith(("E:", "Error:"))), f"ended with code {ended.returncode}")


if __name__ == "__main__":
    bring()

"""How quick the desk is in a real browser: the first picture of a dropped guide, clicks, and what the page weighs.

The guide is the invented song, lengthened to four minutes. Times are from the drop of the file, the form filled in by
the program. Run it as: python bench/desk.py
"""

from __future__ import annotations

import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from playwright.sync_api import Page, Response, sync_playwright

from obbligato.demo.guide import render_guide
from obbligato.demo.score import SONG
from obbligato.sound.audio import Audio
from obbligato.sound.files import write_wav

CHROMIUM = "/usr/bin/chromium"
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--autoplay-policy=no-user-gesture-required"]
GUIDE_S = 240.0
STAGES = ("Line", "Client", "Page", "Takes", "Delivery", "Account", "Song")
LONG_MS = 120_000


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        guide = four_minutes(Path(folder) / "Ferry.wav")
        command = [sys.executable, "-m", "obbligato", "desk", f"{folder}/jobs", "--no-browser"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as desk, sync_playwright() as playwright:
            assert desk.stdout is not None
            address = desk.stdout.readline().split()[-1]
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
            page = browser.new_page(viewport={"width": 1280, "height": 900}, locale="en-GB")
            weights: dict[str, int] = {}
            page.on("response", lambda response: weigh(weights, response))
            page.goto(address)
            time.sleep(4.0)
            first_picture(page, guide)
            clicks(page)
            own = {url: size for url, size in weights.items() if "/api/" not in url and "/file/" not in url}
            data = sum(size for url, size in weights.items() if "/api/" in url and "/sounds/" not in url)
            print(f"the page's own files, every view opened   {sum(own.values()) / 1e3:8.0f} kB in {len(own)} files")
            print(f"data of the job, before audio             {data / 1e3:8.0f} kB")
            browser.close()
            desk.terminate()


def four_minutes(path: Path) -> Path:
    audio = render_guide(SONG, seed=1).audio
    wanted = round(GUIDE_S * audio.sr)
    write_wav(path, Audio(np.concatenate([audio.y, audio.y], axis=1)[:, :wanted], audio.sr))
    return path


def weigh(weights: dict[str, int], response: Response) -> None:
    length = response.headers.get("content-length")
    if length is not None:
        weights[response.url] = max(weights.get(response.url, 0), int(length))


def first_picture(page: Page, guide: Path) -> None:
    began = time.perf_counter()

    def told(what: str) -> None:
        print(f"{what:40s}  {time.perf_counter() - began:8.2f} s after the drop")

    page.get_by_label("Choose a guide").set_input_files(guide)
    page.get_by_label("Instrument").select_option(label="Flugelhorn in B♭")
    page.get_by_role("button", name="Start the job").click()
    page.get_by_text(re.compile("58\\.6 dotted quarters")).first.wait_for(timeout=LONG_MS)
    told("first picture: bars and tempo")
    page.get_by_text(re.compile("^The singer leaves")).wait_for(timeout=LONG_MS)
    told("the whole chart")


def clicks(page: Page) -> None:
    """From the press of a stage's word to the next picture in which it is the current one."""
    page.wait_for_timeout(5000)
    script = """(name) => new Promise((done) => {
        const link = [...document.querySelectorAll("nav a")].find((a) => a.textContent.startsWith(name));
        const start = performance.now();
        link.click();
        const look = () => (link.getAttribute("aria-current")
            ? done(performance.now() - start) : requestAnimationFrame(look));
        requestAnimationFrame(look);
    })"""
    times = [page.evaluate(script, stage) for _ in range(3) for stage in STAGES]
    print(f"going to a stage, median of {len(times)}              {statistics.median(times):8.0f} ms")
    print(f"going to a stage, slowest                 {max(times):8.0f} ms")


if __name__ == "__main__":
    main()

"""A new guide over HTTP: taken in, compared, left aside, gone by; and on the page, in a real browser."""

import time
import urllib.parse

import numpy as np
import pytest
import soundfile

from obbligato.job.intake import new_job
from obbligato.job.model import Brief
from obbligato.job.store import JobFolder

from .conftest import SR, write_findings

BAR = round(2.4 * SR)
SECONDS = 16.0


def noise_song():
    """Sixteen seconds in which no two bars are alike, with a beat to be heard."""
    n = round(SECONDS * SR)
    y = np.random.default_rng(21).standard_normal(n) * 0.2
    return y * np.exp(-(np.arange(n) % round(0.6 * SR)) / 4000.0)


@pytest.fixture
def guides(tmp_path, serve):
    """A desk with one mapped job, and a file in which a bar was put in before bar 4."""
    y = noise_song()
    root = tmp_path / "jobs"
    root.mkdir()
    soundfile.write(tmp_path / "ferry.wav", y, SR, subtype="PCM_24")
    folder = new_job(root / "Ferry", guide=tmp_path / "ferry.wav", instrument="cello", brief=Brief(title="Ferry"))
    write_findings(folder)
    other = np.random.default_rng(22).standard_normal(BAR) * 0.1
    new = np.concatenate([y[: 3 * BAR], other, y[3 * BAR :]])
    soundfile.write(tmp_path / "ferry 2.wav", new, SR, subtype="PCM_24")
    served = serve(root)
    yield served, tmp_path / "ferry 2.wav"
    served.stop()


def upload(desk, file):
    status, arrived = desk.call("PUT", f"/api/uploads?name={urllib.parse.quote(file.name)}", file.read_bytes())
    assert status == 201
    return arrived["upload"]


def finished(desk, answer):
    status, body = answer
    assert status == 202, body
    for _ in range(600):
        _, task = desk.call("GET", f"/api/tasks/{body['task']['id']}")
        if task["state"] not in {"waiting", "running"}:
            return task
        time.sleep(0.1)
    raise AssertionError("the work did not end")


def test_a_new_guide_is_told_and_left_aside_over_http(guides):
    desk, file = guides
    body = {"upload": upload(desk, file)}
    task = finished(desk, desk.call("POST", "/api/jobs/Ferry/guides", body))
    assert task["state"] == "done", task["error"]
    _, view = desk.call("GET", "/api/jobs/Ferry/guides")
    (other,) = view["others"]
    assert (view["in_force"], other["given_as"], other["state"]) == ("ferry.wav", "ferry 2.wav", "waiting")
    changes = [change for section in other["report"]["sections"] for change in section["changes"]]
    assert [(c["kind"], c["first_bar"]) for c in changes] == [("identical", 1), ("inserted", None), ("moved", 4)]
    _, view = desk.call("POST", f"/api/jobs/Ferry/guides/{other['guide']}/leave")
    assert view["others"][0]["state"] == "left"
    assert JobFolder.open(desk.root / "Ferry").job.guide.given_as == "ferry.wav"


def test_what_is_not_there_is_refused(guides):
    desk, _ = guides
    assert desk.call("POST", "/api/jobs/Ferry/guides", {"upload": "u-1"})[0] == 422
    for what in ("compare", "take-over", "leave"):
        assert desk.call("POST", f"/api/jobs/Ferry/guides/{'0' * 64}/{what}")[0] == 404
        assert desk.call("POST", f"/api/jobs/Ferry/guides/latest/{what}")[0] == 422


@pytest.mark.browser
def test_a_new_guide_is_dropped_told_and_taken_over_on_the_page(guides, open_page):
    desk, file = guides
    page = open_page(desk.address)
    page.goto(f"{desk.address.partition('#')[0]}#/Ferry/song")
    page.set_input_files(".song-guides input[type=file]", str(file))
    page.get_by_role("button", name="Bars 4 to 7 are the same").click(timeout=60_000)
    selected = '.chart-bar[aria-selected="true"]'
    assert page.eval_on_selector_all(selected, "cells => cells.map(c => Number(c.dataset.bar))") == [4, 5, 6, 7]
    assert page.get_by_text("A bar is put in: bar 4 of the new guide.").is_visible()
    page.get_by_role("button", name="Take it over").click()
    page.get_by_text("Guides beside ‘ferry 2.wav’").wait_for(timeout=60_000)
    folder = JobFolder.open(desk.root / "Ferry")
    assert folder.job.guide.given_as == "ferry 2.wav"
    assert [other.state for other in folder.job.other_guides] == ["before"]

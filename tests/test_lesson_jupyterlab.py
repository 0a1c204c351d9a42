"""A lesson run in JupyterLab: its question asks there as it does on the page, by keyboard too."""

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import nbformat
import pytest

from lesson.running import executed
from lesson.source import lessons
from tests.browser import chromium, offline

pytestmark = pytest.mark.slow
ROOT = Path(__file__).parent.parent
STEM = "03_why_facets_form"
SAVED = "saved"
SECONDS = 90  # for the server, for the kernel and for all cells, on a busy machine
READY = "() => window.jupyterapp?.shell?.currentWidget?.context?.isReady"
RUN = """async () => { const widget = window.jupyterapp.shell.currentWidget;
    await widget.sessionContext.ready; await widget.sessionContext.session.kernel.info;
    await window.jupyterapp.commands.execute('notebook:run-all-cells'); }"""
browser = pytest.fixture(scope="module")(chromium)


def free_port():
    with socket.socket() as plug:
        plug.bind(("127.0.0.1", 0))
        return plug.getsockname()[1]


@pytest.fixture(scope="module")
def server(browser, tmp_path_factory):  # the browser first: without one nothing need start
    pytest.importorskip("jupyterlab")
    home = tmp_path_factory.mktemp("jupyter")
    shutil.copytree(ROOT / "notebooks" / "lesson", home / "work" / "lesson")
    shutil.copytree(ROOT / "data_demo", home / "data_demo")  # lessons read ../data_demo
    for stem in lessons():
        shutil.copy(ROOT / "notebooks" / f"{stem}.ipynb", home / "work")
    nbformat.write(executed(STEM), home / "work" / f"{SAVED}.ipynb")  # as somebody hands it on
    quiet = home / "settings" / "@jupyterlab" / "apputils-extension"
    quiet.mkdir(parents=True)
    news = {"fetchNews": "false", "checkForUpdates": False}
    (quiet / "notification.jupyterlab-settings").write_text(json.dumps(news))
    places = {
        "HOME": home,
        "JUPYTER_CONFIG_DIR": home / "config",
        "JUPYTER_DATA_DIR": home / "data",
    }
    places |= {"JUPYTERLAB_SETTINGS_DIR": home / "settings", "PYTHONPATH": ROOT}
    places |= {
        "JUPYTERLAB_WORKSPACES_DIR": home / "workspaces",
        "JUPYTER_RUNTIME_DIR": home / "run",
    }
    port = free_port()
    flags = f"--no-browser --port={port} --expose-app-in-browser --IdentityProvider.token= "
    command = [sys.executable, "-m", "jupyterlab", *flags.split(), "--allow-root"]
    with (home / "log").open("w") as log:
        process = subprocess.Popen(
            command,
            cwd=home / "work",
            stdout=log,
            stderr=log,
            env=os.environ | {name: str(place) for name, place in places.items()},
        )
    address = f"http://127.0.0.1:{port}"
    for _ in range(SECONDS):
        try:
            urllib.request.urlopen(f"{address}/api").close()
            break
        except OSError:
            time.sleep(1)
    else:
        process.kill()
        pytest.fail((home / "log").read_text()[-2000:])
    yield address
    process.terminate()
    process.wait(20)


def test_a_notebook_that_was_not_run_shows_no_answer(server, browser):
    with offline(browser, also=server) as page:
        page.set_default_timeout(SECONDS * 1000)
        page.goto(f"{server}/lab/tree/{STEM}.ipynb?reset")
        page.wait_for_function(READY)
        page.get_by_role("heading", name="Check yourself").wait_for()
        assert page.locator(".jp-OutputArea-output").count() == 0
        assert page.get_by_text(re.compile("✓ Right.|✗ Not quite.")).count() == 0


def test_the_answer_stays_shut_in_a_notebook_saved_by_someone_else(server, browser):
    """There JupyterLab trusts neither scripts nor the attribute `hidden`."""
    with offline(browser, also=server) as page:
        page.set_default_timeout(SECONDS * 1000)
        page.goto(f"{server}/lab/tree/{SAVED}.ipynb?reset")
        page.wait_for_function(READY)
        page.locator(".ek-idle").first.wait_for()  # how to wake the question up
        replies = page.get_by_text(re.compile("Right.|Not quite.")).all()
        assert len(replies) >= 3
        assert not any(reply.is_visible() for reply in replies)


def test_the_question_asks_in_jupyterlab_by_keyboard(server, browser):
    with offline(browser, also=server) as page:
        page.set_default_timeout(SECONDS * 1000)
        page.goto(f"{server}/lab/tree/{STEM}.ipynb?reset")
        page.wait_for_function(READY)
        page.evaluate(RUN)
        form = page.locator("form.ek-gate")
        form.wait_for()
        button = form.get_by_role("button", name="Show me")
        assert button.is_disabled()
        assert not form.locator(".ek-answer").is_visible()
        assert not page.locator(".ek-idle").first.is_visible()
        rest = page.locator("p", has_text="Every flat touches the true edge at its middle")
        fold = page.locator("summary", has_text="What happened?")
        assert not fold.is_visible()
        first, last = form.get_by_role("radio").first, form.get_by_role("radio").last
        first.focus()
        page.keyboard.press("ArrowUp")  # round to the last; the notebook must not take the key
        assert last.is_checked()
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        assert form.locator(".ek-answer").is_visible()
        assert fold.is_visible()
        assert not rest.is_visible()  # to be said first by whoever reads
        fold.click()
        assert rest.is_visible()
        assert "✓ Right." in form.get_by_role("status").inner_text()
        slider = page.locator(".ek-book input")
        slider.scroll_into_view_if_needed()
        slider.focus()
        page.keyboard.press("End")
        shown = page.locator(".ek-book figure:visible")
        assert shown.count() == 1
        assert shown.get_attribute("data-value") == "16"
        assert slider.get_attribute("aria-valuetext").startswith("16 placements")
        axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
        ours = {"include": [[".ek-gate"], [".ek-book"]]}  # JupyterLab's own faults are its own
        assert axe.run(page, context=ours).response["violations"] == []
        assert [url for url in page.asked if "127.0.0.1" not in url] == []


@pytest.mark.parametrize("stem", lessons())
def test_every_lesson_runs_live_and_its_question_opens_the_rest(server, browser, stem):
    with offline(browser, also=server) as page:
        page.set_default_timeout(SECONDS * 1000)
        page.goto(f"{server}/lab/tree/{stem}.ipynb?reset")
        page.wait_for_function(READY)
        page.evaluate(RUN)
        page.wait_for_function(
            "() => window.jupyterapp.shell.currentWidget.content.widgets"
            ".filter(c => c.model.type === 'code').every(c => c.model.executionCount !== null)"
        )
        said = page.evaluate(
            "() => window.jupyterapp.shell.currentWidget.content.model.toJSON().cells"
            ".flatMap(c => c.outputs || []).filter(o => o.output_type === 'error'"
            " || o.name === 'stderr').map(o => o.evalue || o.text)"
        )
        assert said == []
        form = page.locator("form.ek-gate")
        assert form.get_by_role("button").is_disabled()
        form.get_by_role("radio").first.check()
        form.get_by_role("button", name="Show me").click()
        assert form.locator(".ek-answer").is_visible()
        page.evaluate("() => window.jupyterapp.commands.execute('kernelmenu:shutdown')")
        assert [url for url in page.asked if "127.0.0.1" not in url] == []
